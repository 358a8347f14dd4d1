package control_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/reading"
)

// TestWhatIsDrawnWaitsForAPush: from its draw until a push of whatever was drawn, and no
// longer than it can be meant.
func TestWhatIsDrawnWaitsForAPush(t *testing.T) {
	r := newRig(demoSettings(), 165)
	r.script = func(in *control.Input) {
		for i := range in.Pots {
			in.Pots[i].Injector = reading.Temperature{Fault: reading.NotWired}
		}
		in.Pots[1].Injector = good(61)
	}
	r.run(10 * time.Second)
	assert.False(t, r.f.Pots[0].Drawn.Waits)
	r.step(control.Command{Kind: control.Draw, Pot: 1})
	r.run(5 * time.Second)
	r.step(control.Command{Kind: control.Draw, Pot: 0})
	r.run(5 * time.Second)
	d := r.f.Pots[1].Drawn
	assert.True(t, d.Waits)
	assert.InDelta(t, 10.4, d.Since.Seconds(), 0.3)
	assert.InDelta(t, 165, d.C, 2)
	assert.Equal(t, 61.0, d.TubeC)
	assert.NotEqual(t, r.f.Pots[0].Drawn.TubeC, r.f.Pots[0].Drawn.TubeC, "nobody has measured it")
	assert.False(t, r.f.Pots[2].Drawn.Waits)

	r.step(control.Command{Kind: control.Shot})
	for i := range r.f.Pots {
		assert.Equal(t, control.Drawn{}, r.f.Pots[i].Drawn)
	}
	r.step(control.Command{Kind: control.Draw, Pot: 2})
	r.run(control.DrawnFor - 5*time.Second)
	assert.True(t, r.f.Pots[2].Drawn.Waits)
	r.run(10 * time.Second)
	assert.False(t, r.f.Pots[2].Drawn.Waits)
}

// TestADrawOfAnUnknownMelt has no temperature to begin with.
func TestADrawOfAnUnknownMelt(t *testing.T) {
	r := newRig(demoSettings(), 165)
	r.script = func(in *control.Input) { in.Pots[0].Melt = reading.Temperature{Fault: reading.Open} }
	r.run(3 * time.Second)
	r.step(control.Command{Kind: control.Draw, Pot: 0})
	d := r.f.Pots[0].Drawn
	assert.True(t, d.Waits)
	assert.NotEqual(t, d.C, d.C)
}
