package devices_test

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// heldWords are what outputs have, a line each, those that may heat marked.
func heldWords(all []devices.Output) (words []string) {
	for _, h := range all {
		mark := "  "
		if h.MayHeat() {
			mark = "! "
		}
		words = append(words, mark+string(h.Role)+" "+h.Pot+": "+h.Value)
	}
	return words
}

// readsOnly polls a bench that is only read, and returns what its outputs say at the end.
func readsOnly(t *testing.T, b *devices.Bus, clk *clock.Clock, n int) []string {
	t.Helper()
	var s devices.Snapshot
	for range n {
		s = b.Poll(context.Background(), period)
		time.Sleep(period)
	}
	return heldWords(s.Outputs(clk.Now()))
}

// TestOutputsThatReadBackAsOn are told so, with how much; one that does not say it, or is no
// number, is not off. Nothing is written.
func TestOutputsThatReadBackAsOn(t *testing.T) {
	cfg := benchConfig()
	cfg.ReadOnly = true
	bench(t, cfg, func(g *rig) {
		g.set(heaters, 0, 350, 0)
		g.bits[heaters] = map[uint16]bool{0: true, 1: true}
	}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		assert.Equal(t, []string{"! heater left: on, 35 %", "  heater right: off", "! contactor : on", "  lamp : on"}, readsOnly(t, b, clk, 5))
		g.set(heaters, 0, 1000, 0)
		assert.Equal(t, "! heater left: on, 100 %", readsOnly(t, b, clk, 5)[0])
		g.set(heaters, 0, 0, 1)
		g.do(func() { clear(g.bits[heaters]) })
		assert.Equal(t, []string{"  heater left: off", "! heater right: on, 0.1 %", "  contactor : off", "  lamp : off"}, readsOnly(t, b, clk, 5))
		g.do(func() {
			g.spoils = func(r modbus.Request, good []byte) []byte {
				if r.Unit == heaters && r.Function == modbus.ReadHolding {
					return r.AppendException(nil, modbus.Exception{Code: modbus.IllegalDataAddress})
				}
				return good
			}
		})
		assert.Equal(t, []string{"! heater left: can not be read back", "! heater right: can not be read back", "  contactor : off", "  lamp : off"}, readsOnly(t, b, clk, 5))
		g.do(func() { g.silent[heaters], g.spoils = true, nil })
		words := readsOnly(t, b, clk, 25)
		for _, heats := range words[:3] {
			assert.Regexp(t, `^! .*: no answer for \d+ s$`, heats)
		}
		b.Close(context.Background())
		g.do(func() {
			for _, a := range g.log {
				assert.False(t, a.Writes(), "%+v", a)
			}
		})
	})
}

// TestASetpointAboveItsRestMayHeat, in either unit.
func TestASetpointAboveItsRestMayHeat(t *testing.T) {
	cfg := controllerConfig()
	cfg.ReadOnly = true
	bench(t, cfg, func(g *rig) {
		g.set(controller, 0, 1900)
		g.set(fahrenheit, 0, 41)
	}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		assert.Equal(t, []string{
			"  contactor : off", "  lamp : off",
			"! setpoint left: 190.0 °C, its rest is 5.0 °C", "  setpoint right: 5.0 °C, its rest is 5.0 °C",
		}, readsOnly(t, b, clk, 5))
	})
}

// TestAControllerIsJudgedByWhatItSays: where a bench has another place to read a set-point
// back, the hotter or unknown of the two is what counts; a register that can only be written
// says nothing.
func TestAControllerIsJudgedByWhatItSays(t *testing.T) {
	cfg := controllerConfig()
	cfg.ReadOnly = true
	cfg.Channels = append(cfg.Channels, number(registers.SetpointRead, "left", "c", modbus.ReadInput, 20, 1, registers.Celsius))
	bench(t, cfg, func(g *rig) {
		rests(g)
		g.set(controller, 20, 190)
	}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		left := func() string { return readsOnly(t, b, clk, 10)[2] }
		assert.Equal(t, "! setpoint left: 190.0 °C, its rest is 5.0 °C", left(), "it heats to what was set on its keys")
		g.set(controller, 20, 5)
		assert.Equal(t, "  setpoint left: 5.0 °C, its rest is 5.0 °C", left())
		g.set(controller, 0, 1700)
		assert.Equal(t, "! setpoint left: 170.0 °C, its rest is 5.0 °C", left(), "it may heat to what is written")
		g.set(controller, 20, 190)
		assert.Equal(t, "! setpoint left: 190.0 °C, its rest is 5.0 °C", left())
		refuses := func(function uint8) {
			g.do(func() {
				g.spoils = func(r modbus.Request, good []byte) []byte {
					if r.Unit == controller && r.Function == function {
						return r.AppendException(nil, modbus.Exception{Code: modbus.IllegalDataAddress})
					}
					return good
				}
			})
		}
		rests(g)
		refuses(modbus.ReadInput)
		assert.Equal(t, "! setpoint left: can not be read back", left())
		g.set(controller, 0, 1700)
		assert.Equal(t, "! setpoint left: 170.0 °C, its rest is 5.0 °C", left())
		refuses(modbus.ReadHolding)
		g.set(controller, 20, 5)
		assert.Equal(t, "  setpoint left: 5.0 °C, its rest is 5.0 °C", left(), "it can only be written there")
		g.do(func() { g.silent[controller] = true })
		assert.Regexp(t, `^! setpoint left: no answer for \d+ s$`, left())
	})
}

// TestASlowLineIsNoSilence: at 1200 baud a round takes longer than outputs count elsewhere, and
// what is off stays so at every look, until a device is silent, or the line is lost.
func TestASlowLineIsNoSilence(t *testing.T) {
	cfg := controllerConfig()
	cfg.ReadOnly = true
	cfg.Lines[0].Baud = 1200
	bench(t, cfg, func(g *rig) {
		rests(g)
		onWire(g, cfg, 2*time.Millisecond)
	}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		readsOnly(t, b, clk, 25)
		aged := 0
		for range 300 {
			words := readsOnly(t, b, clk, 1)
			assert.NotContains(t, strings.Join(words, "\n"), "!")
			if strings.Contains(words[2], " s ago") {
				aged++
			}
		}
		assert.NotZero(t, aged, "the line is not slow")
		g.do(func() { g.silent[controller] = true })
		words := readsOnly(t, b, clk, 25)
		assert.Regexp(t, `^! setpoint left: no answer for \d+ s$`, words[2])
		assert.Regexp(t, `^  setpoint right: `, words[3])
		g.do(func() { g.absent = errAbsent })
		g.hangUp()
		for _, heats := range readsOnly(t, b, clk, 15) {
			assert.Regexp(t, `: no answer for \d+ s$`, heats)
		}
	})
}

// TestWhatIsToldIsNotReadBackAsHeld: where outputs are told, nobody asks for what they have.
func TestWhatIsToldIsNotReadBackAsHeld(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 5, warm, nil)
		all := b.Poll(context.Background(), period).Outputs(clk.Now())
		require.NotEmpty(t, all)
		for _, h := range all {
			assert.Nil(t, h.On, h.Role)
		}
		text, err := json.Marshal(all[0])
		require.NoError(t, err)
		assert.Equal(t, `{"role":"heater","pot":"left","device":"outputs","on":null,"heats":true,"value":"no answer"}`, string(text))
	})
}
