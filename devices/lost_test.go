package devices_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/devices"
	"meltwarden/devices/clock"
)

// zerosAfter returns when, after a moment, the heaters were first told zero.
func (g *rig) zerosAfter(t *testing.T, moment time.Duration) time.Duration {
	t.Helper()
	for _, w := range g.writes(moment) {
		zero := true
		for _, b := range w.Data {
			zero = zero && b == 0
		}
		if zero {
			return w.at - moment
		}
	}
	require.Fail(t, "the heaters were never told zero")
	return 0
}

// TestOffDoesNotWaitForAnswers: a device that hears and does not answer is told
// "off" at once all the same, and again at the end.
func TestOffDoesNotWaitForAnswers(t *testing.T) {
	for _, cycles := range []int{2, 7, 10, 20} {
		bench(t, benchConfig(), func(*rig) {}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			cycle := func(o control.Outputs, n int) {
				for range n {
					b.Poll(context.Background(), patient)
					b.Apply(o)
					time.Sleep(period)
				}
			}
			cycle(warm, 10)
			g.do(func() { g.silent[heaters] = true })
			cycle(warm, cycles)
			moment := time.Since(g.start)
			cycle(control.Outputs{Duty: []float64{0, 0}}, 10)
			took := g.zerosAfter(t, moment)
			t.Logf("%2d cycles without answers: told off after %.2f s", cycles, took.Seconds())
			assert.Less(t, took, 700*time.Millisecond)

			cycle(warm, cycles)
			moment = time.Since(g.start)
			assert.False(t, b.Close(context.Background()), "nothing confirms it")
			assert.Less(t, g.zerosAfter(t, moment), 700*time.Millisecond)
		})
	}
}

// TestAnOutputModuleIsHeardAgain: one that did not answer for a while, hot or off,
// confirms again within some seconds of being well: what is told it meanwhile must
// not bar every question to it for ever.
func TestAnOutputModuleIsHeardAgain(t *testing.T) {
	longest := time.Duration(0)
	for _, out := range []control.Outputs{warm, {Duty: []float64{0, 0}}} {
		for silent := 1; silent <= 60; silent++ {
			bench(t, benchConfig(), func(*rig) {}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
				cycles(b, clk, 10, out, nil)
				g.do(func() { g.silent[heaters] = true })
				cycles(b, clk, silent, control.Outputs{Duty: []float64{0, 0}}, nil)
				g.do(func() { g.silent[heaters] = false })
				well := clk.Now()
				heard := time.Duration(-1)
				cycles(b, clk, 50, control.Outputs{Duty: []float64{0, 0}}, func(in control.Input) {
					if heard < 0 && in.Contacts.Link.Known(period) {
						heard = clk.Now() - well
					}
				})
				assert.GreaterOrEqual(t, heard, time.Duration(0), "never again, after %d cycles of silence", silent)
				longest = max(longest, heard)
			})
		}
	}
	t.Logf("heard again within %.2f s of being well", longest.Seconds())
	assert.Less(t, longest, 3*time.Second)
}
