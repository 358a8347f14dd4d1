package control_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
)

// relaySettings are the demo's with a mechanical relay before every heater.
func relaySettings() control.Settings {
	s := demoSettings()
	for i := range s.Pots {
		s.Pots[i].Output, s.Pots[i].Window = circuit.Switched, 20*time.Second
	}
	return s
}

// TestSwitchedHeaters: relays are told on or off, never too many of them; a pot's duty
// is what its heater gets in the mean, and the guard has nothing to find in it.
func TestSwitchedHeaters(t *testing.T) {
	t.Run("as its window has it", func(t *testing.T) { switchedHeaters(t, relaySettings(), 0.015) })
	t.Run("long offs", func(t *testing.T) {
		s := relaySettings()
		for i := range s.Pots {
			s.Pots[i].LeastOff = 10 * time.Second
		}
		switchedHeaters(t, s, 0.1)
	})
}

// switchedHeaters runs an evening in which what is said to be given may be so far, as a part,
// from what is.
func switchedHeaters(t *testing.T, s control.Settings, within float64) {
	r := newRig(s, 21)
	toldJ, meanJ := 0.0, 0.0
	r.seen = func(f *control.Frame) {
		watts, mean := 0.0, 0.0
		for i := range f.Pots {
			told := f.Outputs.Duty[i]
			require.True(t, told == 0 || told == 1)
			watts += told * s.Pots[i].HeaterW
			mean += f.Pots[i].Duty * s.Pots[i].HeaterW
		}
		require.LessOrEqual(t, watts, s.Circuit.MaxW)
		require.InDelta(t, mean, f.PowerW, 1e-9)
		toldJ, meanJ = toldJ+watts*period.Seconds(), meanJ+mean*period.Seconds()
		for _, c := range f.Conditions {
			require.NotContains(t, []guard.Code{guard.CircuitOver, guard.HeaterDead, guard.RiseWhileOff, guard.ProbesCrossed}, c.Code)
		}
	}
	r.press()
	r.evening(40*time.Minute, nil)
	assert.True(t, r.f.Ready)
	assert.InDelta(t, meanJ, toldJ, within*meanJ, "what is owed is forgotten where a loop asks for nothing")
	assert.Greater(t, meanJ, 1e5)
}

// TestOffIsOffAtOnce, in the middle of a window.
func TestOffIsOffAtOnce(t *testing.T) {
	r := newRig(relaySettings(), 21)
	r.press()
	r.run(20 * time.Second)
	require.Contains(t, r.f.Outputs.Duty, 1.0)
	f := r.step(control.Command{Kind: control.AllOff})
	assert.Equal(t, []float64{0, 0, 0}, f.Outputs.Duty)
	assert.Zero(t, f.PowerW)
}
