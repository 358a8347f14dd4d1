package devices_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

var cold = control.Outputs{Duty: []float64{0, 0}}

// forget is what the output module does as it loses its supply.
func (g *rig) forget() {
	g.do(func() { clear(g.words[heaters]); clear(g.bits[heaters]) })
}

// hot reports whether the output module has anything on that heats.
func (g *rig) hot() bool {
	first, second, contactor := g.duties()
	return first > 0 || second > 0 || contactor
}

// withoutContactor leaves the bench two heaters only.
func withoutContactor() devices.Config {
	cfg := benchConfig()
	cfg.Channels = append(cfg.Channels[:7], cfg.Channels[8])
	return cfg
}

// switchedWithoutContactor leaves it two heaters that can only be switched, each by a
// request of its own.
func switchedWithoutContactor() devices.Config {
	cfg := withoutContactor()
	for i := 5; i < 7; i++ {
		pot := cfg.Channels[i].Pot
		cfg.Channels[i] = bit(registers.Heater, "outputs", modbus.WriteCoil, uint16(i-1))
		cfg.Channels[i].Pot = pot
	}
	return cfg
}

var wirings = map[string]func() devices.Config{
	"with a contactor": benchConfig, "without one": withoutContactor, "switched, without one": switchedWithoutContactor,
}

// full is heat that also switched heaters have in every cycle.
var full = control.Outputs{Duty: []float64{1, 1}, Contactor: true}

// on reports whether the output module has any of the outputs of all wirings on.
func (g *rig) on() bool {
	hot := g.hot()
	g.do(func() { hot = hot || g.bits[heaters][4] || g.bits[heaters][5] })
	return hot
}

// TestWhatForgotIsNotHeatedAgain: the link is open until somebody was told and wants
// no heat any more; until then whatever is applied does not reach the device. Then it
// can be heated again.
func TestWhatForgotIsNotHeatedAgain(t *testing.T) {
	for name, wiring := range wirings {
		t.Run(name, func(t *testing.T) {
			bench(t, wiring(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
				in := cycles(b, clk, 10, full, nil)
				require.True(t, in.Contacts.Link.Closed && g.on())
				g.forget()
				opened := 0
				cycles(b, clk, 20, full, func(in control.Input) {
					assert.False(t, g.on())
					if !in.Contacts.Link.Closed {
						opened++
					}
				})
				assert.GreaterOrEqual(t, opened, 18, "it stays open while heat is wanted")
				in = cycles(b, clk, 3, cold, nil)
				assert.True(t, in.Contacts.Link.Closed)
				assert.LessOrEqual(t, in.Contacts.Link.Age, period)
				in = cycles(b, clk, 3, full, nil)
				assert.True(t, in.Contacts.Link.Closed && g.on())
			})
		})
	}
}

// TestAnOffThatKnewNothingHealsNothing: outputs that were off for another reason, and
// decided before anybody could see that a device forgot, do not close the link unseen.
func TestAnOffThatKnewNothingHealsNothing(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 10, warm, nil)
		g.forget()
		for _, out := range []control.Outputs{warm, cold, warm} {
			b.Apply(out)
			time.Sleep(period)
			assert.False(t, g.hot())
		}
		var in control.Input
		b.Poll(context.Background(), patient).Fill(&in, clk.Now())
		assert.False(t, in.Contacts.Link.Closed)
	})
}

// TestSomethingElseThanWasTold: switched on by somebody else counts as well.
func TestSomethingElseThanWasTold(t *testing.T) {
	bench(t, withoutContactor(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		half := control.Outputs{Duty: []float64{0, 1}}
		cycles(b, clk, 10, half, nil)
		g.set(heaters, 0, 300)
		var open bool
		cycles(b, clk, 2, half, func(in control.Input) { open = open || !in.Contacts.Link.Closed })
		assert.True(t, open)
		assert.False(t, g.hot())
	})
}

// TestARoundedDutyIsNotForgotten: a device may keep a duty in steps of a percent, the
// lower one, or no more than it is allowed.
func TestARoundedDutyIsNotForgotten(t *testing.T) {
	bench(t, withoutContactor(), func(g *rig) {
		g.spoils = func(r modbus.Request, good []byte) []byte {
			for address, v := range g.words[heaters] {
				g.words[heaters][address] = min(v/10*10, 800)
			}
			return good
		}
	}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		for per1000 := range 1001 {
			in := cycles(b, clk, 1, control.Outputs{Duty: []float64{float64(per1000) / 1000, 1 - float64(per1000)/1000}}, nil)
			require.True(t, per1000 == 0 || in.Contacts.Link.Closed, "at %d", per1000)
		}
	})
}

// readsBack tells of a request whether it asks the outputs of benchConfig what they hold.
func readsBack(r modbus.Request) bool { return r.Unit == heaters && r.Function == modbus.ReadCoils }

// TestWhatCanNotBeReadBackIsHeated: it is told once, and the gap stays. Another refusal
// is no reason to heat, nor is any of one that could be read back before.
func TestWhatCanNotBeReadBackIsHeated(t *testing.T) {
	for code, heated := range map[uint8]bool{
		modbus.IllegalFunction: true, modbus.IllegalDataAddress: true, modbus.DeviceFailure: false, modbus.DeviceBusy: false,
	} {
		refuse := func(g *rig) {
			g.spoils = func(r modbus.Request, good []byte) []byte {
				if readsBack(r) {
					return r.AppendException(nil, modbus.Exception{Code: code})
				}
				return good
			}
		}
		bench(t, benchConfig(), refuse, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			in := cycles(b, clk, 10, cold, nil)
			assert.True(t, in.Contacts.Link.Closed)
			cycles(b, clk, 20, warm, nil)
			assert.Equal(t, heated, g.hot(), "exception %d", code)
			if heated {
				assert.Equal(t, []string{"outputs"}, b.Stats().Lines[0].Mute)
				assert.LessOrEqual(t, b.Stats().Devices[1].Exchanges[modbus.Refused], uint64(2), "it is not asked again and again")
			} else {
				assert.Empty(t, b.Stats().Lines[0].Mute)
			}
		})
		bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			cycles(b, clk, 10, warm, nil)
			g.do(func() { refuse(g) })
			in := cycles(b, clk, 10, warm, nil)
			assert.Greater(t, in.Contacts.Link.Age, guard.MaxAge, "exception %d", code)
			assert.Empty(t, b.Stats().Lines[0].Mute)
		})
	}
}

// TestABadReadBackIsForgiven: lost, corrupt and late ones are faults of the line like
// others; up to three in a row do not make the link too old.
func TestABadReadBackIsForgiven(t *testing.T) {
	for name, spoil := range map[string]func([]byte) []byte{
		"lost":    func([]byte) []byte { return nil },
		"corrupt": func(good []byte) []byte { good[len(good)-1] ^= 1; return good },
	} {
		for most := 1; most <= 3; most++ {
			bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
				cycles(b, clk, 10, warm, nil)
				spoilt := 0
				g.do(func() {
					g.spoils = func(r modbus.Request, good []byte) []byte {
						if reads := r.Unit == heaters && !r.Writes() && r.Address == 0; reads && spoilt < most {
							spoilt++
							return spoil(good)
						}
						return good
					}
				})
				oldest := time.Duration(0)
				in := cycles(b, clk, 20, warm, func(in control.Input) {
					assert.True(t, in.Contacts.Link.Closed)
					oldest = max(oldest, in.Contacts.Link.Age)
				})
				t.Logf("%s, %d in a row: confirmed %.2f s ago at most", name, most, oldest.Seconds())
				assert.LessOrEqual(t, oldest, guard.MaxAge)
				assert.Less(t, in.Contacts.Link.Age, period)
				assert.Equal(t, most, spoilt)
			})
		}
	}
}

// TestCheckSaysWhatCanNotBeReadBack.
func TestCheckSaysWhatCanNotBeReadBack(t *testing.T) {
	reply := func(make func(r modbus.Request) []byte) func(*rig) {
		return func(g *rig) {
			g.spoils = func(r modbus.Request, good []byte) []byte {
				if readsBack(r) {
					return make(r)
				}
				return good
			}
		}
	}
	for name, c := range map[string]struct {
		prepare func(*rig)
		line    string
	}{
		"refused": {
			reply(func(r modbus.Request) []byte { return r.AppendException(nil, modbus.Exception{Code: 1}) }),
			"ok   contactor                 outputs        zero is confirmed, but it can not be read back",
		},
		"silent": {
			reply(func(modbus.Request) []byte { return nil }),
			"BAD  contactor                 outputs        zero is confirmed, but it is not read back: no good answer",
		},
		"on": {
			reply(func(r modbus.Request) []byte { return r.AppendReply(nil, []byte{1}) }),
			"BAD  contactor                 outputs        zero is confirmed, but it reads as something else",
		},
	} {
		t.Run(name, func(t *testing.T) {
			try(t, c.prepare, func(t *testing.T, _ *rig, found []devices.Finding, err error) {
				require.NoError(t, err)
				assert.Contains(t, lines(found), c.line)
				assert.Contains(t, lines(found), "ok   lamp                      outputs        zero is confirmed")
			})
		})
	}
}

// TestNothingHeatsAfterALoss: a device loses its supply at any time and for any span,
// in any wiring, on a line that loses any replies. Whoever decides does as the guard: with the link open or
// too old all is off for good. Nothing is on after the loss.
func TestNothingHeatsAfterALoss(t *testing.T) {
	forgot, unheard := 0, 0
	rapid.Check(t, func(r *rapid.T) {
		name := rapid.SampledFrom([]string{"with a contactor", "without one", "switched, without one"}).Draw(r, "wiring")
		at := time.Duration(rapid.IntRange(2000, 3000).Draw(r, "lost after ms")) * time.Millisecond
		lasts := time.Duration(rapid.IntRange(10, 1500).Draw(r, "lost for ms")) * time.Millisecond
		loses := rapid.SliceOfN(rapid.IntRange(0, 9), 40, 40).Draw(r, "lost replies")
		synctest.Test(t, func(t *testing.T) {
			g := newRig()
			replies := 0
			g.spoils = func(q modbus.Request, good []byte) []byte {
				if replies++; g.now() > 1500*time.Millisecond && loses[replies%len(loses)] == 0 {
					return nil
				}
				return good
			}
			clk := clock.New(1)
			b, err := devices.Open(wirings[name](), g.open, clk)
			require.NoError(t, err)
			time.AfterFunc(at, func() { g.do(func() { g.silent[heaters] = true }); g.forget() })
			time.AfterFunc(at+lasts, func() { g.do(func() { g.silent[heaters] = false }) })
			out, tripped := full, false
			var in control.Input
			for due := clk.Now(); clk.Now() < at+lasts+3*time.Second; {
				b.Poll(context.Background(), patient).Fill(&in, clk.Now())
				if c := in.Contacts.Link; clk.Now() > time.Second && !tripped && (!c.Closed || !c.Known(guard.MaxAge)) {
					out, tripped = cold, true
					if c.Closed {
						unheard++
					} else {
						forgot++
					}
				}
				b.Apply(out)
				if due += period; clk.Now() > at {
					assert.False(t, g.on(), "at %v", clk.Now())
				}
				clk.Sleep(context.Background(), due-clk.Now())
			}
			assert.False(t, g.on())
			assert.True(t, tripped)
			b.Close(context.Background())
			g.do(func() {
				for _, end := range g.ends {
					end.Close()
				}
			})
		})
		if t.Failed() {
			r.Fatalf("%s: lost after %v for %v", name, at, lasts)
		}
	})
	t.Logf("link open %d times, too old %d times", forgot, unheard)
}
