package model

import "math"

// A way is told by more than the filter's figures of the moment: those wander with every
// stir, and what a pot loses is a guess until the melt is hot, whatever its deviation
// says. Grades: E estimate, tuned on random pots of seed 1.
const (
	// What is seen of the losses counts from lossFromC on, and fully at lossToC.
	lossFromC, lossToC = 60.0, 160.0
	halfRiseC          = 4.0   // E: a passage of such a rise has half the word, in kelvin
	hotC               = 160.0 // E: from here on a melt is thin, and fuses no more
	slopeK2S           = 0.06  // E: 0.045 K/s for the half minute of a stir, squared and summed up
	passSigma          = 0.3   // E: how well what passes is known before it is hot, a share,
	loseSigma          = 0.4   // E: and what is lost
	deafS              = 60.0  // E: what was changed is mixed in by then
)

// foresight is the pot by which a way is told: on its way up, with a coupling to thin
// melt, and on its way down from the cure.
type foresight struct {
	rise, fall body
	gelShare   float64 // what thickening leaves of the coupling at its thickest
}

func (f *Filter) foreseen() foresight {
	if f.found != nil {
		found := *f.found
		found.roomC = f.roomC
		return foresight{found, found, f.gelShare}
	}
	rise := unpack(&f.x, f.pot.HeaterW, f.roomC)
	guess := f.first[lnMeltLossWK].value
	seen := min(max((f.x[melt]-lossFromC)/(lossToC-lossFromC), 0), 1)
	rise.lose(leaning(guess, math.Exp(f.x[lnMeltLossWK]), seen))
	rise.contactWK = max(rise.contactWK, f.thin.contactWK(&rise))
	thinWK := leaning(f.thinWK, f.thin.couplingWK(&rise), f.thin.word())
	gelShare := leaning(f.gelShare, f.thick.couplingWK(&rise)/thinWK, f.thick.word())
	gelShare = min(max(gelShare, leastGel), 1)

	fall := rise
	jk := rise.meltJK + rise.wallJK
	passS, loseS := f.hot.fit(1/(1/rise.contactWK+1/thinWK)/jk, guess/jk)
	fall.lose(loseS * jk)
	fall.let(passS * jk)
	rise.couplingWK = leaning(thinWK, f.late.couplingWK(&rise), f.late.word())
	return foresight{rise, fall, gelShare}
}

// word is how much a passage has to say, 0 to 1.
func (p *passage) word() float64 { return max(p.riseC, 0) / (max(p.riseC, 0) + halfRiseC) }

// leaning is a figure that leans to another one, on the scale of ratios, by a share; to
// one that is none it does not.
func leaning(from, to, share float64) float64 {
	if !sound(to) {
		return from
	}
	return from * math.Pow(to/from, share)
}

// lose makes vessel and melt lose so many watts a kelvin.
func (b *body) lose(wk float64) {
	b.wallLossWK, b.meltLossWK = wallLossShare*wk, (1-wallLossShare)*wk
}

// let makes contact and coupling together let pass so many watts a kelvin.
func (b *body) let(wk float64) {
	b.contactWK = max(b.contactWK, wk/mostOfGap)
	b.couplingWK = 1 / (1/wk - 1/b.contactWK)
}

// hot adds up what a hot melt's rise and fall have to do with its gap to the plate and
// with what drives to the room: the sums of a least-squares fit of rise = p·gap − l·drive,
// where p is what passes and l what is lost, in 1/s. The loss is what both a melt that
// rises over a wide gap and one that rests over a narrow one have in common.
type hot struct {
	gapGap, gapDrive, driveDrive float64
	gapRise, driveRise           float64
	lastC, deafS                 float64
}

// add takes in dt seconds, at the end of which the melt is at a temperature.
func (h *hot) add(meltC, gap, drive, dt float64) {
	rise, was := meltC-h.lastC, h.lastC
	h.lastC = meltC
	if h.deafS > 0 {
		h.deafS -= dt
		return
	}
	if meltC < hotC || was < hotC {
		return
	}
	h.gapGap += gap * gap * dt
	h.gapDrive -= gap * drive * dt
	h.driveDrive += drive * drive * dt
	h.gapRise += gap * rise
	h.driveRise -= drive * rise
}

// fit returns what passes and what is lost, in 1/s, from what both were taken for before
// (ridge regression, elementary: its penalties are the deviations of that). Neither is
// moved by more than four times.
func (h *hot) fit(passS, loseS float64) (pass, lose float64) {
	p, l := slopeK2S/sqr(passSigma*passS), slopeK2S/sqr(loseSigma*loseS)
	gg, gl, ll := h.gapGap+p, h.gapDrive, h.driveDrive+l
	g, d := h.gapRise+p*passS, h.driveRise+l*loseS
	det := gg*ll - gl*gl
	pass, lose = (g*ll-d*gl)/det, (gg*d-gl*g)/det
	return min(max(pass, passS/4), 4*passS), min(max(lose, loseS/4), 4*loseS)
}

func sqr(x float64) float64 { return x * x }
