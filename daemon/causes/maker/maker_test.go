package maker

import (
	"go/parser"
	"go/token"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/shot"
)

// TestMakersKnowNothingOfWhatLooksForCauses: they rest on the words of the history and
// nothing that weighs them, so that what comes of them is no echo.
func TestMakersKnowNothingOfWhatLooksForCauses(t *testing.T) {
	names, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, name := range names {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		require.NoError(t, err)
		for _, i := range file.Imports {
			path, _ := strconv.Unquote(i.Path.Value)
			if of, ours := strings.CutPrefix(path, "meltwarden/"); ours {
				assert.Contains(t, []string{"control", "daemon/frames", "daemon/history", "daemon/history/cycles", "daemon/shot"}, of, name)
			}
		}
	}
}

// TestMakersAreAsStated: 20 to 60 shots in 3 to 8 runs, the same for the same seed, with
// faults in about three of ten and more of them where the cause was stronger.
func TestMakersAreAsStated(t *testing.T) {
	var shots, bled, late, lateBled float64
	for seed := range uint64(300) {
		runs := Make(Plan{Seed: seed, Cause: LongDraw, Size: 2})
		n := 0
		for _, r := range runs {
			assert.GreaterOrEqual(t, len(r.Shots), 3)
			n += len(r.Shots)
			for _, s := range r.Shots {
				hit := 0.0
				for _, v := range s.Verdicts {
					if v.Fault == Fault && v.Day == 0 {
						hit = 1
					}
					assert.NoError(t, v.Check([]string{"slate", "ivory", "rust"}))
				}
				shots, bled = shots+1, bled+hit
				if s.Card.DrawToPushS > 45 {
					late, lateBled = late+1, lateBled+hit
				}
			}
		}
		assert.GreaterOrEqual(t, n, 20)
		assert.LessOrEqual(t, n, 60)
		assert.GreaterOrEqual(t, len(runs), 3)
		assert.LessOrEqual(t, len(runs), 8)
	}
	t.Logf("%.0f shots, %.0f %% bled; of those drawn for longer than 45 s, %.0f %%", shots, 100*bled/shots, 100*lateBled/late)
	assert.InDelta(t, 0.33, bled/shots, 0.08)
	assert.Greater(t, lateBled/late, 0.6)
	one, other := Make(Plan{Seed: 7})[0].Shots[0], Make(Plan{Seed: 7})[0].Shots[0]
	assert.Equal(t, one.Verdicts, other.Verdicts)
	assert.Equal(t, math.Float64bits(float64(one.Card.MouldC)), math.Float64bits(float64(other.Card.MouldC)))
	assert.Contains(t, shot.Verdicts(), Fault)
}
