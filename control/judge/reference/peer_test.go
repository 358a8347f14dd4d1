package reference

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/cascade"
	"meltwarden/control/pid"
)

// asked is a loop around a first-order process with delay: what
// testdata/tuning/closed_loop.py computes with SciPy.
type asked struct {
	Kp      float64 `json:"kp"`
	Ti      float64 `json:"ti"`
	Td      float64 `json:"td"`
	Weight  float64 `json:"weight"`
	Filter  float64 `json:"filter"`
	Track   float64 `json:"track"`
	K       float64 `json:"k"`
	Tau     float64 `json:"tau"`
	Theta   float64 `json:"theta"`
	Period  float64 `json:"period"`
	Samples int     `json:"samples"`
	Target  float64 `json:"setpoint"`
	Load    float64 `json:"load"`
	LoadAt  float64 `json:"load_at"`
}

func around(m Model, g pid.Gains) asked {
	return asked{
		Kp: g.Kp, Ti: g.Ti, Td: g.Td, Weight: g.Weight, Filter: g.Filter, Track: follow(g).trackS,
		K: m.K, Tau: m.Tau1, Theta: m.Theta, Period: period,
	}
}

// lasting is the loop for so long; the load comes half way.
func (a asked) lasting(s, target, load float64) asked {
	a.Samples, a.Target, a.Load, a.LoadAt = int(math.Round(s/a.Period)), target, load, s/2
	return a
}

// python is an interpreter with SciPy.
func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import scipy.signal").Run() == nil {
			return name
		}
	}
	const reason = "no python3 with scipy"
	if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
		t.Fatal(reason)
	}
	t.Skip(reason)
	return ""
}

// question has one key, its kind.
type question map[string]any

// peer puts questions to the peer.
func peer(t *testing.T, questions ...question) (answers [][]float64) {
	t.Helper()
	interpreter := python(t)
	in, err := json.Marshal(questions)
	require.NoError(t, err)
	c := exec.Command(interpreter, "../../../testdata/tuning/closed_loop.py")
	c.Stdin, c.Stderr = bytes.NewReader(in), os.Stderr
	out, err := c.Output()
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(out, &answers))
	require.Len(t, answers, len(questions))
	return answers
}

// run is our loop from the melt to the heater, on the process of the question,
// both as far from their rest as the peer counts, with the plate far from its limit.
func (a asked) run(rest float64) (melt, asked []float64) {
	loop := follow(pid.Gains{Kp: a.Kp, Ti: a.Ti, Td: a.Td, Weight: a.Weight, Filter: a.Filter})
	loop.pid.SetIntegral(rest)
	l := newLimited(straight{loop}, pid.Gains{Kp: 1, Weight: 1})
	process := newLag(Model{K: a.K, Theta: a.Theta, Tau1: a.Tau}, a.Period)
	for i := range a.Samples {
		u := l.Step(cascade.Measure{MeltC: process.y, TargetC: a.Target, LimitC: 1e3}, a.Period)
		l.Applied(u, a.Period)
		melt, asked = append(melt, process.y), append(asked, u-rest)
		if float64(i)*a.Period < a.LoadAt-a.Period/2 {
			process.step(u - rest)
		} else {
			process.step(u - rest + a.Load)
		}
	}
	return melt, asked
}

// furthest is the largest difference of two courses.
func furthest(t *testing.T, x, y []float64) (worst float64) {
	require.Len(t, y, len(x))
	for i := range x {
		worst = math.Max(worst, math.Abs(x[i]-y[i]))
	}
	return worst
}

// pots are the rows POT-A and POT-B of testdata/tuning/simc_examples.csv, per unit
// of duty.
var pots = []Model{{K: 180, Theta: 45, Tau1: 600}, {K: 240, Theta: 15, Tau1: 420}}

// TestLoopsAreSciPysLoops: independent peer SciPy 1.10.1 (Debian 12). The first
// course of each is not bounded, 2 °C up, then a tenth of the duty lost, and is
// the same sampled loop: only arithmetic may differ. The second is bounded for most
// of its rise, 120 °C up, then a fifth of the duty lost, and is compared with
// continuous time: sampling may differ.
func TestLoopsAreSciPysLoops(t *testing.T) {
	var loops []asked
	var questions []question
	for _, m := range pots {
		for _, g := range []pid.Gains{SIMC(m, m.Theta), AMIGOPID(m), ZieglerNicholsStep(m.K*m.Theta/m.Tau1, m.Theta)} {
			small, wide := around(m, g).lasting(2400, 2, -0.1), around(m, g).lasting(3000, 120, -0.2)
			loops = append(loops, small, wide)
			questions = append(questions, question{"sampled": small}, question{"continuous": wide})
		}
	}
	answers := peer(t, questions...)
	for i := 0; i < len(loops); i += 2 {
		name := []string{"PI, SIMC", "PID, AMIGO", "PID, Ziegler-Nichols"}[i/2%3]
		ours, duty := loops[i].run(0.5)
		exact := furthest(t, answers[i], ours)
		assert.Less(t, furthest(t, duty, make([]float64, len(duty))), 0.5, "%s was bounded", name)
		ours, _ = loops[i+1].run(0)
		near := furthest(t, answers[i+1], ours)
		fmt.Printf("θ %2.0f s, %-20s  from the same sampled loop %.1e °C, from continuous time %.4f °C; over %.2f °C\n", loops[i].Theta, name, exact, near, slices.Max(ours)-120)
		assert.Less(t, exact, 1e-6, name)
		assert.Less(t, near, 0.05, name)
	}
}

// TestModelsAreSciPysModels: the fit of two lags and a delay to a noisy record,
// against the same peer's least squares.
func TestModelsAreSciPysModels(t *testing.T) {
	s := somePot(rand.New(rand.NewPCG(1, 6))).tested()
	y := risen(s.MeltC, s.DutyStep)
	ours := SecondOrder(s.T, y)
	theirs := peer(t, question{"record": map[string][]float64{"t": thinned(s.T), "y": thinned(y)}})[0]
	fmt.Printf("K %.1f, τ1 %.1f s, τ2 %.1f s, θ %.2f s; SciPy: %.2f\n", ours.K, ours.Tau1, ours.Tau2, ours.Theta, theirs)
	assert.InEpsilonSlice(t, theirs, []float64{ours.K, ours.Tau1, ours.Tau2, ours.Theta}, 5e-3)
}
