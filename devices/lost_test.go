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

// TestALostPortIsToldOnce: also one that heats nothing, and while nothing is heated, for
// heat may be enabled all the same.
func TestALostPortIsToldOnce(t *testing.T) {
	cold := control.Outputs{Duty: []float64{0, 0}}
	two := benchConfig()
	two.Lines = append(two.Lines, devices.LineConfig{Name: "other", Port: "invented too", Baud: 19200, Parity: "even", StopBits: 1})
	two.Devices[0].Line = "other"
	for name, cfg := range map[string]devices.Config{"the heaters' line": benchConfig(), "the probes' line": two} {
		t.Run(name, func(t *testing.T) {
			bench(t, cfg, func(*rig) {}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
				in := cycles(b, clk, 10, cold, nil)
				require.True(t, in.Contacts.Link.Known(period) && in.Contacts.Link.Closed)
				g.do(func() {
					for i, end := range g.ends {
						if len(cfg.Lines) == 1 || g.names[i] == "other" {
							end.Close()
						}
					}
				})
				open := 0
				in = cycles(b, clk, 20, cold, func(in control.Input) {
					if !in.Contacts.Link.Closed {
						open++
					}
				})
				assert.Positive(t, open)
				assert.True(t, in.Contacts.Link.Known(period) && in.Contacts.Link.Closed, "it is back, and nothing more is wrong")
			})
		})
	}
}
