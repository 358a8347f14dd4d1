package control_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/call"
)

// TestThePourWindowOfAMarkedLift: it counts down from the mark, is called once when it is
// over, and ends with the word that the pot is back.
func TestThePourWindowOfAMarkedLift(t *testing.T) {
	r := readyRig()
	require.False(t, r.f.Pots[1].Pour.Known)
	b := &r.bodies[1]
	plateC := b.plate
	// Off its plate: the plate keeps to itself, and the melt cools by 4 °C a minute.
	coupling := b.coupling
	b.coupling, b.meltWPerK = 0, b.meltJPerK*4/60/147
	r.step(control.Command{Kind: control.Lift, Pot: 1})
	r.run(2 * time.Second)
	l := r.f.Pots[1].Pour
	assert.True(t, l.Known)
	assert.True(t, l.Assumed)
	assert.Equal(t, l, r.f.Pour)
	ticks := map[uint64]bool{}
	for range 3 * time.Minute / period {
		if f := r.step(); f.Call.Sound == call.Tick && f.Call.Pot == 2 {
			ticks[f.Call.Seq] = true
		}
		require.Zero(t, r.f.Outputs.Duty[1])
	}
	assert.True(t, r.f.Pots[1].Pour.Over)
	assert.Len(t, ticks, 1, "called once")
	b.coupling, b.plate = coupling, plateC
	r.step(control.Command{Kind: control.Return, Pot: 1})
	assert.False(t, r.f.Pots[1].Pour.Known)
	r.press()
	assert.False(t, r.f.Pots[1].Pour.Known)
	assert.NotEqual(t, control.Lifted, r.f.Pots[1].State)
}

// TestAColdPotHasNoWindow: what could not be shot before it was lifted has no time left.
func TestAColdPotHasNoWindow(t *testing.T) {
	r := newRig(demoSettings(), 21)
	r.run(time.Second)
	r.step(control.Command{Kind: control.Lift, Pot: 0})
	assert.False(t, r.run(5 * time.Second).Pots[0].Pour.Known)
	assert.Equal(t, control.Lifted, r.f.Pots[0].State)
}
