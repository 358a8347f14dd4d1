package devices_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// Outputs that waited behind a slow device for longer than they count are not
// written any more.
func TestOutputsThatWaitedTooLongAreNotWritten(t *testing.T) {
	cfg := benchConfig()
	cfg.Devices[0].Timeout = devices.LongestTimeout
	bench(t, cfg, func(g *rig) { g.silent[probes] = true }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		time.Sleep(300 * time.Millisecond)
		b.Poll(context.Background(), time.Millisecond)
		b.Apply(warm)
		time.Sleep(1400 * time.Millisecond)
		require.NotEmpty(t, g.writes(time.Second))
		for _, w := range g.writes(0) {
			assert.Equal(t, make([]byte, 4), w.Data)
		}
	})
}

// A dead device is tried with each of its writes, so that one it never answers
// can not keep the others from it.
func TestADeadDeviceIsTriedWithEveryWrite(t *testing.T) {
	bench(t, benchConfig(), func(g *rig) { g.silent[heaters] = true }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 25, control.Outputs{}, nil)
		g.do(func() { g.log = nil })
		cycles(b, clk, 200, control.Outputs{}, nil)
		tried := map[[2]uint16]int{}
		g.do(func() {
			for _, a := range g.log {
				if a.Unit == heaters && a.Writes() {
					tried[[2]uint16{uint16(a.Function), a.Address}]++
				}
			}
		})
		assert.Len(t, tried, 3, "the duties, the contactor and the lamp: %v", tried)
	})
}

// A value is as old as the first request it rests on.
func TestAValueIsAsOldAsItsOldestPart(t *testing.T) {
	cfg := benchConfig()
	cfg.Channels[0].Address = 50
	cfg.Channels[0].Status = &registers.Status{Function: modbus.ReadInput, Address: 40, Open: 1}
	bench(t, cfg, nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 3, warm, nil)
		g.do(func() { g.log = nil })
		in := cycles(b, clk, 1, warm, nil)
		var status, value time.Duration
		g.do(func() {
			for _, a := range g.log {
				switch a.Address {
				case 40:
					status = a.at
				case 50:
					value = a.at
				}
			}
		})
		require.Less(t, status, value)
		assert.Greater(t, in.Pots[0].Melt.Age-in.Contacts.EStop.Age, value-status)
	})
}

// stuck is a port whose close does not come back until it is let go.
type stuck struct {
	modbus.Port
	letGo <-chan struct{}
}

func (s stuck) Close() error {
	<-s.letGo
	return s.Port.Close()
}

// Ports whose close does not come back are not replaced without end.
func TestPortsThatDoNotCloseAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newRig()
		g.deaf = true
		letGo := make(chan struct{})
		open := func(lc devices.LineConfig) (modbus.Port, error) {
			port, err := g.open(lc)
			return stuck{port, letGo}, err
		}
		b, err := devices.Open(benchConfig(), open, clock.New(1))
		require.NoError(t, err)
		hangUps := func() {
			for range 600 {
				if b.Stats().Lines[0].Open {
					g.hangUp()
				}
				time.Sleep(100 * time.Millisecond)
			}
		}
		hangUps()
		assert.Equal(t, uint64(4), b.Stats().Lines[0].Opened)
		assert.Contains(t, b.Stats().Lines[0].LastError, "have not come back")
		close(letGo)
		hangUps()
		assert.Greater(t, b.Stats().Lines[0].Opened, uint64(10))
		b.Close(context.Background())
		for _, end := range g.ends {
			end.Close()
		}
	})
}

// TestALineFallsSilentForADeviceThatDoesNotConfirmOff: one whose time-out is fed by
// any traffic must not be talked to for as long as it refuses to be off. Afterwards
// the others are read again.
func TestALineFallsSilentForADeviceThatDoesNotConfirmOff(t *testing.T) {
	for name, fail := range map[string]func(*rig){
		"refuses": func(g *rig) { g.refuses[heaters] = true }, "does not answer": func(g *rig) { g.silent[heaters] = true },
	} {
		bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			cycles(b, clk, 10, warm, nil)
			g.do(func() { fail(g); g.log = nil })
			cycles(b, clk, 2, warm, nil)
			off := g.now()
			cycles(b, clk, 30, control.Outputs{Duty: []float64{0, 0}}, nil)
			var before, gap time.Duration
			last := off
			g.do(func() {
				for _, a := range g.log {
					if quiet := a.at - last; a.at > off && quiet > gap {
						before, gap = last-off, quiet
					}
					last = max(last, a.at)
				}
			})
			t.Logf("%s: silent for %v, from %v after off was wanted", name, gap, before)
			assert.GreaterOrEqual(t, gap, 1900*time.Millisecond)
			assert.Less(t, before, 700*time.Millisecond)
			assert.Less(t, clk.Now()-off-last, time.Second, "and goes on after it")
		})
	}
}

// TestAConfirmedOffIsFollowedByNoSilence.
func TestAConfirmedOffIsFollowedByNoSilence(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 10, warm, nil)
		cycles(b, clk, 30, control.Outputs{Duty: []float64{0, 0}}, func(in control.Input) {
			assert.Less(t, in.Pots[0].Melt.Age, period)
		})
		assert.False(t, b.Stats().Lines[0].Silent)
	})
}

// TestSignalsAreToldSeldom: lamp and buzzer are told at once what is new, and twice a
// second what they have; the line has other things to say.
func TestSignalsAreToldSeldom(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		lit := warm
		lit.Lamp = true
		cycles(b, clk, 10, warm, nil)
		g.do(func() { g.log = nil })
		cycles(b, clk, 50, warm, nil)
		told := 0
		g.do(func() {
			for _, a := range g.log {
				if a.Function == modbus.WriteCoil && a.Address == 1 {
					told++
				}
			}
		})
		assert.InDelta(t, 17, told, 1, "every third cycle in 10 s")
		for range 10 {
			for _, out := range []control.Outputs{lit, warm} {
				b.Apply(out)
				time.Sleep(period / 2)
				g.do(func() { assert.Equal(t, out.Lamp, g.bits[heaters][1]) })
			}
		}
	})
}

// TestReadOnlyWritesNothing: not a zero, not at the end either; what would be written is
// read back, so that every device is asked.
func TestReadOnlyWritesNothing(t *testing.T) {
	cfg := benchConfig()
	cfg.ReadOnly = true
	g := newRig()
	g.set(probes, 0, 1751)
	bench(t, cfg, func(own *rig) { own.words = g.words; own.bits = g.bits; g = own }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		in := cycles(b, clk, 20, warm, nil)
		assert.InDelta(t, 175.1, in.Pots[0].Melt.C, 1e-9)
		for _, d := range b.Stats().Devices {
			assert.NotZero(t, d.Exchanges[modbus.OK], d.Name)
			assert.Equal(t, d.Exchanges[modbus.OK], d.Times.N)
			assert.NotZero(t, d.Times.Median)
			assert.False(t, d.Dead)
		}
		b.Close(context.Background())
	})
	g.do(func() {
		for _, a := range g.log {
			assert.False(t, a.Writes(), "%+v", a)
		}
	})
}

// TestStatsSayWhichDeviceIsDead, and of what it died.
func TestStatsSayWhichDeviceIsDead(t *testing.T) {
	bench(t, benchConfig(), func(g *rig) { g.silent[probes] = true }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 25, warm, nil)
		s := b.Stats()
		assert.Equal(t, []bool{true, false}, []bool{s.Devices[0].Dead, s.Devices[1].Dead})
		assert.Greater(t, s.Devices[0].Troubles[modbus.NoAnswer], uint64(2))
		assert.Zero(t, s.Devices[0].Times.N)
		g.do(func() { clear(g.silent) })
		cycles(b, clk, 25, warm, nil)
		assert.False(t, b.Stats().Devices[0].Dead)
	})
}
