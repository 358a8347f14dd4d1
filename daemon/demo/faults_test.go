package demo

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
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

// passUntil waits for something in steps of 20 ms, and returns how long it took.
func (s *session) passUntil(limit time.Duration, done func() bool) time.Duration {
	s.t.Helper()
	began := time.Now()
	for !done() {
		if time.Since(began) > limit {
			s.t.Fatalf("not within %v", limit)
		}
		s.pass(20 * time.Millisecond)
	}
	return time.Since(began)
}

func (s *session) frame() *frames.Frame { return s.Daemon.Hub().Latest() }

func (s *session) heatEnabled() bool {
	f := s.frame()
	return f != nil && f.Heat == control.HeatEnabled
}

// heating waits until every plate is being heated.
func (s *session) heating() {
	s.passUntil(time.Minute, s.heatEnabled)
	s.pass(30 * time.Second)
	for i, p := range s.Bench.Truth().Pots {
		require.Positive(s.t, p.PowerW, "pot %d", i)
	}
}

// off reports whether a heater draws nothing, and the daemon has told it so or
// can not reach it.
func (s *session) off(pot int) bool {
	return s.frame().Outputs.Duty[pot] == 0 && s.Bench.Truth().Pots[pot].PowerW == 0
}

// TestNumbersOfFaults prints how long after a fault has become visible on the
// wire the heater concerned draws nothing, at ×1 and at five moments of the
// cycle: under two seconds, by the daemon where it lives, by the device's own
// communication time-out where it does not.
func TestNumbersOfFaults(t *testing.T) {
	melt := simbench.Place{Probe: registers.Melt}
	plate := simbench.Place{Probe: registers.Plate}
	cases := []struct {
		name  string
		fault simbench.Fault
		at    simbench.Place
	}{
		{"melt probe open", simbench.OpenProbe, melt},
		{"plate probe open", simbench.OpenProbe, plate},
		{"melt probe grounded", simbench.GroundedProbe, melt},
		{"melt value a sentinel", simbench.SentinelReading, melt},
		{"plate value a sentinel", simbench.SentinelReading, plate},
		{"thermocouple unit dead", simbench.NoReply, simbench.Place{Unit: simbench.UnitThermocouples}},
		{"power unit dead", simbench.NoReply, simbench.Place{Unit: simbench.UnitPower}},
		{"contact unit dead", simbench.NoReply, simbench.Place{Unit: simbench.UnitContacts}},
		{"line dead, or the program killed", simbench.NoReply, simbench.Place{}},
		{"every reply corrupt", simbench.CorruptReplies, simbench.Place{}},
		{"every reply late", simbench.LateReplies, simbench.Place{}},
		{"every reply an exception", simbench.ExceptionReplies, simbench.Place{}},
		{"emergency stop opened", simbench.EStopOpened, simbench.Place{}},
		{"cut-out opened", simbench.CutOutOpened, simbench.Place{}},
		{"fan stopped", simbench.FanStopped, simbench.Place{}},
	}
	var all []time.Duration
	for _, c := range cases {
		var took []time.Duration
		for phase := range 5 {
			inSession(t, Options{Seed: 1}, func(s *session) {
				s.heating()
				s.pass(time.Duration(phase) * 40 * time.Millisecond)
				require.NoError(t, s.Bench.Inject(c.fault, c.at))
				took = append(took, s.passUntil(10*time.Second, func() bool { return s.off(0) }))
			})
		}
		slices.Sort(took)
		t.Logf("%-34s median %.2f s, worst %.2f s", c.name, took[2].Seconds(), took[4].Seconds())
		assert.Less(t, took[4], 2*time.Second, c.name)
		all = append(all, took...)
	}
	slices.Sort(all)
	t.Logf("%-34s median %.2f s, worst %.2f s", "all", all[len(all)/2].Seconds(), all[len(all)-1].Seconds())
}

// TestTripWaitsForAPersonAtTheBench: heat stays off when the cause goes; the
// first press resets, the second enables.
func TestTripWaitsForAPersonAtTheBench(t *testing.T) {
	inSession(t, Options{Seed: 2}, func(s *session) {
		s.heating()
		require.NoError(t, s.Bench.Inject(simbench.EStopOpened, simbench.Place{}))
		s.passUntil(2*time.Second, func() bool { return s.frame().Heat == control.HeatTripped })
		s.Bench.PressEnable()
		s.pass(2 * time.Second)
		assert.Equal(t, control.HeatTripped, s.frame().Heat, "not with the cause there")

		require.NoError(t, s.Bench.Clear(simbench.EStopOpened, simbench.Place{}))
		s.pass(time.Minute)
		assert.Equal(t, control.HeatTripped, s.frame().Heat)
		assert.False(t, s.Bench.Truth().Contactor)

		s.Bench.PressEnable()
		s.pass(2 * time.Second)
		assert.Equal(t, control.HeatBlocked, s.frame().Heat, "the first press resets")
		assert.False(t, s.Bench.Truth().Contactor)

		s.Bench.PressEnable()
		s.pass(2 * time.Second)
		assert.Equal(t, control.HeatEnabled, s.frame().Heat, "the second enables")
		assert.True(t, s.Bench.Truth().Contactor)
	})
}

// TestBackAfterTheLineWasDead: the line's return does not bring heat back.
func TestBackAfterTheLineWasDead(t *testing.T) {
	inSession(t, Options{Seed: 3}, func(s *session) {
		s.heating()
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
		s.heating()
		require.NoError(t, s.Daemon.Submit(control.Command{Kind: control.AllOff}))
		took := s.passUntil(time.Second, func() bool { return !s.Bench.Truth().Contactor && s.off(0) && s.off(1) && s.off(2) })
		t.Logf("all off after %.2f s", took.Seconds())
		s.pass(5 * time.Minute)
		assert.Equal(t, control.HeatBlocked, s.frame().Heat)
		assert.False(t, s.Bench.Truth().Contactor)
	})
}

// TestNothingHeatsByItself: without a person at the bench no command, no mark and
// no time enables heat.
func TestNothingHeatsByItself(t *testing.T) {
	inSession(t, Options{Seed: 5, NoMaker: true}, func(s *session) {
		s.pass(time.Second)
		for k := control.CommandKind(0); k < 32; k++ {
			for pot := -1; pot < 4; pot++ {
				_ = s.Daemon.Submit(control.Command{Kind: k, Pot: pot})
			}
			s.pass(10 * time.Second)
			require.Equal(t, control.HeatBlocked, s.frame().Heat)
		}
		s.pass(time.Hour)
		truth := s.Bench.Truth()
		assert.False(t, truth.Contactor)
		for _, p := range truth.Pots {
			assert.Zero(t, p.HeatJ)
		}
	})
}

// TestOneBadFrameIsNoTrip: a frame that is lost or harmed now and then neither
// trips nor is told.
func TestOneBadFrameIsNoTrip(t *testing.T) {
	inSession(t, Options{Seed: 6}, func(s *session) {
		s.heating()
		for _, f := range []simbench.Fault{simbench.NoReply, simbench.CorruptReplies, simbench.ExceptionReplies, simbench.DuplicateReplies} {
			require.NoError(t, s.Bench.Inject(f, simbench.Place{Unit: simbench.UnitThermocouples}))
			s.pass(200 * time.Millisecond)
			require.NoError(t, s.Bench.Clear(f, simbench.Place{Unit: simbench.UnitThermocouples}))
			s.pass(20 * time.Second)
			assert.Equal(t, control.HeatEnabled, s.frame().Heat, string(f))
			assert.Empty(t, s.frame().Conditions, string(f))
		}
	})
}
