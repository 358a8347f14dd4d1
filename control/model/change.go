package model

import "math"

// Grades: E estimate.
const (
	startledC    = 5.0  // how much less well a melt's temperature is known once it was changed
	unsaidMelt   = 0.05 // and the logarithm of how much of it there is, if nobody said
	unsaidDraw   = 0.3  // likewise when some of it was drawn
	amountShare  = 0.3  // E: of a fall that was told in advance, how much it may be off
	stirredSigma = 0.4  // E: what a stir may do to the logarithm of the coupling
	pausedS      = 90.0 // E: after no stir for so long; a hand's habit is in the drift
	highForS     = 60.0 // E: a melt that has fallen by itself for so long was that cold
	unexplainedS = 45.0 // E: for so long a fall that nobody announced is none of the plate's fault
)

// Startle says that the melt has just been changed, and nobody says by what: something
// cold was added. Its temperature and how much there is of it are less well known now.
func (f *Filter) Startle() {
	if !f.begun {
		return
	}
	f.absence.forget()
	f.p[melt][melt] += f.startled() * f.startled()
	f.p[meltProbe][meltProbe] += 1
	f.p[lnMeltJK][lnMeltJK] += unsaidMelt * unsaidMelt
	f.hot.deafS = deafS
}

// Added says that something as cold as the room, of a heat capacity in J/K above zero, has
// just been put into the melt, or some seconds ago: of what it takes to warm it, no more
// is expected than the probe has not shown yet. Of a pot that is off its plate the next
// readings tell how warm it is, but not how much.
func (f *Filter) Added(jPerK float64) {
	meltJK := math.Exp(f.x[lnMeltJK])
	fallsC := (f.highC - f.roomC) * jPerK / (meltJK + jPerK)
	f.x[melt] = min(f.x[melt], f.highC-fallsC)
	f.resize(1 + jPerK/meltJK)
	f.Startle()
	f.p[melt][melt] += amountShare * amountShare * fallsC * fallsC
}

// Drawn says that some of the melt was taken out: of a heat capacity in J/K, or zero
// where nobody says how much.
func (f *Filter) Drawn(jPerK float64) {
	if share := jPerK / math.Exp(f.x[lnMeltJK]); share > 0 {
		f.resize(max(1-share, leastLeft))
	} else {
		f.first[lnMeltJK].sigma = math.Hypot(f.first[lnMeltJK].sigma, unsaidDraw)
		f.p[lnMeltJK][lnMeltJK] += unsaidDraw * unsaidDraw
	}
	f.Startle()
}

// leastLeft is how much of a melt is taken to be left, whatever is said (E).
const leastLeft = 0.1

// resize makes all that goes by the melt's volume some times what it was.
func (f *Filter) resize(times float64) {
	for i := range wetted {
		f.x[i] += wetted[i] * math.Log(times)
		f.first[i].value *= math.Pow(times, wetted[i])
	}
	f.thinWK *= math.Pow(times, WettedPower)
}

// Stirred says that a hand has just begun to stir: after a pause nobody knows what that
// does to the coupling of vessel and melt.
func (f *Filter) Stirred() {
	if f.nowS-f.stirredS > pausedS {
		f.p[lnCouplingWK][lnCouplingWK] += stirredSigma * stirredSigma
	}
	f.stirredS = f.nowS
}

// Unexplained reports whether the melt has just fallen, and nobody had said that it would.
func (f *Filter) Unexplained() bool { return f.fellS > 0 && f.nowS-f.fellS < unexplainedS }

// remember follows the melt from above, which tells how warm it was before it fell.
func (f *Filter) remember(dt float64) {
	f.highC = max(f.x[melt], f.highC+(f.x[melt]-f.highC)*min(dt/highForS, 1))
}
