package control

import (
	"math"
	"time"
)

// A melt that creeps up to its cure temperature, or back to it, is there later than any
// model has it: the loop aims low, and a plate at its limit has no more to give. What is
// told of such a pot goes by how its melt rose in the last minutes, and where it does not
// rise nothing is told. Heat does not go by any of this. Grades: E estimate.
const (
	creepsUnderC = 8.0  // E: a melt that is so near under its cure temperature
	creepsForS   = 120. // for so long creeps: a common approach takes half of that
	creepPartS   = 10.
	creepParts   = int(creepsForS / creepPartS)
	// creepLeastKS is the slowest rise that tells a time (E): by less, two minutes differ
	// when a stir falls into one of them.
	creepLeastKS = 0.001
	// creepStopsC is how far under where the loop holds it a melt would come to rest (E, tuned
	// on the named pots with a plate limit that hardly lets them cure).
	creepStopsC = 0.5
	// offCreeping is how far off such a word may be, as a share (E).
	offCreeping = 0.5
)

// creep keeps the last minutes of a melt that is near under its cure temperature.
type creep struct {
	meansC    [creepParts]float64 // of as many parts of time, the last of them at parts-1
	parts     int                 // since it is near
	sumC, inS float64             // of the part under way
}

// see takes in a cycle of a melt that is near, at a temperature.
func (c *creep) see(meltC float64, elapsed time.Duration) {
	s := elapsed.Seconds()
	c.sumC, c.inS = c.sumC+meltC*s, c.inS+s
	if c.inS < creepPartS {
		return
	}
	c.meansC[c.parts%creepParts] = c.sumC / c.inS
	c.parts, c.sumC, c.inS = c.parts+1, 0, 0
}

// is reports whether the melt has been near for so long that it creeps.
func (c *creep) is() bool { return c.parts >= creepParts }

// riseKS is by how much the later half of the last minutes was warmer than the earlier,
// in kelvin per second.
func (c *creep) riseKS() float64 {
	sum := 0.0
	for k := range creepParts {
		if later := k >= creepParts/2; later {
			sum += c.meansC[(c.parts+k)%creepParts]
		} else {
			sum -= c.meansC[(c.parts+k)%creepParts]
		}
	}
	const halfS = creepsForS / 2
	return sum / float64(creepParts/2) / halfS
}

// toS is how many seconds a rise over so many kelvin still takes, ever more slowly, as
// towards so much more; NaN where the melt hardly rises.
func (c *creep) toS(overC, beyondC float64) float64 {
	if overC <= 0 {
		return 0
	}
	s := (overC + beyondC) / c.riseKS() * math.Log1p(overC/beyondC)
	if c.riseKS() < creepLeastKS || s > longestGuess.Seconds() {
		return math.NaN()
	}
	return s
}

// creepS is how many seconds a melt that creeps still needs to its cure temperature; NaN
// where nobody knows.
func (p *pot) creepS() float64 {
	return p.creep.toS(p.set.CureC-p.melt.C(), p.goal()-p.set.CureC-creepStopsC)
}

// pace is how steadily a count of time goes on. A reading that wavers about a limit would
// say in one cycle that it does and in the next that it does not.
type pace struct {
	share  float64       // of the last seconds, 0 to 1
	onFor  time.Duration // without a pause
	stands bool
}

// Grades: E estimate.
const (
	paceOverS   = 8.0
	standsBelow = 0.3
	// What stands goes on after so long without a pause, or at once where it is further from
	// its limit than readings waver.
	goesOnAfter = 2 * time.Second
	waversC     = 0.2
)

// follow takes in a cycle of the pot's melt, where it may creep.
func (p *pot) follow(mayHeat bool, elapsed time.Duration) {
	under := p.set.CureC - p.melt.C()
	near := under < creepsUnderC && (under > 0 || p.dwells.stands)
	if !near || p.cured || p.uncured || p.dwelled >= p.set.Dwell || p.waiting || !p.melt.Valid() || !p.onItsWay(mayHeat) || !p.hasSlope() {
		p.creep = creep{}
		return
	}
	p.creep.see(p.melt.C(), elapsed)
}

// begins is a count that has just begun.
func begins() pace { return pace{share: 1} }

// see takes in a cycle in which the count went on or did not, by so many kelvin of melt.
func (c *pace) see(on bool, byC float64, elapsed time.Duration) {
	now := 0.0
	if c.onFor += elapsed; on {
		now = 1
	} else {
		c.onFor = 0
	}
	c.share += (now - c.share) * (1 - math.Exp(-elapsed.Seconds()/paceOverS))
	if c.stands && on && (c.onFor >= goesOnAfter || byC > waversC) {
		*c = begins()
	}
	c.stands = c.stands || c.share < standsBelow
}
