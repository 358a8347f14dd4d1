package evidence

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// TestNumbersOfChance prints how often a cause that had no part in a fault fits all the
// same, for how many clean shots there are. Where a spoiled shot is like the clean ones its
// rank among them is uniform (exchangeable draws; order statistics, from memory), so that
// with n clean shots the share is at most (a + 1)/(n + 1), a being how many of them may be
// as far. Seeded.
func TestNumbersOfChance(t *testing.T) {
	const shots = 20_000
	for _, n := range []int{1, 2, 5, 8, 9, 10, 27, 100} {
		random, fits := rand.New(rand.NewPCG(1, uint64(n))), 0
		draw := func() cause.Shot {
			// The mould of one shot and the next, far more apart than its uncertainty.
			return cause.Shot{Card: shot.Card{MouldC: frames.Figure(30 + 20*random.NormFloat64())}}
		}
		for range shots {
			var clean []cause.Shot
			for range n {
				clean = append(clean, draw())
			}
			if weigh(cause.Cause{Name: "a hot mould", Figure: cause.Mould, Side: cause.High}, draw(), clean).Standing == Fits {
				fits++
			}
		}
		asFar := (n - 1) / tooMany // the most that is less than one in so many
		bound := float64(asFar+1) / float64(n+1)
		share := float64(fits) / shots
		t.Logf("%3d clean shots: a cause without a part in it fits in %.1f %%, at most %.1f %% by the ranks", n, 100*share, 100*bound)
		assert.LessOrEqual(t, share, bound+.01)
		assert.Equal(t, n < few, bound > .11, "what is called little to go by")
	}
}

// TestNumbersOfChanceOfAnyCause prints how often at least one cause of a fault fits though
// none had a part in it: each is held against the clean shots for itself, and a fault has up
// to five of them. Seeded; the pots, the mould, the draw and the rest vary by themselves.
func TestNumbersOfChanceOfAnyCause(t *testing.T) {
	const shots, clean = 4000, 27
	for _, fault := range []string{"bled", "seam", "scorched"} {
		random, fits := rand.New(rand.NewPCG(2, 1)), 0
		draw := func() cause.Shot {
			vary := func(mean, by float64) frames.Figure { return frames.Figure(mean + by*random.NormFloat64()) }
			c := shot.Card{MouldC: vary(40, 8), RoomC: vary(20, 3), DrawToPushS: vary(40, 12)}
			for range 3 {
				c.Pots = append(c.Pots, shot.Pot{DeviationC: vary(0, 2), HeldMin: vary(30, 8), DoseMin: vary(20, 6), SinceStirS: vary(60, 20), PlateC: vary(190, 6)})
			}
			least, most := c.Pots[0].DeviationC, c.Pots[0].DeviationC
			for _, p := range c.Pots {
				least, most = min(least, p.DeviationC), max(most, p.DeviationC)
			}
			c.SpreadC = most - least
			return cause.Shot{Card: c}
		}
		known, _ := cause.Of(fault)
		for range shots {
			var held []cause.Shot
			for range clean {
				held = append(held, draw())
			}
			if weighAll(known.Seen, draw(), held)[0].Standing == Fits {
				fits++
			}
		}
		share := float64(fits) / shots
		t.Logf("%-8s with %d clean shots: one of its %d causes at least fits in %.0f %% though none had a part in it", fault, clean, len(known.Seen), 100*share)
		assert.LessOrEqual(t, share, 0.11*float64(len(known.Seen)), "each by itself")
	}
}
