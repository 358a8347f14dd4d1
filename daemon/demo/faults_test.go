package demo

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// session runs a demo in virtual time beside a test that plays the bench.
type session struct {
	*Demo
	t    *testing.T
	over chan error
}

// inSession calls play inside a bubble, with a demo that has begun.
func inSession(t *testing.T, o Options, play func(*session)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		s := &session{Demo: newVirtual(t, o), t: t, over: make(chan error, 1)}
		ctx, end := context.WithCancel(context.Background())
		go func() { s.over <- s.Run(ctx, func(*frames.Frame) {}) }()
		defer func() {
			end()
			<-s.over // what a broken line says at the end is no matter here
		}()
		play(s)
	})
}

// pass lets virtual time pass.
func (s *session) pass(d time.Duration) { time.Sleep(d) }

// sample is how often the bench is looked at: more often than its physics moves.
const sample = 20 * time.Millisecond

// passUntil waits for something, and returns how long it took.
func (s *session) passUntil(limit time.Duration, done func() bool) time.Duration {
	s.t.Helper()
	began := time.Now()
	for !done() {
		if time.Since(began) > limit {
			s.t.Fatalf("not within %v", limit)
		}
		s.pass(sample)
	}
	return time.Since(began)
}

func (s *session) frame() *frames.Frame { return s.Daemon.Hub().Latest() }

func (s *session) heatEnabled() bool {
	f := s.frame()
	return f != nil && f.Heat == control.HeatEnabled
}

// heating waits until every plate has been heated for a time.
func (s *session) heating(since time.Duration) {
	s.passUntil(time.Minute, s.heatEnabled)
	s.pass(since)
	s.passUntil(10*time.Minute, func() bool { return !slices.Contains(s.drawing(), false) }) // who waits draws nothing for a while
}

// drawing tells of every heater whether it really draws power.
func (s *session) drawing() []bool { return drawing(s.Bench) }

func drawing(b *simbench.Bench) []bool {
	var draws []bool
	for _, p := range b.Truth().Pots {
		draws = append(draws, p.PowerW > 0)
	}
	return draws
}

// heatGone returns how long it takes until heaters draw nothing, by the truth of
// the bench. The daemon has to agree within two seconds, and they have to stay off.
func (s *session) heatGone(heaters []int) time.Duration {
	s.t.Helper()
	cold := func() bool {
		draws := s.drawing()
		return !slices.ContainsFunc(heaters, func(i int) bool { return draws[i] })
	}
	took := s.passUntil(10*time.Second, cold)
	s.passUntil(2*time.Second-took, func() bool {
		return !slices.ContainsFunc(heaters, func(i int) bool { return s.frame().Outputs.Duty[i] != 0 })
	})
	for range 5 * time.Second / sample {
		s.pass(sample)
		require.True(s.t, cold(), "heat has come back by itself")
	}
	return took
}

// upset is a row of the table: what begins to be wrong, how long after heat was
// enabled, and which heaters it concerns.
type upset struct {
	name    string
	begin   func(*session) error
	after   time.Duration
	heaters []int
}

var (
	onePot   = []int{0}
	everyPot = []int{0, 1, 2}
)

// inject returns an upset that is a fault of the bench.
func inject(name string, f simbench.Fault, at simbench.Place) upset {
	u := upset{name, func(s *session) error { return s.Bench.Inject(f, at) }, time.Minute, everyPot}
	if f.Scope() == simbench.OfProbe {
		u.heaters = onePot
	}
	return u
}

// hot is when every melt is far from the module's own temperature, which is what
// a probe that is shorted lead to lead reads.
const hot = 5 * time.Minute

// upsets are the faults that show on the wire.
func upsets() []upset {
	unit := func(u uint8) simbench.Place { return simbench.Place{Unit: u} }
	var all []upset
	for _, p := range []registers.Role{registers.Melt, registers.Plate} {
		at, probe := simbench.Place{Probe: p}, string(p)+" probe "
		shorted := inject(probe+"shorted lead to lead, hot", simbench.ShortedProbe, at)
		shorted.after = hot
		all = append(
			all,
			inject(probe+"open", simbench.OpenProbe, at),
			inject(probe+"grounded", simbench.GroundedProbe, at),
			inject(probe+"reads a sentinel", simbench.SentinelReading, at),
			shorted,
		)
	}
	return append(
		all,
		inject("thermocouple unit dead", simbench.NoReply, unit(simbench.UnitThermocouples)),
		inject("power unit dead", simbench.NoReply, unit(simbench.UnitPower)),
		inject("contact unit dead", simbench.NoReply, unit(simbench.UnitContacts)),
		inject("line dead", simbench.NoReply, simbench.Place{}),
		inject("every reply corrupt", simbench.CorruptReplies, simbench.Place{}),
		inject("every reply late", simbench.LateReplies, simbench.Place{}),
		inject("every reply an exception", simbench.ExceptionReplies, simbench.Place{}),
		inject("emergency stop opened", simbench.EStopOpened, simbench.Place{}),
		inject("cut-out opened", simbench.CutOutOpened, simbench.Place{}),
		inject("fan stopped", simbench.FanStopped, simbench.Place{}),
		upset{"program gone, device's own time-out", func(s *session) error { return s.line.Close() }, time.Minute, everyPot},
	)
}

// phases are how many moments of a cycle each upset is tried at.
const phases = 5

// TestNumbersOfFaults prints how long after a fault has become visible on the
// wire the heaters concerned really draw nothing, at ×1 and at five moments of
// the cycle: under two seconds, by the daemon where it lives, by its line's owner
// where the cycle hangs, by the device's own communication time-out where nobody
// is left.
func TestNumbersOfFaults(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector, which has others to look at")
	}
	t.Parallel()
	var table strings.Builder
	var all []time.Duration
	note := func(name string, took []time.Duration) {
		slices.Sort(took)
		fmt.Fprintf(&table, "\n%-38s median %.2f s, worst %.2f s", name, took[len(took)/2].Seconds(), took[len(took)-1].Seconds())
		assert.Less(t, took[len(took)-1], 2*time.Second, name)
	}
	try := func(name string, once func(phase time.Duration) time.Duration) {
		took := make([]time.Duration, phases)
		for i := range took {
			took[i] = once(time.Duration(i) * 200 * time.Millisecond / phases)
		}
		note(name, took)
		all = append(all, took...)
	}
	for _, u := range upsets() {
		try(u.name, func(phase time.Duration) (took time.Duration) {
			inSession(t, Options{Seed: 1}, func(s *session) {
				s.heating(u.after)
				s.pass(phase)
				require.NoError(t, u.begin(s))
				took = s.heatGone(u.heaters)
			})
			return took
		})
	}
	try("cycle hangs, line owner's deadline", func(phase time.Duration) time.Duration { return hang(t, phase) })
	note("all", all)
	t.Log(table.String())
}

// hang heats a bench over its line without a daemon, then neither asks nor tells
// the line anything any more, as a cycle does that hangs, and returns how long
// the heaters go on.
func hang(t *testing.T, phase time.Duration) (took time.Duration) {
	synctest.Test(t, func(t *testing.T) {
		file, err := config.DemoBench(nil)
		require.NoError(t, err)
		clk := clock.New(1)
		bench, err := newBench(virtualSettings(t), Options{Seed: 1, NoMaker: true}, clk)
		require.NoError(t, err)
		ours, theirs := pipe.New()
		served := make(chan error, 1)
		go func() { served <- bench.Serve(t.Context(), ours) }()
		bus, err := devices.Open(daemon.Wiring(file), func(devices.LineConfig) (modbus.Port, error) { return theirs, nil }, clk)
		require.NoError(t, err)
		for range 10 {
			bus.Poll(t.Context(), 120*time.Millisecond)
			bus.Apply(control.Outputs{Duty: []float64{1, 1, 1}, Contactor: true})
			time.Sleep(200 * time.Millisecond)
		}
		bus.Apply(control.Outputs{Duty: []float64{1, 1, 1}, Contactor: true})
		time.Sleep(phase)
		require.NotContains(t, drawing(bench), false)
		for began := time.Now(); slices.Contains(drawing(bench), true); took = time.Since(began) {
			time.Sleep(sample)
		}
		assert.True(t, bus.Close(t.Context()))
		assert.ErrorIs(t, <-served, pipe.ErrHungUp)
	})
	return took
}

// TestNumbersOfColdShort prints what becomes of a melt probe that is shorted
// while the melt is cold. What it reads then is possible; only that it stands
// still gives it away. Until then the plate's own limit holds.
func TestNumbersOfColdShort(t *testing.T) {
	inSession(t, Options{Seed: 1}, func(s *session) {
		s.heating(0)
		require.NoError(t, s.Bench.Inject(simbench.ShortedProbe, simbench.Place{Probe: registers.Melt}))
		hottest := 0.0
		took := s.passUntil(10*time.Minute, func() bool {
			hottest = max(hottest, s.Bench.Truth().Pots[0].PlateC)
			return slices.ContainsFunc(s.frame().Conditions, func(c guard.Condition) bool { return c.Latched })
		})
		t.Logf("off after %.0f s; plate at most %.0f °C, its limit is %.0f °C", took.Seconds(), hottest, s.Settings.Pots[0].PlateLimitC)
		assert.Equal(t, guard.MeltFrozen, s.frame().Conditions[0].Code)
		assert.Less(t, hottest, s.Settings.Limits.PlateTripC)
		s.heatGone(onePot)
	})
}

// TestTripWaitsForAPersonAtTheBench: heat stays off when the cause goes; the
// first press resets, the second enables.
func TestTripWaitsForAPersonAtTheBench(t *testing.T) {
	inSession(t, Options{Seed: 2}, func(s *session) {
		s.heating(30 * time.Second)
		require.NoError(t, s.Bench.Inject(simbench.EStopOpened, simbench.Place{}))
		s.passUntil(2*time.Second, func() bool { return s.frame().Heat == control.HeatTripped })
		s.Bench.PressEnable()
		s.pass(3 * time.Second)
		assert.Equal(t, control.HeatTripped, s.frame().Heat, "not with the cause there")

		require.NoError(t, s.Bench.Clear(simbench.EStopOpened, simbench.Place{}))
		s.pass(time.Minute)
		assert.Equal(t, control.HeatTripped, s.frame().Heat)
		assert.False(t, s.Bench.Truth().Contactor)

		s.Bench.PressEnable()
		s.pass(3 * time.Second)
		assert.Equal(t, control.HeatBlocked, s.frame().Heat, "the first press resets")
		assert.False(t, s.Bench.Truth().Contactor)

		s.Bench.PressEnable()
		s.pass(3 * time.Second)
		assert.Equal(t, control.HeatEnabled, s.frame().Heat, "the second enables")
		assert.True(t, s.Bench.Truth().Contactor)
	})
}

// TestTripOfOnePot: its heater stays off when the cause goes, until a person presses
// twice; the others go on.
func TestTripOfOnePot(t *testing.T) {
	inSession(t, Options{Seed: 2}, func(s *session) {
		s.heating(30 * time.Second)
		melt := simbench.Place{Pot: 1, Probe: registers.Melt}
		require.NoError(t, s.Bench.Inject(simbench.OpenProbe, melt))
		s.pass(10 * time.Second)
		require.NoError(t, s.Bench.Clear(simbench.OpenProbe, melt))
		s.pass(time.Minute)
		assert.Equal(t, []bool{true, false, true}, s.drawing())
		assert.Equal(t, control.HeatEnabled, s.frame().Heat)
		s.Bench.PressEnable()
		s.pass(time.Minute)
		assert.Empty(t, s.frame().Conditions, "the first press resets")
		assert.Equal(t, []bool{true, false, true}, s.drawing())
		assert.Equal(t, control.Off, s.frame().Pots[1].State)
		assert.Equal(t, control.WaitEnable, s.frame().Pots[1].Wait)
		s.Bench.PressEnable()
		s.passUntil(time.Minute, func() bool { return s.drawing()[1] })
	})
}

// TestBackAfterTheLineWasDead: the line's return does not bring heat back.
func TestBackAfterTheLineWasDead(t *testing.T) {
	inSession(t, Options{Seed: 3}, func(s *session) {
		s.heating(30 * time.Second)
		require.NoError(t, s.Bench.Inject(simbench.NoReply, simbench.Place{}))
		s.pass(10 * time.Second)
		assert.Equal(t, control.HeatTripped, s.frame().Heat)
		require.NoError(t, s.Bench.Clear(simbench.NoReply, simbench.Place{}))
		s.pass(time.Minute)
		assert.Equal(t, control.HeatTripped, s.frame().Heat)
		for i, p := range s.Bench.Truth().Pots {
			assert.Zero(t, p.PowerW, "pot %d", i)
			assert.True(t, s.frame().Pots[i].Melt.Usable(guard.MaxAge), "and readings have come back")
		}
	})
}

// TestAllOffStaysOff: "all off" opens the contactor at once; nothing but the
// bench's button closes it again.
func TestAllOffStaysOff(t *testing.T) {
	inSession(t, Options{Seed: 4}, func(s *session) {
		s.heating(30 * time.Second)
		require.NoError(t, s.Daemon.Submit(history.Mark{Command: control.Command{Kind: control.AllOff}}))
		took := s.passUntil(time.Second, func() bool { return !s.Bench.Truth().Contactor && !slices.Contains(s.drawing(), true) })
		t.Logf("all off after %.2f s", took.Seconds())
		s.pass(5 * time.Minute)
		assert.Equal(t, control.HeatBlocked, s.frame().Heat)
		assert.False(t, s.Bench.Truth().Contactor)
	})
}

// TestNothingHeatsByItself: without a person at the bench no command, no mark, no
// fault that comes and goes and no time enables heat.
func TestNothingHeatsByItself(t *testing.T) {
	inSession(t, Options{Seed: 5, NoMaker: true}, func(s *session) {
		s.pass(time.Second)
		for k := control.CommandKind(0); k < 32; k++ {
			for pot := -1; pot < 4; pot++ {
				_ = s.Daemon.Submit(history.Mark{Command: control.Command{Kind: k, Pot: pot}})
			}
			s.pass(10 * time.Second)
			require.Equal(t, control.HeatBlocked, s.frame().Heat)
		}
		for _, f := range simbench.Faults() {
			at := simbench.Place{Probe: registers.Melt}
			require.NoError(t, s.Bench.Inject(f, at))
			s.pass(5 * time.Second)
			require.NoError(t, s.Bench.Clear(f, at))
			s.pass(5 * time.Second)
			require.Equal(t, control.HeatBlocked, s.frame().Heat, string(f))
		}
		s.pass(time.Hour)
		truth := s.Bench.Truth()
		assert.False(t, truth.Contactor)
		for _, p := range truth.Pots {
			assert.Zero(t, p.HeatJ)
		}
	})
}

// TestOneBadFrameIsNoTrip: a cycle's frames that are lost, harmed or refused, on
// any unit, do not trip; nor are they told, but for a refusal, which costs its
// heater the cycle.
func TestOneBadFrameIsNoTrip(t *testing.T) {
	inSession(t, Options{Seed: 6}, func(s *session) {
		s.heating(30 * time.Second)
		for _, f := range []simbench.Fault{simbench.NoReply, simbench.CorruptReplies, simbench.ExceptionReplies, simbench.DuplicateReplies} {
			for unit := range simbench.UnitContacts + 1 { // zero is the whole line
				at := simbench.Place{Unit: unit}
				require.NoError(t, s.Bench.Inject(f, at))
				s.pass(s.Settings.Period)
				require.NoError(t, s.Bench.Clear(f, at))
				for range 5 * time.Second / sample {
					s.pass(sample)
					require.Equal(t, control.HeatEnabled, s.frame().Heat, "%s, unit %d", f, unit)
					for _, c := range s.frame().Conditions {
						require.False(t, c.Latched || f != simbench.ExceptionReplies, "%s, unit %d: %s", f, unit, c.Code)
					}
				}
				assert.Empty(t, s.frame().Conditions, "%s, unit %d", f, unit)
			}
		}
	})
}
