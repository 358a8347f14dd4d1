package guard

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestWhoIsAtTheBench: what tells of a person, and what does not, while the bench
// is hot and heat is enabled.
func TestWhoIsAtTheBench(t *testing.T) {
	every := func(gap time.Duration, do func(r *rig)) func(*rig) {
		return func(r *rig) {
			for range 40 * time.Minute / gap {
				r.run(gap)
				do(r)
			}
		}
	}
	pedal := func(down, up time.Duration) func(*rig) {
		return func(r *rig) {
			r.pedal(true, down)
			r.pedal(false, up)
		}
	}
	for name, c := range map[string]struct {
		do    func(*rig)
		stays bool
	}{
		"nobody":                        {func(r *rig) { r.run(40 * time.Minute) }, false},
		"a mark at the bench":           {every(8*time.Minute, func(r *rig) { r.spoil = nil; r.step(); r.spoil = alone }), true},
		"the pedal":                     {every(8*time.Minute, pedal(800*time.Millisecond, 2*time.Second)), true},
		"the enable button":             {every(8*time.Minute, func(r *rig) { r.press() }), true},
		"a pedal that chatters":         {every(time.Second, pedal(period, period)), false},
		"a pedal that something is on":  {func(r *rig) { r.pedal(true, 40*time.Minute) }, false},
		"a mark, but twelve minutes on": {every(12*time.Minute, func(r *rig) { r.spoil = nil; r.step(); r.spoil = alone }), true},
	} {
		r := enabled(limits)
		r.spoil = alone
		c.do(r)
		assert.Equal(t, c.stays, r.g.State() == Enabled, name)
		assert.Equal(t, !c.stays, r.latched(LeftAlone), name)
	}
}

// pedal makes the cycles of a span with the pedal as given and nobody marking.
func (r *rig) pedal(down bool, d time.Duration) {
	r.spoil = func(s *Sight) { alone(s); s.Pedal = contact(down) }
	r.run(d)
	r.spoil = alone
}

// TestAColdBenchMayBeLeft: until something is too hot to touch nobody has to stay;
// nor with heat blocked.
func TestAColdBenchMayBeLeft(t *testing.T) {
	cold := func(s *Sight) { coldBench(s); alone(s) }
	r := enabledFrom(limits, cold)
	r.run(30 * time.Minute)
	assert.Equal(t, Enabled, r.g.State())
	assert.Empty(t, r.codes())

	r = newRig(limits)
	r.spoil = alone
	r.run(30 * time.Minute)
	assert.Equal(t, []Code{StillHot}, r.codes())
}

// TestThreeHours: warned a quarter of an hour before, off at three; a press starts
// the time anew.
func TestThreeHours(t *testing.T) {
	r := enabled(limits)
	r.run(2*time.Hour + 50*time.Minute)
	assert.Equal(t, []Code{SessionLong}, r.codes())
	assert.Equal(t, full, r.press())
	assert.Empty(t, r.codes())
	r.run(2*time.Hour + 44*time.Minute)
	assert.Empty(t, r.codes())
	r.run(17 * time.Minute)
	assert.Equal(t, []Code{SessionTooLong, StillHot}, r.codes())
	assert.Equal(t, off, r.press(), "the first press resets")
	assert.Equal(t, full, r.press())
}

// TestStillHot until everything is below what burns.
func TestStillHot(t *testing.T) {
	r := enabled(limits)
	assert.Empty(t, r.codes())
	r.spoil = func(s *Sight) { s.AllOff = true }
	r.step()
	cools := func(s *Sight, t float64) {
		for i := range s.Pots {
			s.Pots[i].Duty = 0
			s.Pots[i].Melt.C -= t / 60
			s.Pots[i].Plate.C -= t / 50
		}
	}
	r.begin(cools)
	told := time.Duration(0)
	for ; len(r.codes()) > 0; r.step() {
		require.Equal(t, []Code{StillHot}, r.codes())
		told += period
	}
	hottest := max(r.s.Pots[0].Melt.C, r.s.Pots[0].Plate.C)
	fmt.Printf("still hot for %v, until the last reads %.1f °C\n", told, hottest)
	assert.InDelta(t, TouchC, hottest, 0.5)
}
