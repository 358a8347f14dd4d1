package control_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
)

var tryOut = control.Command{Kind: control.TryOut}

// trying is a bench on whose first pot a trial has just begun.
func trying(t *testing.T) *rig {
	r := readyRig()
	require.True(t, r.f.Ready)
	r.step(tryOut)
	require.Equal(t, 7, r.f.Pots[0].Trial.Of)
	assert.Zero(t, r.f.Pots[1].Trial.Of)
	return r
}

// TestATrialEndsByItself, with the melt near its set-point all the time, and goes on
// without a bump: the plate is held where it was.
func TestATrialEndsByItself(t *testing.T) {
	r := readyRig()
	before := r.f.Pots[0].PlateTargetC
	r.step(tryOut)
	ended := 0
	r.evening(30*time.Minute, func(f *control.Frame) {
		p := &f.Pots[0]
		require.InDelta(t, p.SetpointC, p.MeltC, 1.5)
		if p.Trial.Of == 0 && ended == 0 {
			ended = r.cycle
			assert.InDelta(t, before, p.PlateTargetC, 5*math.Abs(p.SetpointC-p.MeltC)+1)
		}
	})
	assert.Positive(t, ended)
	assert.True(t, r.f.Pots[0].Tuned && r.f.Pots[0].Trial.Done)
	assert.InDelta(t, r.f.Pots[0].SetpointC, r.f.Pots[0].MeltC, 0.5)
}

// TestATrialIsForWhoeverIsAtTheBench, and only for a pot that is held.
func TestATrialIsForWhoeverIsAtTheBench(t *testing.T) {
	r := readyRig()
	r.step(control.Command{Kind: control.TryOut, Afar: true})
	assert.Zero(t, r.f.Pots[0].Trial.Of)
	assert.True(t, r.f.Pots[0].CanBeTried)
	assert.False(t, trying(t).f.Pots[0].CanBeTried, "one at a time")

	r = newRig(demoSettings(), 21)
	r.press()
	r.run(5 * time.Minute)
	assert.False(t, r.f.Pots[0].CanBeTried)
	r.step(tryOut)
	assert.Zero(t, r.f.Pots[0].Trial.Of)
}

// TestATrialEndsAtOnce where anything else happens; a stir is part of holding a pot.
func TestATrialEndsAtOnce(t *testing.T) {
	for _, kind := range []control.CommandKind{control.ColourAdded, control.Draw, control.Lift, control.AllOff} {
		r := trying(t)
		r.step(control.Command{Kind: kind})
		assert.Zero(t, r.f.Pots[0].Trial.Of, "%v", kind)
		assert.False(t, r.f.Pots[0].Tuned || r.f.Pots[0].Trial.Done)
	}
	r := trying(t)
	r.step(control.Command{Kind: control.Setpoint, C: r.f.Pots[0].SetpointC + 1})
	assert.Zero(t, r.f.Pots[0].Trial.Of, "another set-point")

	r = trying(t)
	r.step(control.Command{Kind: control.Stir})
	assert.Positive(t, r.f.Pots[0].Trial.Of)
	r.script = func(in *control.Input) { in.Pots[0].Plate = reading.Temperature{Fault: reading.Missing} }
	r.run(2 * time.Second)
	assert.Zero(t, r.f.Pots[0].Trial.Of, "no readings")
	assert.Zero(t, r.f.Outputs.Duty[0])
}
