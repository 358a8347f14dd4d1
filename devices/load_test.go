package devices_test

import (
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/devices"
	"meltwarden/devices/budget"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// meter counts what goes over a port, by function.
type meter struct {
	modbus.Port
	mu    sync.Mutex
	asked map[uint8]int
	bytes map[uint8]int
	last  uint8
}

// Write implements modbus.Port.
func (m *meter) Write(p []byte) (int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.last = p[1]
	m.asked[m.last]++
	m.bytes[m.last] += len(p)
	return m.Port.Write(p)
}

// Read implements modbus.Port.
func (m *meter) Read(p []byte) (int, error) {
	n, err := m.Port.Read(p)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.bytes[m.last] += n
	return n, err
}

// TestNumbersOfTheLine prints how much of a cycle the demo's line is busy while three
// pots are heated, and what reading back takes of it: also at 9600 bits per second all
// of it fits, with 2 ms for each answer, and every cycle tells and reads everything.
func TestNumbersOfTheLine(t *testing.T) {
	const n = 300
	for _, baud := range []int{9600, 19200} {
		synctest.Test(t, func(t *testing.T) {
			clk := clock.New(1)
			potted := simbench.Config{Seed: 1, Baud: baud}
			for _, name := range []string{"left", "middle", "right"} {
				potted.Pots = append(potted.Pots, simbench.Pot{Name: name, VolumeML: 300, HeaterW: 1000})
			}
			bench, err := simbench.New(potted, clk)
			require.NoError(t, err)
			cfg := devices.Config{
				Lines: []devices.LineConfig{{Name: "line", Baud: baud}}, Channels: bench.Channels(), Pots: []string{"left", "middle", "right"},
			}
			for _, d := range bench.Devices() {
				cfg.Devices = append(cfg.Devices, devices.DeviceConfig{Name: d.Name, Line: "line", Unit: d.Unit, Timeout: timeout})
			}
			ours, theirs := pipe.New()
			served := make(chan error, 1)
			go func() { served <- bench.Serve(context.Background(), ours) }()
			m := &meter{Port: theirs, asked: map[uint8]int{}, bytes: map[uint8]int{}}
			b, err := devices.Open(cfg, func(devices.LineConfig) (modbus.Port, error) { return m, nil }, clk)
			require.NoError(t, err)
			out := control.Outputs{Duty: []float64{0.3, 0.3, 0.3}, Contactor: true, Lamp: true}
			cycles(b, clk, 20, out, nil)
			m.mu.Lock()
			clear(m.asked)
			clear(m.bytes)
			m.mu.Unlock()
			oldest := time.Duration(0)
			cycles(b, clk, n, out, func(in control.Input) {
				oldest = max(oldest, in.Contacts.Link.Age, in.Contacts.EStop.Age, in.Pots[0].Melt.Age)
			})
			// Each exchange has two silences of 3.5 characters, and 2 ms in the device.
			character := 11 * time.Second / time.Duration(baud)
			busy := func(function uint8) time.Duration {
				return (time.Duration(m.bytes[function])*character + time.Duration(m.asked[function])*(7*character+2*time.Millisecond)) / n
			}
			var all time.Duration
			m.mu.Lock()
			for f := range m.asked {
				all += busy(f)
			}
			t.Logf("%d baud: busy for %.0f ms of a cycle's %d, %.0f ms of it with reading back; the oldest of link, stop and melt %.2f s",
				baud, all.Seconds()*1000, period.Milliseconds(), busy(modbus.ReadCoils).Seconds()*1000, oldest.Seconds())
			assert.Less(t, all, period)
			assert.InDelta(t, n, m.asked[modbus.ReadCoils], 3)
			assert.InDelta(t, n, m.asked[modbus.WriteRegisters], 3)
			assert.InDelta(t, n, m.asked[modbus.ReadInputs], 3)
			m.mu.Unlock()
			assert.Less(t, oldest, 2*period+period/2)
			b.Close(context.Background())
			assert.ErrorIs(t, <-served, pipe.ErrHungUp)
		})
	}
}

// threeDevices is a bench of three devices: six temperatures, three heaters with contactor
// and lamp, four inputs.
func threeDevices(baud int, parity string) devices.Config {
	cfg := devices.Config{Lines: []devices.LineConfig{{Name: "line", Baud: baud, Parity: parity, StopBits: 1}}, Pots: []string{"left", "middle", "right"}}
	for i, name := range []string{"probes", "outputs", "inputs"} {
		cfg.Devices = append(cfg.Devices, devices.DeviceConfig{Name: name, Line: "line", Unit: uint8(1 + i), Timeout: timeout})
	}
	for i, pot := range cfg.Pots {
		cfg.Channels = append(cfg.Channels,
			number(registers.Melt, pot, "probes", modbus.ReadInput, uint16(i), 0.1, registers.Celsius),
			number(registers.Plate, pot, "probes", modbus.ReadInput, uint16(3+i), 0.1, registers.Celsius),
			number(registers.Heater, pot, "outputs", modbus.WriteRegisters, uint16(i), 0.001, registers.Fraction))
	}
	cfg.Channels = append(cfg.Channels, bit(registers.Contactor, "outputs", modbus.WriteCoil, 0), bit(registers.Lamp, "outputs", modbus.WriteCoil, 1))
	for i, role := range []registers.Role{registers.EStop, registers.CutOut, registers.Fan, registers.Enable} {
		cfg.Channels = append(cfg.Channels, bit(role, "inputs", modbus.ReadInputs, uint16(i)))
	}
	return cfg
}

// onWire makes the rig's line as slow as its speed says, with devices that know the end of
// a request by the standard's silence and need ownTime.
func onWire(g *rig, cfg devices.Config, ownTime time.Duration) {
	timing := modbus.TimingOf(cfg.Lines[0].Baud, cfg.Lines[0].CharacterBits())
	g.takes = func(bytes int) time.Duration { return timing.Of(bytes) + timing.Silence + ownTime }
}

// turns are the turn-rounds that a bus has measured.
func turns(b *devices.Bus) budget.Turns {
	all := budget.Turns{}
	for _, d := range b.Stats().Devices {
		if d.Times.Of > 0 {
			all[d.Name] = d.Times.Turn
		}
	}
	return all
}

// TestNumbersOfTheCycle prints, for three devices on one line while three pots are heated,
// the time of a cycle by the formula beside the one that the line took when it was asked
// again as soon as it had answered, and whether the bench's five cycles a second are kept.
func TestNumbersOfTheCycle(t *testing.T) {
	for _, c := range []struct {
		baud    int
		parity  string
		ownTime time.Duration
		fits    bool
	}{
		{9600, "even", 2 * time.Millisecond, true}, {9600, "none", 5 * time.Millisecond, true}, {9600, "even", 15 * time.Millisecond, false},
		{19200, "even", 5 * time.Millisecond, true}, {115200, "even", 5 * time.Millisecond, true},
	} {
		cfg := threeDevices(c.baud, c.parity)
		hot := control.Outputs{Duty: []float64{0.3, 0.3, 0.3}, Contactor: true, Lamp: true}
		bench(t, cfg, func(g *rig) { onWire(g, cfg, c.ownTime) }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			const n = 200
			cycles(b, clk, 10, hot, nil)
			begun := clk.Now()
			for range n {
				b.Apply(hot)
				assert.True(t, b.Poll(context.Background(), time.Second).Whole)
			}
			measured := (clk.Now() - begun) / n
			atOnce, err := budget.Of(cfg, measured, turns(b))
			require.NoError(t, err)
			kept, err := budget.Of(cfg, period, turns(b))
			require.NoError(t, err)
			l := kept[0]
			assert.Equal(t, c.fits, l.Fits())
			assert.InEpsilon(t, atOnce[0].Mean, measured, 0.03)

			begun = clk.Now()
			oldest := time.Duration(0)
			cycles(b, clk, n, hot, func(in control.Input) {
				oldest = max(oldest, in.Contacts.Link.Age, in.Contacts.EStop.Age, in.Pots[0].Melt.Age)
			})
			reads := 0
			g.do(func() {
				for _, a := range g.log {
					if a.Unit == 3 && a.at >= begun {
						reads++
					}
				}
			})
			rate := float64(reads) / (clk.Now() - begun).Seconds()
			t.Logf("%6d baud, %s parity, devices of %2d ms: asked at once %.1f ms a cycle by the formula, %.1f measured (%.1f a second); at 5 a second %.1f ms in the mean, %.1f the fullest, and every device read %.2f times a second, outputs going first; the oldest reading %.2f s",
				c.baud, c.parity, c.ownTime.Milliseconds(), ms(atOnce[0].Mean), ms(measured), 1/measured.Seconds(), ms(l.Mean), ms(l.Cycle), rate, oldest.Seconds())
			if c.fits {
				assert.InDelta(t, 5, rate, 0.05)
			}
			assert.Less(t, oldest, time.Second)
		})
	}
}

func ms(d time.Duration) float64 { return d.Seconds() * 1000 }

// TestNumbersOfADeadDevice prints how often, and how late at most, the readings of the
// other devices come at 9600 bits per second, before one of the three has died and after.
func TestNumbersOfADeadDevice(t *testing.T) {
	cfg := threeDevices(9600, "even")
	hot := control.Outputs{Duty: []float64{0.3, 0.3, 0.3}, Contactor: true}
	for dead, name := range map[uint8]string{0: "none", 1: "probes", 3: "inputs"} {
		bench(t, cfg, func(g *rig) { onWire(g, cfg, 2*time.Millisecond); g.silent[dead] = true }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			const n = 300
			cycles(b, clk, 25, hot, nil)
			begun, oldest := g.now(), time.Duration(0)
			cycles(b, clk, n, hot, func(in control.Input) {
				oldest = max(oldest, in.Contacts.Link.Age)
				if dead != 1 {
					oldest = max(oldest, in.Pots[0].Melt.Age)
				}
				if dead != 3 {
					oldest = max(oldest, in.Contacts.EStop.Age)
				}
			})
			asked := map[uint8]int{}
			g.do(func() {
				for _, a := range g.log {
					if a.at >= begun && !a.Writes() {
						asked[a.Unit]++
					}
				}
			})
			spent := (g.now() - begun).Seconds()
			t.Logf("9600 baud, dead: %s: read a second: probes %.2f, outputs %.2f, inputs %.2f; the oldest that lives %.2f s",
				name, float64(asked[1])/spent, float64(asked[2])/spent, float64(asked[3])/spent, oldest.Seconds())
			for unit := uint8(1); unit <= 3; unit++ {
				if unit != dead {
					assert.InDelta(t, n, asked[unit], n/50)
				}
			}
			assert.Less(t, oldest, time.Second)
		})
	}
}
