package swing_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/swing"
)

// lag is k·e^(-θs)/(τs+1), exact for an input that is held for a step.
type lag struct {
	k, keep float64
	line    []float64
	y       float64
}

func (l *lag) step(u float64) {
	l.line = append(l.line, u)
	l.y = l.y*l.keep + l.k*(1-l.keep)*l.line[0]
	l.line = l.line[1:]
}

// TestFindsTheUltimateGain of the processes of testdata/tuning/relay.csv, whose README has
// the sources: as the describing function has it, and the exact period.
func TestFindsTheUltimateGain(t *testing.T) {
	f, err := os.Open("../../testdata/tuning/relay.csv")
	require.NoError(t, err)
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, line := range lines[1:] {
		var x [8]float64
		for i := 1; i < len(x); i++ {
			x[i], err = strconv.ParseFloat(line[i], 64)
			require.NoError(t, err)
		}
		k, tau, delay, d, period, gain := x[1], x[2], x[3], x[4], x[6], x[7]
		dt := delay / 400
		l := &lag{k: k, keep: math.Exp(-dt / tau), line: make([]float64, 400)}
		r := swing.New(0, 1e-4*k*d, 20)
		for !r.Done() {
			u := -d
			if r.Step(l.y, dt) {
				u = d
			}
			l.step(u)
		}
		ku, pu := r.Ultimate(d)
		fmt.Printf("%-18s Ku %.3f (%.3f by the exact amplitude), period %.2f s (%.2f)\n", line[0], ku, gain, pu, period)
		assert.InEpsilon(t, gain, ku, 0.01)
		assert.InEpsilon(t, period, pu, 0.03)
	}
}

// TestWhatDoesNotSwingSaysNothing: before it is done, and where the swings are not alike.
func TestWhatDoesNotSwingSaysNothing(t *testing.T) {
	r := swing.New(0, 0.1, 3)
	for i := 1; !r.Done(); i++ {
		gain, _ := r.Ultimate(1)
		require.Zero(t, gain)
		for range i * i * i {
			r.Step(1, 1)
		}
		r.Step(-1, 1)
	}
	gain, period := r.Ultimate(1)
	assert.Zero(t, gain)
	assert.Zero(t, period)
}
