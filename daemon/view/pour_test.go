package view

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/pour"
	"meltwarden/daemon/frames"
)

// lifted is a frame whose first and second pot are off their plates, with so much left.
func lifted(first, second pour.Left) *frames.Frame {
	f := waiting3(control.WaitReturn, control.WaitReturn, control.WaitNothing)
	for i, l := range []pour.Left{first, second} {
		f.Pots[i].State, f.Pots[i].Pour = control.Lifted, l
	}
	f.Pour = first
	if first.Over == second.Over && second.In < first.In || second.Over && !first.Over {
		f.Pour = second
	}
	return f
}

// TestTheWindowIsCountedDown on the tiles, and in the one line of the pot that gets too cold
// first; an assumed time is told as one.
func TestTheWindowIsCountedDown(t *testing.T) {
	left := func(in, low, high int) pour.Left {
		s := time.Second
		return pour.Left{In: time.Duration(in) * s, Low: time.Duration(low) * s, High: time.Duration(high) * s, Known: true}
	}
	assumed := left(50, 28, 72)
	assumed.Assumed = true
	b := Of(lifted(assumed, left(31, 20, 44)), bench(), noon)
	assert.Equal(t, "cold in ≈ 50 s", b.Pots[0].Shown.Pour)
	assert.Equal(t, "28 to 72 s, assumed: it has hardly cooled yet", b.Pots[0].Shown.PourHow)
	assert.Equal(t, "20 to 44 s, by how it cools", b.Pots[1].Shown.PourHow)
	assert.Equal(t, same("chalk: cold in ≈ 31 s"), b.Shown.Answer)
	assert.Equal(t, "20 to 44 s, by how it cools", b.Shown.Detail)
	assert.Equal(t, Pour{InS: 31, LeastS: 20, MostS: 44}, b.Pour)
	assert.Equal(t, Pour{InS: 50, LeastS: 28, MostS: 72, Assumed: true}, b.Pots[0].Pour)
	assert.Empty(t, b.Pots[2].Shown.Pour)
	assert.False(t, b.Pots[2].Pour.InS.Known())

	b = Of(lifted(pour.Left{Known: true, Over: true}, left(31, 20, 44)), bench(), noon)
	assert.Equal(t, "too cold to shoot by now", b.Pots[0].Shown.Pour)
	assert.Equal(t, same("slate: too cold to shoot by now"), b.Shown.Answer)
}

// TestANoticedLiftSaysSo, and what to do once the pot looks back.
func TestANoticedLiftSaysSo(t *testing.T) {
	f := lifted(pour.Left{}, pour.Left{})
	f.Pots[0].Noticed, f.Pots[1].LooksBack = true, true
	b := Of(f, bench(), noon)
	assert.Equal(t, "looks lifted; nobody has marked it", b.Pots[0].Shown.Wait)
	assert.True(t, b.Pots[0].Noticed)
	assert.Equal(t, "looks as if it is back: mark it and press the enable button", b.Pots[1].Shown.Wait)
	assert.True(t, b.Pots[1].LooksBack)
}
