package devices_test

import (
	"context"
	"math"
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
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
)

var warm = control.Outputs{Duty: []float64{0.25, 1}, Contactor: true}

func TestReadingsAndOutputs(t *testing.T) {
	bench(t, benchConfig(), func(g *rig) {
		g.set(probes, 0, 1751, 2003, 0xFFFF, 1)
		g.set(heaters, 0)
		g.bits[heaters][8] = true
	}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		in := cycles(b, clk, 5, warm, nil)
		require.Len(t, in.Pots, 2)
		assert.InDelta(t, 175.1, in.Pots[0].Melt.C, 1e-9)
		assert.InDelta(t, 200.3, in.Pots[0].Plate.C, 1e-9)
		assert.InDelta(t, -0.1, in.Pots[1].Melt.C, 1e-9)
		assert.True(t, in.Pots[1].Plate.Usable(100*time.Millisecond))
		assert.Greater(t, in.Pots[1].Plate.Age, time.Duration(0))
		assert.True(t, in.Contacts.EStop.Closed && in.Contacts.EStop.Known(100*time.Millisecond))
		assert.False(t, in.Pots[0].Injector.Wired())
		assert.False(t, in.Room.Wired() || in.Mould.Wired() || in.Contacts.Fan.Wired())
		first, second, contactor := g.duties()
		assert.Equal(t, []uint16{250, 1000}, []uint16{first, second})
		assert.True(t, contactor)

		stats := b.Stats()
		require.Len(t, stats.Devices, 2)
		assert.Equal(t, "outputs", stats.Devices[1].Name)
		assert.Equal(t, uint64(5), stats.Devices[0].Exchanges[modbus.OK])
		assert.True(t, stats.Lines[0].Open)
		assert.Equal(t, uint64(1), stats.Lines[0].Opened)
		assert.False(t, stats.Lines[0].Zeros)
	})
}

func TestNothingYetIsMissing(t *testing.T) {
	bench(t, benchConfig(), func(g *rig) { g.absent = errAbsent }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		in := cycles(b, clk, 10, warm, nil)
		assert.Equal(t, reading.Missing, in.Pots[0].Melt.Fault)
		assert.Equal(t, reading.Missing, in.Contacts.EStop.Fault)
		assert.False(t, b.Stats().Lines[0].Open)
		assert.Equal(t, errAbsent.Error(), b.Stats().Lines[0].LastError)
		g.do(func() { g.absent = nil })
		in = cycles(b, clk, 15, warm, nil)
		assert.Equal(t, reading.None, in.Pots[0].Melt.Fault, "the port is opened as soon as that works")
		assert.Equal(t, errAbsent.Error(), b.Stats().Lines[0].LastError)
	})
}

func TestSilenceAgesAndRefusalSpeaks(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 5, warm, nil)
		g.do(func() { g.silent[probes] = true })
		in := cycles(b, clk, 10, warm, nil)
		assert.Equal(t, reading.None, in.Pots[0].Melt.Fault)
		assert.Greater(t, in.Pots[0].Melt.Age, 1700*time.Millisecond)
		assert.Less(t, in.Contacts.EStop.Age, period)

		g.do(func() { g.silent[probes], g.refuses[probes] = false, true })
		in = cycles(b, clk, 15, warm, nil)
		assert.Equal(t, reading.Refused, in.Pots[0].Melt.Fault)
		assert.Less(t, in.Pots[0].Melt.Age, period)
		assert.Positive(t, b.Stats().Devices[0].Exchanges[modbus.TimedOut])
		assert.Positive(t, b.Stats().Devices[0].Exchanges[modbus.Refused])
	})
}

func TestStatusAndColdJunction(t *testing.T) {
	cfg := benchConfig()
	cfg.Channels[0].Status = &registers.Status{Function: modbus.ReadInput, Address: 10, Open: 1}
	melt := &cfg.Channels[2]
	melt.Unit, melt.Scale, melt.Thermocouple = registers.Millivolt, 0.001, "K"
	cfg.Channels = append(cfg.Channels, number(registers.ColdJunction, "", "probes", modbus.ReadInput, 20, 0.1, registers.Celsius))
	bench(t, cfg, func(g *rig) {
		g.set(probes, 0, 1751, 2003, 7139, 1)
		g.set(probes, 20, 250)
	}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		in := cycles(b, clk, 3, warm, nil)
		// ITS-90, type K (NIST Monograph 175): 25 °C gives 1.000 mV and 200 °C
		// 8.138 mV, so 7.139 mV over a reference at 25 °C is 200 °C.
		assert.InDelta(t, 200, in.Pots[1].Melt.C, 0.05)
		assert.InDelta(t, 175.1, in.Pots[0].Melt.C, 1e-9)
		g.set(probes, 10, 1)
		g.set(probes, 20, 2000)
		in = cycles(b, clk, 2, warm, nil)
		assert.Equal(t, reading.Open, in.Pots[0].Melt.Fault)
		assert.Equal(t, reading.ColdJunction, in.Pots[1].Melt.Fault)
		assert.Equal(t, reading.None, in.Pots[0].Plate.Fault)
	})
}

// Contacts that are bits of a register are read with it, each its own.
func TestContactsInARegister(t *testing.T) {
	cfg := benchConfig()
	for role, mask := range map[registers.Role]uint16{registers.CutOut: 0x8000, registers.Enable: 0x0002} {
		c := bit(role, "outputs", modbus.ReadHolding, 30)
		c.Mask = mask
		cfg.Channels = append(cfg.Channels, c)
	}
	bench(t, cfg, func(g *rig) { g.set(heaters, 30, 0x8001) }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		in := cycles(b, clk, 3, warm, nil)
		assert.Equal(t, reading.None, in.Contacts.CutOut.Fault)
		assert.Equal(t, reading.None, in.Contacts.Enable.Fault)
		assert.True(t, in.Contacts.CutOut.Closed)
		assert.False(t, in.Contacts.Enable.Closed)
		g.set(heaters, 30, 0x0002)
		in = cycles(b, clk, 2, warm, nil)
		assert.False(t, in.Contacts.CutOut.Closed)
		assert.True(t, in.Contacts.Enable.Closed)
	})
}

// A dead device on the same line: the others are read and written as before.
func TestOneDeadDeviceDoesNotSlowTheRest(t *testing.T) {
	cfg := benchConfig()
	for _, name := range []string{"gone", "lost", "missed"} {
		cfg.Devices = append(cfg.Devices, devices.DeviceConfig{Name: name, Line: "line", Unit: uint8(10 + len(cfg.Devices)), Timeout: timeout})
	}
	cfg.Channels = append(cfg.Channels,
		number(registers.Room, "", "gone", modbus.ReadInput, 0, 1, registers.Celsius),
		number(registers.Mould, "", "lost", modbus.ReadInput, 0, 1, registers.Celsius),
		bit(registers.Fan, "missed", modbus.ReadInputs, 0))
	bench(t, cfg, func(g *rig) {
		for unit := range uint8(5) {
			g.silent[10+unit] = true
		}
	}, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 25, warm, nil) // until it is known which are dead
		begun := g.now()
		const n = 500
		fresh, oldest := 0, time.Duration(0)
		in := cycles(b, clk, n, warm, func(in control.Input) {
			age := max(in.Pots[0].Melt.Age, in.Pots[1].Plate.Age, in.Contacts.EStop.Age)
			oldest = max(oldest, age)
			if age < period {
				fresh++
			}
		})
		writes := len(g.writes(begun))
		t.Logf("3 of 5 devices dead: of %d cycles %d had every live reading fresh, the oldest was %v; %d output writes", n, fresh, oldest, writes)
		assert.GreaterOrEqual(t, fresh, n*99/100)
		assert.Less(t, oldest, 2*period)
		assert.GreaterOrEqual(t, writes, n)
		assert.Equal(t, reading.Missing, in.Room.Fault)
		g.do(func() { clear(g.silent) })
		in = cycles(b, clk, 25, warm, nil)
		assert.Less(t, max(in.Room.Age, in.Mould.Age, in.Contacts.Fan.Age), period, "they come back by themselves")
	})
}

func TestOutputsExpireIntoZeros(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 5, warm, nil)
		b.Apply(warm)
		last := g.now()
		time.Sleep(900 * time.Millisecond)
		first, _, contactor := g.duties()
		assert.Equal(t, uint16(250), first, "they last for a second")
		assert.True(t, contactor)
		time.Sleep(200 * time.Millisecond)
		first, second, contactor := g.duties()
		assert.Equal(t, []uint16{0, 0}, []uint16{first, second})
		assert.False(t, contactor)
		assert.True(t, b.Stats().Lines[0].Zeros)
		for _, w := range g.writes(last + devices.OutputsLast) {
			assert.Equal(t, make([]byte, 4), w.Data)
			t.Logf("zeros at %v after the last outputs", w.at-last)
			break
		}
		time.Sleep(10 * time.Second)
		assert.GreaterOrEqual(t, len(g.writes(last+2*time.Second)), 15, "and are repeated")

		b.Apply(warm)
		time.Sleep(50 * time.Millisecond)
		first, _, _ = g.duties()
		assert.Equal(t, uint16(250), first)
	})
}

// TestAStaleDecisionHeatsNothing: a program that was halted between reading and
// writing hands over what it decided by readings of before.
func TestAStaleDecisionHeatsNothing(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 5, warm, nil)
		decided := clk.Now()
		time.Sleep(3 * time.Second)
		first, _, _ := g.duties()
		require.Zero(t, first)
		b.ApplyAt(warm, decided)
		time.Sleep(500 * time.Millisecond)
		first, _, contactor := g.duties()
		assert.Zero(t, first)
		assert.False(t, contactor)
	})
}

func TestHeatersGoOutBeforeAnythingElse(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 3, warm, nil)
		g.do(func() { g.log = nil })
		b.Apply(warm)
		b.Poll(context.Background(), patient)
		var order []uint8
		g.do(func() {
			for _, a := range g.log {
				order = append(order, a.Function)
			}
		})
		assert.Equal(t, []uint8{modbus.ReadCoils, modbus.WriteRegisters, modbus.WriteCoil, modbus.WriteCoil, modbus.ReadInput, modbus.ReadInputs}, order)
	})
}

func TestWhatIsNoDutyIsWrittenAsZero(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), -0.1, 1.1} {
		bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
			cycles(b, clk, 3, warm, nil)
			b.Apply(control.Outputs{Duty: []float64{0.5, bad}, Contactor: true})
			time.Sleep(50 * time.Millisecond)
			first, second, _ := g.duties()
			assert.Equal(t, []uint16{500, 0}, []uint16{first, second})
			b.Apply(control.Outputs{Contactor: true})
			time.Sleep(50 * time.Millisecond)
			first, second, _ = g.duties()
			assert.Equal(t, []uint16{0, 0}, []uint16{first, second}, "a duty that is missing")
		})
	}
}

// Whatever a line is stuck in, Poll takes its wait and Apply no time.
func TestNothingHoldsUpTheCycle(t *testing.T) {
	for name, prepare := range map[string]func(*rig){
		"a port that does not open":      func(g *rig) { g.absent = errAbsent },
		"an opening that does not end":   func(g *rig) { g.opening = make(chan struct{}) },
		"devices that do not answer":     func(g *rig) { g.silent[probes], g.silent[heaters] = true, true },
		"a far end that does not read":   func(g *rig) { g.deaf = true },
		"a line that hangs up each time": nil,
	} {
		t.Run(name, func(t *testing.T) {
			bench(t, benchConfig(), prepare, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
				hangUp := func() {
					if prepare == nil && b.Stats().Lines[0].Open {
						g.hangUp()
					}
				}
				for range 200 {
					hangUp()
					begun := time.Now()
					b.Poll(context.Background(), patient)
					assert.LessOrEqual(t, time.Since(begun), patient)
					begun = time.Now()
					b.Apply(warm)
					assert.Zero(t, time.Since(begun))
					time.Sleep(period)
				}
				hangUp() // now and then it has just come back
				begun := time.Now()
				assert.False(t, b.Close(context.Background()))
				assert.LessOrEqual(t, time.Since(begun), 1500*time.Millisecond)
				if g.opening != nil {
					close(g.opening)
				}
			})
		})
	}
}

func TestAReopenedPortBeginsWithZeros(t *testing.T) {
	bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 5, warm, nil)
		lost := g.now()
		g.hangUp()
		b.Apply(warm)
		time.Sleep(3 * time.Second)
		require.NotEmpty(t, g.writes(lost))
		for _, w := range g.writes(lost) {
			assert.Equal(t, make([]byte, 4), w.Data)
		}
		first := g.writes(lost)[0]
		t.Logf("zeros written %v after the hang-up", first.at-lost)
		assert.Less(t, first.at-lost, time.Second)
		line := b.Stats().Lines[0]
		assert.True(t, line.Open)
		assert.Equal(t, uint64(2), line.Opened)
		assert.Contains(t, line.LastError, pipe.ErrHungUp.Error())
		b.Apply(warm)
		time.Sleep(50 * time.Millisecond)
		duty, _, _ := g.duties()
		assert.Zero(t, duty, "not by itself")
		cycles(b, clk, 2, control.Outputs{Duty: []float64{0, 0}}, nil)
		cycles(b, clk, 2, warm, nil)
		duty, _, _ = g.duties()
		assert.Equal(t, uint16(250), duty, "once outputs without heat have come")
	})
}

// Outputs from before an opening are never written after it, however long it took.
func TestOutputsFromBeforeAnOpeningAreForgotten(t *testing.T) {
	bench(t, benchConfig(), func(g *rig) { g.opening = make(chan struct{}) }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		b.Apply(warm)
		time.Sleep(100 * time.Millisecond)
		close(g.opening)
		time.Sleep(100 * time.Millisecond)
		require.NotEmpty(t, g.writes(0))
		for _, w := range g.writes(0) {
			assert.Equal(t, make([]byte, 4), w.Data)
		}
	})
}

func TestAPortThatBlocksIsReplaced(t *testing.T) {
	bench(t, benchConfig(), func(g *rig) { g.deaf = true }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		// A request is 8 to 13 bytes long: some hundreds fill the far end's buffer.
		cycles(b, clk, 4000, warm, nil)
		assert.Contains(t, b.Stats().Lines[0].LastError, "a write blocked")
		g.do(func() { g.deaf = false })
		g.hangUp()
		in := cycles(b, clk, 25, warm, nil)
		assert.Less(t, in.Pots[0].Melt.Age, period)
		assert.Equal(t, reading.None, in.Pots[0].Melt.Fault)
	})
}

func TestRepeatedLossIsRetriedAtABoundedRate(t *testing.T) {
	bench(t, benchConfig(), func(g *rig) { g.deaf = true }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		for range 1000 {
			if b.Stats().Lines[0].Open {
				g.hangUp()
			}
			time.Sleep(100 * time.Millisecond)
		}
		opened := b.Stats().Lines[0].Opened
		assert.GreaterOrEqual(t, opened, uint64(45))
		assert.LessOrEqual(t, opened, uint64(60), "every 2 s in the end")
	})
}

func TestCloseConfirmsZeros(t *testing.T) {
	for name, x := range map[string]struct {
		prepare   func(*rig)
		confirmed bool
	}{
		"all answer":           {func(*rig) {}, true},
		"the probes are dead":  {func(g *rig) { g.silent[probes] = true }, true},
		"the outputs are dead": {func(g *rig) { g.silent[heaters] = true }, false},
		"the outputs refuse":   {func(g *rig) { g.refuses[heaters] = true }, false},
		"the line is gone":     {func(g *rig) { g.absent = errAbsent }, false},
	} {
		t.Run(name, func(t *testing.T) {
			bench(t, benchConfig(), nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
				cycles(b, clk, 5, warm, nil)
				g.do(func() { x.prepare(g) })
				if g.absent != nil {
					g.hangUp()
				}
				cycles(b, clk, 5, warm, nil)
				begun := time.Now()
				assert.Equal(t, x.confirmed, b.Close(context.Background()))
				assert.LessOrEqual(t, time.Since(begun), 1500*time.Millisecond)
				if x.confirmed {
					first, second, contactor := g.duties()
					assert.Equal(t, []uint16{0, 0}, []uint16{first, second})
					assert.False(t, contactor)
				}
				b.Apply(warm)
				b.Poll(context.Background(), patient)
				assert.Equal(t, x.confirmed, b.Close(context.Background()), "a second time")
			})
		})
	}
}

func TestCloseEndsWithItsContext(t *testing.T) {
	bench(t, benchConfig(), func(g *rig) { g.silent[heaters] = true }, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 3, warm, nil)
		ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
		defer cancel()
		begun := time.Now()
		assert.False(t, b.Close(ctx))
		assert.Equal(t, 50*time.Millisecond, time.Since(begun))
	})
}

// Heaters that can only be switched are on at full power, and off at any less.
func TestSwitchedHeaters(t *testing.T) {
	cfg := benchConfig()
	for i, address := range map[int]uint16{5: 4, 6: 5} {
		c := bit(registers.Heater, "outputs", modbus.WriteCoils, address)
		c.Pot = cfg.Channels[i].Pot
		cfg.Channels[i] = c
	}
	bench(t, cfg, nil, func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock) {
		cycles(b, clk, 1, control.Outputs{}, nil)
		on := [2]int{}
		cycles(b, clk, 100, warm, func(control.Input) {
			time.Sleep(50 * time.Millisecond)
			g.do(func() {
				for i := range on {
					if g.bits[heaters][4+uint16(i)] {
						on[i]++
					}
				}
			})
		})
		assert.Equal(t, [2]int{0, 100}, on)
	})
}

// Everything scales with the clock, so that a fast bench has the same manners.
func TestFasterThanTheWall(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const speed = 20
		g := newRig()
		clk := clock.New(speed)
		b, err := devices.Open(benchConfig(), g.open, clk)
		require.NoError(t, err)
		in := cycles(b, clk, 10, warm, nil)
		assert.Less(t, in.Pots[0].Melt.Age, period)
		begun := time.Now()
		g.do(func() { g.silent[probes] = true })
		b.Poll(context.Background(), patient)
		assert.InDelta(t, (patient / speed).Seconds(), time.Since(begun).Seconds(), 1e-3)
		time.Sleep(1500 * time.Millisecond / speed)
		first, _, _ := g.duties()
		assert.Zero(t, first, "outputs expire in bench time")
		b.Close(context.Background())
	})
}

func TestConfigurationsThatCanNotWork(t *testing.T) {
	for name, x := range map[string]struct {
		spoil func(*devices.Config)
		want  string
	}{
		"no speed":         {func(c *devices.Config) { c.Lines[0].Baud = 0 }, "0 bits per second"},
		"no such line":     {func(c *devices.Config) { c.Devices[0].Line = "other" }, `there is no line "other"`},
		"unit 0":           {func(c *devices.Config) { c.Devices[0].Unit = 0 }, "allowed are 1 to 247"},
		"unit 248":         {func(c *devices.Config) { c.Devices[0].Unit = 248 }, "allowed are 1 to 247"},
		"no time":          {func(c *devices.Config) { c.Devices[0].Timeout = 0 }, "time-out 0s"},
		"too much time":    {func(c *devices.Config) { c.Devices[0].Timeout = 2 * time.Second }, "time-out 2s"},
		"no such device":   {func(c *devices.Config) { c.Channels[0].Device = "other" }, `there is no device "other"`},
		"no such pot":      {func(c *devices.Config) { c.Channels[0].Pot = "middle" }, `there is no pot "middle"`},
		"a bad channel":    {func(c *devices.Config) { c.Channels[0].Scale = 0 }, "scale"},
		"two in one place": {func(c *devices.Config) { c.Channels[6].Address = 0 }, "both write address 0"},
	} {
		t.Run(name, func(t *testing.T) {
			cfg := benchConfig()
			x.spoil(&cfg)
			_, err := devices.Open(cfg, newRig().open, clock.New(1))
			assert.ErrorContains(t, err, x.want)
		})
	}
}
