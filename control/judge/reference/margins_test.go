package reference

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/pid"
)

// TestMargins: Skogestad 2003, table of margins, from memory, and closed forms; see
// testdata/tuning/margins.csv. At τc = θ a first-order process with delay has GM
// 3.14, PM 61.4° and Ms 1.59, an integrating one GM 2.96, PM 46.9° and Ms 1.70.
func TestMargins(t *testing.T) {
	rows := table(t, "margins.csv")
	const theta = 4.0
	integrating := Process{K: 0.02, Theta: theta}.Response().Integrated()
	firstOrder := func(lag, tauC float64) Response {
		m := Model{K: 0.7, Theta: theta, Tau1: lag * theta}
		return Process{K: m.K, Theta: m.Theta, Lags: []float64{m.Tau1}}.Response().With(SIMC(m, tauC*theta))
	}
	for i, l := range []Response{
		firstOrder(3, 1),
		integrating.With(pid.SIMCIntegrating(0.02, theta, 0, theta)),
		firstOrder(5, 1.5),
		firstOrder(5, 2),
		firstOrder(5, 3),
	} {
		r, m := rows[i], l.Margins(theta)
		fmt.Printf("GM %.4f  PM %.3f°  Ms %.4f  w180·θ %.4f   (table: %s, %s°, %s, %s)  %s\n", m.Gain, m.PhaseDeg, m.Ms, m.W180*theta, r.words["GM"], r.words["PM_deg"], r.words["Ms"], r.words["w180_theta"], r.words["loop"])
		assert.InDelta(t, r.number("GM"), m.Gain, 1e-4)
		assert.InDelta(t, r.number("PM_deg"), m.PhaseDeg, 1e-3)
		assert.InDelta(t, r.number("Ms"), m.Ms, 1e-4)
		assert.InDelta(t, r.number("w180_theta"), m.W180*theta, 1e-4)
	}
}

// TestMarginsWithASecondLag: the derivative cancels the lag, so without its
// filter the margins are those of the integrating process; the filter costs some.
func TestMarginsWithASecondLag(t *testing.T) {
	const theta, lag = 4.0, 10.0
	process := Process{K: 0.02, Theta: theta, Lags: []float64{lag}}.Response().Integrated()
	g := pid.SIMCIntegrating(0.02, theta, lag, theta)
	filtered := process.With(g).Margins(theta)
	g.Filter = 0
	m := process.With(g).Margins(theta)
	fmt.Printf("integrating, lag 2.5 θ: GM %.4f  PM %.3f°  Ms %.4f, with the derivative's filter %.4f, %.3f°, %.4f\n", m.Gain, m.PhaseDeg, m.Ms, filtered.Gain, filtered.PhaseDeg, filtered.Ms)
	assert.InDelta(t, 2.96, m.Gain, 0.005)
	assert.InDelta(t, 46.9, m.PhaseDeg, 0.05)
	// Usual lower bounds (Skogestad 2003, from memory).
	assert.Greater(t, filtered.Gain, 1.7)
	assert.Greater(t, filtered.PhaseDeg, 30.0)
}
