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
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
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
