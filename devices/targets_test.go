package devices_test

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// The units of two controllers, the second of them in degrees Fahrenheit.
const (
	controller = 3
	fahrenheit = 4
)

func controllerConfig() devices.Config {
	c := benchConfig()
	c.Devices = append(c.Devices,
		devices.DeviceConfig{Name: "c", Line: "line", Unit: controller, Timeout: timeout},
		devices.DeviceConfig{Name: "f", Line: "line", Unit: fahrenheit, Timeout: timeout})
	setpoint := func(pot, device string, scale float64, unit registers.Unit) registers.Channel {
		s := number(registers.Setpoint, pot, device, modbus.WriteRegister, 0, scale, unit)
		s.RestC, s.Senses = 5, registers.OfPlate
		return s
	}
	var kept []registers.Channel
	for _, ch := range c.Channels {
		if ch.Role != registers.Heater {
			kept = append(kept, ch)
		}
	}
	c.Channels = append(kept, setpoint("left", "c", 0.1, registers.Celsius), setpoint("right", "f", 1, registers.Fahrenheit))
	return c
}

// rests is a rig on which both controllers are at rest.
func rests(g *rig) {
	g.set(controller, 0, 50)
	g.set(fahrenheit, 0, 41)
}

// told returns the values that were written to a unit since a time.
func (g *rig) told(unit uint8, since time.Duration) (values []uint16) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, a := range g.log {
		if a.Unit == unit && a.Writes() && a.at >= since {
			values = append(values, modbus.Registers(a.Data)...)
		}
	}
	return values
}

var steering = control.Outputs{Duty: []float64{0, 0}, SetpointC: []float64{200, 205}, Contactor: true}

// TestSetpointsAreWrittenOnChangeOnly, never above what was told, to rest at the end, and not
// even that where a controller rests already.
func TestSetpointsAreWrittenOnChangeOnly(t *testing.T) {
	bench(t, controllerConfig(), rests, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 20, control.Outputs{Duty: []float64{0, 0}}, nil)
		assert.Empty(t, g.told(controller, 0), "it rests")
		in := cycles(b, clk, 50, steering, nil)
		assert.Equal(t, []uint16{2000}, g.told(controller, 0))
		assert.Equal(t, []uint16{401}, g.told(fahrenheit, 0), "205 °C are 401 °F")
		assert.InDelta(t, 200, in.Pots[0].Setpoint.C, 1e-9)
		assert.InDelta(t, 205, in.Pots[1].Setpoint.C, 1e-9)
		assert.True(t, in.Contacts.Link.Known(time.Second) && in.Contacts.Link.Closed)
		assert.True(t, b.Close(context.Background()))
		assert.Equal(t, []uint16{2000, 50}, g.told(controller, 0))
		assert.Equal(t, []uint16{401, 41}, g.told(fahrenheit, 0))
		assert.Equal(t, uint64(2), b.Stats().Devices[2].Setpoints)
	})
}

// TestALostSetpointIsSentAgain soon; a controller that never takes it is left alone.
func TestALostSetpointIsSentAgain(t *testing.T) {
	for name, c := range map[string]struct{ spoilt, most int }{"one lost frame": {1, 2}, "locked": {1000, 3 + 6}} {
		bench(t, controllerConfig(), rests, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			cycles(b, clk, 5, control.Outputs{Duty: []float64{0, 0}}, nil)
			n := 0
			g.do(func() {
				g.spoils = func(r modbus.Request, good []byte) []byte {
					if r.Unit == controller && r.Writes() && n < c.spoilt {
						n++
						g.words[controller][0] = 50
					}
					return good
				}
			})
			in := cycles(b, clk, 300, steering, nil)
			told := g.told(controller, 0)
			t.Logf("%s: sent %d times in a minute", name, len(told))
			assert.LessOrEqual(t, len(told), c.most)
			assert.GreaterOrEqual(t, len(told), min(c.most, 8))
			assert.True(t, in.Contacts.Link.Known(time.Second), "it is heard, whatever it has: that is for control to judge")
		})
	}
}

// TestWhatDoesNotRestIsNotConfirmed: a controller that is to rest and does not, though it
// acknowledges that, or is silent, leaves the link to go stale within a second, for good, and
// a silent one is told once in a while. Nor is rest confirmed at the end.
func TestWhatDoesNotRestIsNotConfirmed(t *testing.T) {
	for name, begin := range map[string]func(g *rig){
		"locked": func(g *rig) {
			g.spoils = func(r modbus.Request, good []byte) []byte {
				if r.Unit == controller && r.Writes() {
					g.words[controller][0] = 2000
				}
				return good
			}
		},
		"silent": func(g *rig) { g.silent[controller] = true },
	} {
		bench(t, controllerConfig(), rests, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			cycles(b, clk, 10, steering, nil)
			g.do(func() { begin(g) })
			since := time.Since(g.start)
			known := 0
			cycles(b, clk, 150, control.Outputs{Duty: []float64{0, 0}}, func(in control.Input) {
				if in.Contacts.Link.Known(time.Second) {
					known++
				}
			})
			assert.LessOrEqual(t, known, int(time.Second/period)+1, "%s: cycles of half a minute in which the heaters count as heard", name)
			assert.LessOrEqual(t, len(g.told(controller, since)), 8, "%s: half a minute", name)
			assert.Contains(t, g.told(controller, since), uint16(50), name)
			assert.Contains(t, g.told(fahrenheit, since), uint16(41), "the other does not wait for it")
			assert.False(t, b.Close(context.Background()), "%s: it is not at rest at the end", name)
		})
	}
}

// TestALoopThatDoesNotRestIsNotHiddenByAnother of the same controller, which goes on heating.
func TestALoopThatDoesNotRestIsNotHiddenByAnother(t *testing.T) {
	c := controllerConfig()
	for i := range c.Channels {
		if s := &c.Channels[i]; s.Role == registers.Setpoint {
			s.Device, s.Function, s.Scale, s.Unit = "c", modbus.WriteRegisters, 0.1, registers.Celsius
			s.Address = uint16(slices.Index(c.Pots, s.Pot))
		}
	}
	bench(t, c, func(g *rig) { g.set(controller, 0, 50, 50) }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 10, steering, nil)
		g.do(func() {
			g.spoils = func(r modbus.Request, good []byte) []byte {
				if r.Unit == controller && r.Writes() {
					g.words[controller][0] = 2450
				}
				return good
			}
		})
		since := time.Since(g.start)
		in := cycles(b, clk, 10, control.Outputs{Duty: []float64{0, 0}, SetpointC: []float64{5, 205}, Contactor: true}, nil)
		assert.False(t, in.Contacts.Link.Known(time.Second))
		for _, celsius := range g.told(controller, since) {
			assert.Equal(t, uint16(50), celsius, "the other loop's memory is left alone")
		}
	})
}

// TestWhatIsNoSetpointIsNotWritten: an address that is refused to be read, or that does not
// answer, is told nothing by a check, not even rest.
func TestWhatIsNoSetpointIsNotWritten(t *testing.T) {
	for name, begin := range map[string]func(g *rig){
		"refuses to be read": func(g *rig) {
			g.spoils = func(r modbus.Request, good []byte) []byte {
				if r.Unit == controller && !r.Writes() {
					return r.AppendException(nil, modbus.Exception{Code: modbus.IllegalDataAddress})
				}
				return good
			}
		},
		"silent": func(g *rig) { g.silent[controller] = true },
	} {
		synctest.Test(t, func(t *testing.T) {
			g := newRig()
			rests(g)
			begin(g)
			found, _, err := devices.Try(context.Background(), controllerConfig(), g.open, clock.New(1))
			require.NoError(t, err)
			assert.Contains(t, lines(found), "BAD  setpoint       left       c              rest is not confirmed", name)
			assert.Contains(t, lines(found), "ok   contactor                 outputs        zero is confirmed", name)
			assert.Empty(t, g.told(controller, 0), name)
		})
	}
}

// TestTrySaysWhichControllerRests by what it has, not by what it acknowledges.
func TestTrySaysWhichControllerRests(t *testing.T) {
	for _, locked := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			g := newRig()
			g.set(controller, 0, 2000)
			g.set(fahrenheit, 0, 41)
			g.spoils = func(r modbus.Request, good []byte) []byte {
				if locked && r.Unit == controller && r.Writes() {
					g.words[controller][0] = 2000
				}
				return good
			}
			found, _, err := devices.Try(context.Background(), controllerConfig(), g.open, clock.New(1))
			require.NoError(t, err)
			want := "ok   setpoint       left       c              rest is confirmed"
			if locked {
				want = "BAD  setpoint       left       c              rest is not confirmed"
			}
			assert.Contains(t, lines(found), want)
			assert.Contains(t, lines(found), "ok   setpoint       right      f              rest is confirmed")
			assert.Empty(t, g.told(fahrenheit, 0), "it rests already")
		})
	}
}

// TestASetpointThatIsNoNumberIsNotHeard: what its controller heats to is not known then, so
// the link goes stale while it heats, too.
func TestASetpointThatIsNoNumberIsNotHeard(t *testing.T) {
	c := controllerConfig()
	for i := range c.Channels {
		if s := &c.Channels[i]; s.Role == registers.Setpoint && s.Pot == "left" {
			s.Function, s.Type, s.Scale = modbus.WriteRegisters, registers.Float32, 1
		}
	}
	begin := func(g *rig) {
		rests(g)
		g.set(controller, 0, 0x40A0, 0) // 5
	}
	bench(t, c, begin, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		in := cycles(b, clk, 20, steering, nil)
		require.True(t, in.Contacts.Link.Known(time.Second))
		require.InDelta(t, 200, in.Pots[0].Setpoint.C, 1e-9)
		g.do(func() { g.words[controller][0], g.words[controller][1] = 0xFFFF, 0xFFFF })
		known := 0
		in = cycles(b, clk, 50, steering, func(in control.Input) {
			if in.Contacts.Link.Known(time.Second) {
				known++
			}
		})
		assert.Equal(t, reading.NotANumber, in.Pots[0].Setpoint.Fault)
		assert.LessOrEqual(t, known, int(time.Second/period)+1)
	})
}
