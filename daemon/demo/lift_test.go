package demo

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/history"
)

// within waits for something by looking at every cycle, and returns how long it took.
func (s *session) within(limit time.Duration, done func(f *control.Frame) bool) time.Duration {
	s.t.Helper()
	began := time.Now()
	for f := s.frame(); f == nil || !done(&f.Frame); f = s.frame() {
		if time.Since(began) > limit {
			s.t.Fatalf("not within %v: %v", limit, f.Conditions)
		}
		s.pass(s.Settings.Period)
	}
	return time.Since(began)
}

// TestALiftThatNobodyMarks over the simulated line: heat off, the window counts down to
// about when the melt leaves its band, the sound is made once, the pot is seen to be
// back, and only a mark and a press heat it again.
func TestALiftThatNobodyMarks(t *testing.T) {
	if testing.Short() {
		t.Skip("evenings of computing: what runs beside the control is raced in real time")
	}
	t.Parallel()
	const pot = 0
	inSession(t, Options{Seed: 1}, func(s *session) {
		s.within(40*time.Minute, func(f *control.Frame) bool { return f.Ready })
		s.pass(5 * time.Minute)
		s.Bench.Lift(pot)
		lifted := time.Now()
		off := s.within(time.Minute, func(f *control.Frame) bool {
			return f.Pots[pot].MaybeLifted || f.Pots[pot].State == control.Lifted // suspected, or told at once
		})
		s.within(time.Minute, func(f *control.Frame) bool { return f.Pots[pot].State == control.Lifted })
		noticed := time.Since(lifted)
		p := s.frame().Pots[pot]
		assert.True(t, p.Noticed)
		require.True(t, p.Pour.Known)
		foreseen := noticed + p.Pour.In
		assert.Equal(t, p.Pour, s.frame().Pour)
		s.pass(s.Settings.Period)
		assert.Contains(t, s.frame().Conditions, guard.Condition{Code: guard.LiftNoticed, Pot: pot, Severity: guard.Note, Active: true})

		set := s.Settings.Pots[pot]
		calls := s.frame().Call.Seq
		var cold, told time.Duration
		s.within(5*time.Minute, func(f *control.Frame) bool {
			require.False(t, s.drawing()[pot])
			// By what its probe would show without lag: of its own error nobody knows.
			if truth := s.Bench.Truth().Pots[pot]; cold == 0 && truth.MeltC+truth.MeltProbeErrorC < set.SetpointC-set.BandC {
				cold = time.Since(lifted)
			}
			if told == 0 && f.Pots[pot].Pour.Over {
				told = time.Since(lifted)
			}
			return cold > 0 && told > 0
		})
		s.pass(time.Second)
		fmt.Printf("lifted: heat off after %v, noticed after %v, then too cold foreseen for %v; told at %v, true at %v\n", off, noticed, foreseen, told, cold)
		assert.InDelta(t, cold.Seconds(), told.Seconds(), 10)
		assert.Greater(t, s.frame().Call.Seq, calls, "it is called")

		s.Bench.Return(pot)
		back := s.within(3*time.Minute, func(f *control.Frame) bool { return f.Pots[pot].LooksBack })
		fmt.Printf("back: seen after %v\n", back)
		s.Bench.PressEnable()
		s.pass(30 * time.Second)
		assert.False(t, s.drawing()[pot], "a press without the mark heats nothing")
		require.NoError(t, s.Daemon.Submit(history.Mark{Command: control.Command{Kind: control.Return, Pot: pot}}))
		s.pass(30 * time.Second)
		assert.False(t, s.drawing()[pot], "nor the mark without a press")
		s.Bench.PressEnable()
		s.within(20*time.Second, func(*control.Frame) bool { return s.drawing()[pot] })
		s.within(20*time.Minute, func(f *control.Frame) bool { return f.Ready })
	})
}
