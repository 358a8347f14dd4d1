package exact

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAgainstAPeer: tables, figures without ties and runs drawn from a seed, against
// what SciPy makes of them (testdata/statistics/peer.py).
func TestAgainstAPeer(t *testing.T) {
	var questions []map[string]any
	var ours []float64
	ask := func(our float64, q map[string]any) { questions, ours = append(questions, q), append(ours, our) }
	random := rand.New(rand.NewPCG(4, 4))
	normal := func(n int) (v []float64) {
		for range n {
			v = append(v, random.NormFloat64())
		}
		return v
	}
	for range 20 {
		a, b, c, d := random.IntN(12), random.IntN(12)+1, random.IntN(12)+1, random.IntN(12)
		ask(Fisher(a, b, c, d), map[string]any{"kind": "fisher", "table": [][]int{{a, b}, {c, d}}})
		x, y := normal(3+random.IntN(8)), normal(3+random.IntN(8))
		ask(Compare([]Block{{x, y}}).P, map[string]any{"kind": "mann-whitney", "x": x, "y": y})
		n := 1 + random.IntN(40)
		k := random.IntN(n + 1)
		_, high := Wilson(k, n)
		ask(high, map[string]any{"kind": "wilson", "k": k, "n": n})
	}
	for range 4 {
		x, y := normal(5), normal(6)
		_, p := Means(x, y, 1)
		ask(p, map[string]any{"kind": "means", "x": x, "y": y})
		rates, figure := normal(6), normal(6)
		_, between := Between(rates, [][]float64{figure}, 1)
		ask(between[0], map[string]any{"kind": "spearman", "x": figure, "y": rates})
	}
	theirs := peer(t, questions)
	require.Len(t, theirs, len(ours))
	worst := 0.0
	for i, p := range theirs {
		worst = max(worst, math.Abs(p-ours[i]))
		assert.InDelta(t, p, ours[i], 1e-6, questions[i])
	}
	t.Logf("%d questions, furthest apart %.1g", len(ours), worst)
}

// peer puts questions to SciPy.
func peer(t *testing.T, questions any) (answers []float64) {
	t.Helper()
	in, err := json.Marshal(questions)
	require.NoError(t, err)
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import scipy.stats").Run() != nil {
			continue
		}
		c := exec.Command(name, "../../testdata/statistics/peer.py")
		c.Stdin, c.Stderr = bytes.NewReader(in), os.Stderr
		out, err := c.Output()
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(out, &answers))
		return answers
	}
	const reason = "no python3 with scipy"
	require.Empty(t, os.Getenv("MELTWARDEN_TEST_ALL"), reason)
	t.Skip(reason)
	return nil
}
