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
