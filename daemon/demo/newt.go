package demo

import (
	_ "embed" // the other bait's recipe
	"math"
	"math/rand/v2"
	"time"

	"meltwarden/daemon/shot"
)

//go:embed newt.yaml
var newtRecipe []byte

// newts are six evenings of a second bait in which one true cause is planted, for the
// review to find: the longer the filled injectors lie about, the likelier a seam. How
// long they do is drawn by chance for every shot, on its own; so is what comes of it.
func newts() []plan {
	chance := rand.New(rand.NewPCG(6, 33))
	newt := bait{newtRecipe, "newt, three cavities", 45 * time.Second}
	var plans []plan
	for i, shots := range []int{6, 5, 5, 5, 5, 5} {
		p := plan{bait: newt, daysAgo: 16 - 3*i, hour: 18, minute: 8 + 7*i, seed: 80 + uint64(i)}
		for range shots {
			held := lying(chance)
			p.pushes = append(p.pushes, push{ready, held, []shot.Verdict{{Fault: cameOut(chance, held)}}})
		}
		plans = append(plans, p)
	}
	return plans
}

// The planted cause, and the faults that have nothing to do with it. All invented.
const (
	lyingMedian  = 26 * time.Second
	lyingSpread  = 0.7 // of the logarithm
	longestLying = 80 * time.Second
	evenAt       = 32 * time.Second // where every second bait has a seam
	steepness    = 4 * time.Second
	byTheWay     = 0.05 // a fault of another kind
)

// lying is how long the injectors lie about before a push: log-normal, as times are that
// a hand takes.
func lying(chance *rand.Rand) time.Duration {
	held := time.Duration(float64(lyingMedian) * math.Exp(lyingSpread*chance.NormFloat64()))
	return min(max(held, usualHold), longestLying).Round(time.Second)
}

// cameOut is the verdict on a bait, by a logistic rule of chance.
func cameOut(chance *rand.Rand, held time.Duration) string {
	seam := 1 / (1 + math.Exp(-(held-evenAt).Seconds()/steepness.Seconds()))
	switch drawn, other := chance.Float64(), chance.Float64(); {
	case drawn < seam:
		return "seam"
	case other < byTheWay:
		return "dull"
	}
	return shot.Clean
}
