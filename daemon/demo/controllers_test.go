package demo

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon"
	"meltwarden/daemon/history/cycles"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
	"meltwarden/devices/simbench/physics"
)

// steeredW is the power of a heater that a controller switches: all three together are what
// may flow for hours, to the watt.
const steeredW = 640

// steeredBench is the demo's bench file with a controller for every pot.
func steeredBench(t *testing.T) *config.Bench {
	t.Helper()
	whole, err := config.DemoBench(nil)
	require.NoError(t, err)
	text := string(whole.Typed)
	for _, w := range []string{"1000 W", "800 W"} {
		text = strings.ReplaceAll(text, "heater: {power: "+w+", output: smooth}", "heater: {power: 640 W}")
	}
	var lines, devices []string
	for line := range strings.Lines(text) {
		if !strings.Contains(line, "role: heater") {
			lines = append(lines, line)
		}
		if strings.Contains(line, "role: contactor") {
			for i, pot := range []string{"left", "middle", "right"} {
				at := ", pot: " + pot + ", device: " + pot + " controller, address: 0, type: int16, scale: 0.1, unit: C"
				lines = append(lines, "  - {role: setpoint, function: 6, senses: plate, rest: 5 C"+at+"}\n",
					"  - {role: process-value, function: 4, sentinels: [0x7FFF]"+at+"}\n")
				devices = append(devices, "  - {name: "+pot+" controller, line: bench, unit: "+string(rune('4'+i))+"}\n")
			}
		}
	}
	text = strings.Replace(strings.Join(lines, ""), "devices:\n", "devices:\n"+strings.Join(devices, ""), 1)
	b, err := config.ParseBench("bench.yaml", []byte(text), nil)
	require.NoError(t, err)
	require.True(t, b.Pots[2].Controller.Is())
	return b
}

// steered is a quick bench of which every pot has a controller.
func steered(t *testing.T, seed uint64, plate physics.PlateKind) *quick {
	t.Helper()
	q := &quick{settings: virtualSettings(t), clk: clock.Stepped(), listed: map[finding]bool{}, heard: map[guard.Code]int{}, tripped: map[guard.Code]int{}}
	c := simbench.Config{Seed: seed, Maker: true, Controllers: true}
	q.lifts.pots = make([]liftedPot, len(q.settings.Pots))
	for i := range q.settings.Pots {
		p := &q.settings.Pots[i]
		p.HeaterW, p.Output, p.Controller = steeredW, circuit.Hidden, control.Controller{RestC: 5, Every: 10 * time.Second}
		q.lifts.pots[i].last = -time.Hour
		c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, VolumeML: p.VolumeML, HeaterW: p.HeaterW, Plate: plate})
	}
	var err error
	q.bench, err = simbench.New(c, q.clk)
	require.NoError(t, err)
	q.settings.Limits.HeatersProven = q.bench.ProvesTimeout()
	q.step = control.NewBench(q.settings)
	q.bench.ReportTo(q)
	return q
}

// TestNumbersOfControllers prints evenings of three pots whose plates are held by controllers
// as they come out of their boxes: an hour each, from cold.
func TestNumbersOfControllers(t *testing.T) {
	if testing.Short() {
		t.Skip("two evenings take seconds")
	}
	t.Parallel()
	const lasts = time.Hour
	for seed := uint64(1); seed <= 2; seed++ {
		kind := []physics.PlateKind{physics.Cast, physics.Thin}[seed%2]
		q := steered(t, seed, kind)
		overC, plateC, readyAt, held := math.Inf(-1), 0.0, time.Duration(0), spread{}
		for q.f.Time < lasts {
			q.cycle()
			if readyAt == 0 && q.f.Ready {
				readyAt = q.f.Time
			}
			if q.f.Cycle%5 != 0 {
				continue
			}
			for i, p := range q.bench.Truth().Pots {
				if f := &q.f.Pots[i]; !f.Cured {
					overC = math.Max(overC, p.MeltC-f.TargetC)
				} else if readyAt > 0 && q.f.Time > readyAt+5*time.Minute {
					held.add(p.MeltC - f.SetpointC)
				}
				plateC = math.Max(plateC, p.PlateC)
			}
		}
		var writes []int
		for _, p := range q.bench.Truth().Pots {
			writes = append(writes, p.Writes)
		}
		t.Logf("seed %d: all ready after %.0f min; melt at most %.1f °C over its cure target, plate at most %.0f °C; held for half an hour within %.1f °C (mean %+.1f), probes' own errors and stirs included; set-points written in %.0f min: %v, so 100 000 of them last for %.0f hours; trips %v, listed %v",
			seed, readyAt.Minutes(), overC, plateC, held.most, held.sum/float64(held.n), lasts.Minutes(), writes, 1e5/float64(slices.Max(writes))*lasts.Hours(), q.tripped, q.heard)
		assert.Positive(t, readyAt)
		assert.Empty(t, q.tripped)
		assert.Less(t, overC, 6.0)
		assert.Less(t, plateC, q.settings.Limits.PlateTripC-8)
		assert.Less(t, slices.Max(writes), 150)
		assert.True(t, math.IsNaN(q.f.Pots[0].Duty) && math.IsNaN(q.f.PowerW), "nobody knows what flows")
	}
}

// TestControllersThatReadOtherwise: two sensors of one plate differ, by their class and by
// where they sit. That is no reason to trip, whether the controller says what it reads or not;
// the melts get where they are to get all the same.
func TestControllersThatReadOtherwise(t *testing.T) {
	if testing.Short() {
		t.Skip("four evenings take seconds")
	}
	t.Parallel()
	for _, byC := range []float64{-12, 12} {
		for _, says := range []bool{false, true} {
			q := steered(t, 3, physics.Cast)
			for i := range q.settings.Pots {
				q.bench.MisreadController(i, byC)
			}
			q.spoil = func(in *control.Input) {
				for i := range in.Pots {
					if !says {
						in.Pots[i].Own = reading.Temperature{}
					}
				}
			}
			plateC := 0.0
			took := q.passUntil(t, 45*time.Minute, func() bool {
				if q.f.Cycle%5 == 0 {
					plateC = math.Max(plateC, q.bench.Truth().Pots[1].PlateC)
				}
				return q.f.Ready
			})
			for q.f.Time < took+15*time.Minute {
				q.cycle()
			}
			t.Logf("controllers read %+.0f °C, and say it: %v; all ready after %.0f min, plate at most %.0f °C; trips %v, listed %v", byC, says, took.Minutes(), plateC, q.tripped, q.heard)
			assert.Empty(t, q.tripped)
			for i := range q.f.Pots {
				assert.InDelta(t, q.f.Pots[i].SetpointC, q.f.Pots[i].MeltC, 2, "pot %d", i)
			}
		}
	}
}

// spread is how far something was off.
type spread struct {
	sum, most float64
	n         int
}

func (s *spread) add(off float64) {
	s.sum, s.most = s.sum+off, math.Max(s.most, math.Abs(off))
	s.n++
}

// silentController is the unit of the first pot's.
var silentController = simbench.Place{Unit: simbench.UnitController(0)}

// TestNumbersOfControllerFaults prints how long heaters draw power after a fault, over the
// line, and what is said of it. The controllers keep their set-points through all of it: what
// ends the heat is rest, or the contactor.
func TestNumbersOfControllerFaults(t *testing.T) {
	if testing.Short() {
		t.Skip("a dozen sessions over the line")
	}
	t.Parallel()
	inject := func(f simbench.Fault, at simbench.Place) func(*session) {
		return func(s *session) { require.NoError(t, s.Bench.Inject(f, at)) }
	}
	for _, c := range []struct {
		name   string
		begin  func(*session)
		want   guard.Code
		all    bool // the contactor opens
		within time.Duration
	}{
		{"dead line", inject(simbench.NoReply, simbench.Place{}), guard.HeaterUnheard, true, 2 * time.Second},
		{"one controller silent", inject(simbench.NoReply, silentController), guard.HeaterUnheard, true, 2 * time.Second},
		{"one controller's answers lost", inject(simbench.LostReplies, silentController), guard.HeaterUnheard, true, 2 * time.Second},
		{"one controller refuses", inject(simbench.ExceptionReplies, silentController), guard.HeaterUnheard, true, 2 * time.Second},
		{"contactor's device silent", inject(simbench.NoReply, simbench.Place{Unit: simbench.UnitPower}), guard.HeaterUnheard, true, 2 * time.Second},
		{"contactor's device restarts", inject(simbench.UnitRestarts, simbench.Place{Unit: simbench.UnitPower}), guard.HeaterUnheard, true, 2 * time.Second},
		{"emergency stop", inject(simbench.EStopOpened, simbench.Place{}), guard.EStopOpen, true, time.Second},
		{"melt probe open", inject(simbench.OpenProbe, simbench.Place{Probe: registers.Melt}), guard.MeltUnusable, false, 2 * time.Second},
		{"knob turned up", func(s *session) { s.Bench.TurnController(0, 245) }, guard.SetpointChanged, false, 2 * time.Second},
		{"knob turned up and locked", func(s *session) {
			s.Bench.LockController(0)
			s.Bench.TurnController(0, 245)
		}, guard.HeaterUnheard, true, 2 * time.Second},
		{"own sensor broken", func(s *session) { s.Bench.BreakController(0, true) }, guard.ControllerAstray, true, 2 * time.Second},
		{"relay welded", inject(simbench.RelayWelded, simbench.Place{}), guard.PlateOverTemperature, true, 3 * time.Minute},
		{"knob turned up and relay welded", func(s *session) {
			s.Bench.TurnController(0, 245)
			require.NoError(t, s.Bench.Inject(simbench.RelayWelded, simbench.Place{}))
		}, guard.RiseWhileOff, true, 75 * time.Second},
		{"own sensor off its plate", func(s *session) { s.Bench.UnseatController(0, true) }, guard.ControllerAstray, true, time.Minute},
	} {
		inSession(t, Options{Seed: 1, Bench: steeredBench(t)}, func(s *session) {
			s.passUntil(time.Minute, s.heatEnabled)
			s.pass(2 * time.Minute)
			c.begin(s)
			took, plateC := s.lastDrawn(max(20*time.Second, c.within+5*time.Second))
			truth := s.Bench.Truth()
			t.Logf("%-32s heat gone after %5.2f s; plate at most %.0f °C; contactor closed: %-5v set-points held: %.0f %.0f %.0f", c.name, took.Seconds(), plateC,
				truth.Contactor, truth.Pots[0].SetpointC, truth.Pots[1].SetpointC, truth.Pots[2].SetpointC)
			assert.True(t, slices.ContainsFunc(s.frame().Conditions, func(f guard.Condition) bool { return f.Code == c.want }), "%s: %v", c.name, s.frame().Conditions)
			assert.Equal(t, c.all, !truth.Contactor, c.name)
			assert.LessOrEqual(t, took, c.within, c.name)
			if !c.all {
				assert.InDelta(t, 5, truth.Pots[0].SetpointC, 0, "%s: it rests", c.name)
				assert.Greater(t, truth.Pots[1].SetpointC, 100.0, "%s: the others go on", c.name)
			}
		})
	}
}

// lastDrawn returns how long the first pot's heater went on drawing power at all, in a span,
// and the hottest that its plate was.
func (s *session) lastDrawn(span time.Duration) (took time.Duration, plateC float64) {
	for began := time.Now(); time.Since(began) < span; s.pass(sample) {
		p := s.Bench.Truth().Pots[0]
		if plateC = math.Max(plateC, p.PlateC); p.PowerW > 0 {
			took = time.Since(began)
		}
	}
	return took, plateC
}

// TestControllersAreNotTrusted: where the program decides no more, the contactor opens by the
// line owner's own deadline, and the controllers are told to rest; where it is gone, the
// contactor opens by its device's own time-out, while every controller keeps the set-point
// that it was told last, and would heat.
func TestControllersAreNotTrusted(t *testing.T) {
	for name, gone := range map[string]bool{"nobody decides": false, "the program is killed": true} {
		synctest.Test(t, func(t *testing.T) {
			file, clk := steeredBench(t), clock.New(1)
			settings, err := config.Settings(file, config.DemoRecipe())
			require.NoError(t, err)
			bench, err := newBench(settings, Options{Seed: 1, NoMaker: true}, clk)
			require.NoError(t, err)
			ours, theirs := pipe.New()
			served := make(chan error, 1)
			go func() { served <- bench.Serve(t.Context(), ours) }()
			bus, err := devices.Open(daemon.Wiring(file), func(devices.LineConfig) (modbus.Port, error) { return theirs, nil }, clk)
			require.NoError(t, err)
			told := control.Outputs{Duty: []float64{0, 0, 0}, SetpointC: []float64{200, 210, 220}, Contactor: true}
			for range 50 {
				bus.Poll(t.Context(), 150*time.Millisecond)
				bus.Apply(told)
				time.Sleep(200 * time.Millisecond)
			}
			truth := bench.Truth()
			require.True(t, truth.Contactor)
			for i, c := range told.SetpointC {
				assert.InDelta(t, c, truth.Pots[i].SetpointC, 0)
				assert.Equal(t, 1, truth.Pots[i].Writes, "written on change only, in fifty cycles")
			}
			rests := 5.0
			if gone {
				rests = 200
				require.NoError(t, theirs.Close()) // nothing comes any more, no farewell either
			}
			began := time.Now()
			for bench.Truth().Contactor {
				time.Sleep(sample)
			}
			took := time.Since(began)
			time.Sleep(5 * time.Second)
			truth = bench.Truth()
			t.Logf("%s: contactor open after %.2f s; the first controller holds %.0f °C; its heater draws %.0f W", name, took.Seconds(), truth.Pots[0].SetpointC, truth.Pots[0].PowerW)
			assert.Less(t, took, 2*time.Second)
			assert.InDelta(t, rests, truth.Pots[0].SetpointC, 0)
			assert.Zero(t, truth.Pots[0].PowerW)
			assert.Equal(t, !gone, bus.Close(context.Background()))
			assert.ErrorIs(t, <-served, pipe.ErrHungUp)
		})
	}
}

// TestAnEveningOfControllersReplays bit for bit, from what history keeps of it.
func TestAnEveningOfControllersReplays(t *testing.T) {
	q := steered(t, 5, physics.Cast)
	var kept []cycles.Record
	for q.f.Time < 8*time.Minute {
		if q.f.Time > 6*time.Minute {
			q.bench.TurnController(0, 120)
		}
		q.cycle()
		in := q.in
		in.Elapsed = q.f.Elapsed // that of the next cycle stands there by now
		kept = append(kept, cycles.Keep(time.Time{}, &in, &q.f))
	}
	require.Positive(t, q.tripped[guard.SetpointChanged])
	again, n := control.NewBench(q.settings), 0
	var f control.Frame
	var r cycles.Reader
	require.NoError(t, r.Each(cycles.Encode(kept), func(c *cycles.Record) error {
		again.Step(&c.Input, &f)
		require.Equal(t, c.Kept.Print, cycles.Fingerprint(&f), "cycle %d", c.Kept.Cycle)
		require.InDelta(t, c.Kept.Pots[1].ToldC, f.Outputs.SetpointC[1], 1e-9)
		n++
		return nil
	}))
	assert.Equal(t, len(kept), n)
}

// TestNoSetpointWithoutLeave: whatever comes, a controller is told to rest unless heat is
// enabled and nothing stands against its pot; and never more than its plate may have.
func TestNoSetpointWithoutLeave(t *testing.T) {
	for seed := range uint64(3) {
		random := rand.New(rand.NewPCG(seed, 77))
		q := steered(t, 9, physics.Thin)
		noise := unrest(random)
		q.spoil = func(in *control.Input) {
			noise(in)
			if random.IntN(400) == 0 {
				p := &in.Pots[random.IntN(len(in.Pots))]
				spoilt := []*reading.Temperature{&p.Melt, &p.Plate, &p.Setpoint, &p.Own}[random.IntN(4)]
				spoilt.C, spoilt.Fault = 400*random.Float64()-50, reading.Fault(random.IntN(5))
			}
			if random.IntN(3000) == 0 {
				in.Commands = append(in.Commands, control.Command{Kind: []control.CommandKind{control.AllOff, control.Lift, control.Return, control.ColourAdded}[random.IntN(4)], Pot: random.IntN(3)})
			}
		}
		heated := 0
		for q.f.Time < 12*time.Minute {
			if q.cycle(); q.f.Heat != control.HeatEnabled && random.IntN(500) == 0 {
				q.bench.PressEnable()
			}
			for i, c := range q.f.Outputs.SetpointC {
				p := &q.f.Pots[i]
				if c != 5 {
					heated++
					require.True(t, q.f.Outputs.Contactor && q.f.Heat == control.HeatEnabled)
					require.False(t, p.State == control.Tripped || p.State == control.Lifted, "%v", p.State)
					require.True(t, c > 5 && c <= q.settings.Pots[i].PlateLimitC, "%v", c)
				}
				require.Zero(t, q.f.Outputs.Duty[i])
			}
		}
		assert.Positive(t, heated)
	}
}

// TestOrdinarySessionsOfControllersDoNotTrip is TestOrdinarySessionsDoNotTrip for pots that
// controllers heat: a few, one where tests are short.
func TestOrdinarySessionsOfControllersDoNotTrip(t *testing.T) {
	t.Parallel()
	sessions := max(2, seeds/4)
	if testing.Short() {
		sessions = 1
	}
	heard, trips := map[guard.Code]int{}, 0
	for seed := range uint64(sessions) {
		random := rand.New(rand.NewPCG(seed+1, 4713))
		q := steered(t, seed+1, []physics.PlateKind{physics.Cast, physics.Thin}[seed%2])
		q.spoil = unrest(random)
		q.passEvening(q.ordinary(random, eveningLasts), func() {})
		for c, n := range q.heard {
			heard[c] += n
		}
		for c, n := range q.tripped {
			trips += n
			t.Logf("seed %d: %s latched %d times", seed+1, c, n)
		}
	}
	t.Logf("%d ordinary sessions of pots that controllers heat: %d trips; listed: %v", sessions, trips, heard)
	assert.Zero(t, trips)
}

// TestAFarLowerSetpointDoesNotWait: however seldom a controller is to be written, a plate that
// is to be far cooler is told so at once.
func TestAFarLowerSetpointDoesNotWait(t *testing.T) {
	if testing.Short() {
		t.Skip("an evening takes a second")
	}
	t.Parallel()
	q := steered(t, 1, physics.Cast)
	for i := range q.settings.Pots {
		q.settings.Pots[i].Controller.Every = 2 * time.Minute
	}
	q.step = control.NewBench(q.settings)
	q.passUntil(t, time.Hour, func() bool { return q.f.Ready })
	told := &q.f.Pots[0].Controller
	was := told.Changes
	q.passUntil(t, time.Hour, func() bool { return told.Changes != was })
	q.spoil = func(in *control.Input) {
		in.Commands = append(in.Commands, control.Command{Kind: control.Setpoint, Pot: 0, C: q.f.Pots[0].SetpointC - 10})
		q.spoil = nil
	}
	wasC, was := told.ToldC, told.Changes
	took := q.passUntil(t, time.Hour, func() bool { return told.Changes != was })
	t.Logf("written every 2 min at the most; told %.0f °C in place of %.0f %v after the set-point of its pot was lowered", told.ToldC, wasC, took)
	assert.LessOrEqual(t, told.ToldC, wasC-10)
	assert.Less(t, took, 10*time.Second)
}
