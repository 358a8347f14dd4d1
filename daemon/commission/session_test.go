package commission

import (
	"context"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/simbench"
)

// TestWholeSession: from nothing to a complete record, which a second run finds
// complete without heating again. What is measured is held against what the
// simulated bench is set to, which no session is told.
func TestWholeSession(t *testing.T) {
	fromNothing(t, nil, func(t *testing.T, r *rig) {
		began := time.Now()
		r.setTimeout(1450)
		require.NoError(t, r.commission(t.Context(), answers, false), r.said())
		t.Logf("%s of bench time, %.1f kJ\n%s", time.Since(began).Round(time.Second), r.heatJ()/1000, r.said())

		said := r.said()
		require.Contains(t, said, "That takes about 46 minutes in all, 4 of them a melt probe in water")
		_, residual, _ := strings.Cut(said, "residual-current-device\n")
		residual, _, _ = strings.Cut(residual, "   > ")
		require.NotContains(t, residual, "The bench file says", "it says nothing of this")
		away := strings.Index(said, "Take the cup, the wet cloth and all other water away")
		require.Less(t, strings.LastIndex(said, "DRY IT"), away)
		require.Contains(t, r.words(), "Put every melt probe, dry, back into its own pot", "before heat")
		for line := range strings.Lines(said) {
			if !strings.HasPrefix(line, "   > ") { // what is typed is not echoed here
				require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), lines.Wide, line)
			}
		}
		require.Less(t, away, strings.Index(said, "The heaters' supply has to be on"))
		require.Less(t, strings.Index(said, "The heaters' supply has to be on"), strings.Index(said, "Press the bench's enable button"))
		require.Equal(t, strings.Count(said, "Press the bench's enable button"), strings.Count(said, "  Pressed.\n"), "it is said that each counted")
		require.Contains(t, said, "  Pressed.\n  45 s with the contactor open: nothing may warm.\n  30 s more.\n  15 s more.\n  Nothing warms with the contactor open.")
		require.Contains(t, said, "Reading whether anything still moves, 15 s: wait.\n  Hold the tip")

		rec := r.record()
		cleared, missing := rec.Against(r.file)
		require.Empty(t, missing)
		require.True(t, cleared.Holds())
		require.Len(t, cleared.Words(), 12)
		require.Equal(t, "30 mA device in the box", rec.answer("residual-current-device").Words)
		require.Equal(t, []string{"heater left", "heater middle", "heater right", "contactor"}, rec.proof("power").Outputs)
		require.Contains(t, cleared.Words()[1], "power reports its outputs off after 1.50 s of silence (by its own registers; a relay that sticks is not seen by this)")
		require.Contains(t, cleared.Words()[11], "lapses on 2000-12-31")
		require.Equal(t, "2000-12-31", cleared.Until().Format("2006-01-02"))
		require.Equal(t, 1.375, rec.proof("power").StillOnS)
		require.Equal(t, 1.5, rec.proof("power").LetGoS, "the unit is set to 1.45 s from its last write")
		for i, n := range rec.Nudges {
			require.Equal(t, Right, n.Result)
			require.InDelta(t, n.EnergyJ, r.Truth().Pots[i].HeatJ, 0.35*n.EnergyJ, "by the plate it was given: mains and heater differ from their rating")
			require.Less(t, n.HeatedS, nudgeFor.Seconds())
			require.GreaterOrEqual(t, n.Moved[n.Pot], nudgeRiseC)
		}

		heat := r.heatJ()
		require.NoError(t, r.commission(t.Context(), "", false))
		require.Contains(t, r.words(), "Going on with what was saved")
		require.NotContains(t, r.words(), "Press the bench's enable button")
		require.NotContains(t, r.words(), "heaters' supply has to be on")
		require.Equal(t, heat, r.heatJ())

		require.ErrorIs(t, r.commission(t.Context(), "", true), ErrIncomplete, "anew")
		cleared, _ = r.record().Against(r.file)
		require.False(t, cleared.Holds())
	})
}

// TestUnansweredBlocks: an empty answer, the end of the input and "no" keep
// everything off; what was answered is kept, and only the rest is asked again.
func TestUnansweredBlocks(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		ports := 0
		open := r.open
		count := func(l devices.LineConfig) (modbus.Port, error) { ports++; return open(l) }
		err := Run(t.Context(), Options{
			Bench: r.file, Wiring: wiring(r.file), Open: count, Clock: r.clk, History: r.store,
			In: strings.NewReader("yes\na limiter\n\nthe owner, 3 May 1999\n16 A breaker\nNo.\n\x1b[2J\nthe owner, 3 May 1999\nbraid\n"), Out: r, Version: "test",
		})
		require.ErrorIs(t, err, ErrIncomplete)
		require.Contains(t, r.words(), "that says too little: write what it is and where")
		require.ErrorContains(t, err, "cut-out-opens: not answered")
		require.ErrorContains(t, err, `residual-current-device: answered "No."; fit it, or have it done, first`)
		require.ErrorContains(t, err, "extraction: not answered")
		require.NotContains(t, err.Error(), "fuse")
		require.Contains(t, r.words(), "control character")
		require.Zero(t, ports)
		require.Zero(t, r.heatJ())

		rest := strings.SplitAfterN(answers, "\n", 8)[7]
		require.NoError(t, r.commission(t.Context(), "270 C\n30 mA, fitted\n"+rest, false), r.said())
		require.NotContains(t, r.said(), "\n1 of 16")
		require.Equal(t, "270 C", r.record().answer("cut-out-opens").Words)
		require.Equal(t, "30 mA, fitted", r.record().answer("residual-current-device").Words)
	})
}

// TestNoPressNoHeat: without a person at the bench nothing is ever switched on.
func TestNoPressNoHeat(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		r.nobody = true
		require.ErrorContains(t, r.commission(t.Context(), answers, false), "nobody pressed the enable button within 10 minutes")
		require.Zero(t, r.heatJ())
		require.Empty(t, r.record().Proofs)
		require.GreaterOrEqual(t, strings.Count(r.said(), "Still waiting for a press"), 15)
	})
}

// TestFit: a bench file that lacks one of these is told so, before anything is
// asked, and no record clears it.
func TestFit(t *testing.T) {
	require.NoError(t, Fit(benchFile(t, nil)))
	for role, want := range map[string]string{
		"contactor": "no channel with role: contactor. Nothing could take the mains off",
		"e-stop":    "no channel with role: e-stop. Heat would come back by itself when the stop is released: wire its second contact (normally closed) and add it",
		"cut-out":   "no channel with role: cut-out. Heat would come back by itself",
		"enable":    "no channel with role: enable. A person at the bench switches heat on",
	} {
		without := func(text string) string {
			return regexp.MustCompile(`(?m)^  - \{role: `+role+`,.*\n`).ReplaceAllString(text, "")
		}
		onBench(t, without, func(t *testing.T, r *rig) {
			require.ErrorContains(t, Fit(r.file), want)
			require.ErrorContains(t, r.commission(t.Context(), answers, false), want)
			require.Zero(t, r.heatJ())
			require.NotContains(t, r.said(), "cut-out\n", "nothing is asked")
			cleared, missing := complete(r.file).Against(r.file)
			require.False(t, cleared.Holds())
			require.Contains(t, missing[0], want)
		})
	}
}

// TestInterlocksMustBeSeen: with nobody's hand, or with a contact that does not
// follow, there is no trial; what was seen is not asked again.
func TestInterlocksMustBeSeen(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		r.idle = true
		require.ErrorContains(t, r.commission(t.Context(), answers, false), "e-stop was not seen open within 10 minutes")
		require.Zero(t, r.heatJ())
		r.idle = false
		r.saying["The fan: does"] = func() { r.idle = true }
		require.ErrorContains(t, r.commission(t.Context(), "", false), "fan was not seen open within 10 minutes")
		require.Len(t, r.record().Interlocks, 2)
		require.Zero(t, r.heatJ())
		delete(r.saying, "The fan: does")
		r.idle = false
		require.NoError(t, r.commission(t.Context(), "", false))
		require.NotContains(t, r.words(), "The e-stop")
		require.Len(t, r.record().Interlocks, 3)
	})
}

// swapStops crosses emergency stop and cut-out in the bench file.
func swapStops(text string) string {
	return strings.NewReplacer("role: e-stop,", "role: cut-out,", "role: cut-out,", "role: e-stop,").Replace(text)
}

func TestCrossedInterlocksAreSaid(t *testing.T) {
	onBench(t, swapStops, func(t *testing.T, r *rig) {
		require.ErrorContains(t, r.commission(t.Context(), answers, false), "e-stop was not seen open within 10 minutes")
		require.Contains(t, r.words(), "The cut-out has opened. If that is not what you did, its channel is crossed with another.")
		require.NoError(t, r.Clear(simbench.EStopOpened, simbench.Place{}))
	})
}

// TestWaitsWhileSomethingIsWrong: a press with the emergency stop open counts
// nothing; one after it is closed does.
func TestWaitsWhileSomethingIsWrong(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		first := true
		r.saying["Press the bench's enable button"] = func() {
			if !first {
				return
			}
			first = false
			time.AfterFunc(time.Second, func() { assert.NoError(t, r.Inject(simbench.EStopOpened, simbench.Place{})) })
			time.AfterFunc(10*time.Second, func() {
				assert.Zero(t, r.heatJ())
				assert.NoError(t, r.Clear(simbench.EStopOpened, simbench.Place{}))
			})
			time.AfterFunc(14*time.Second, r.PressEnable)
		}
		require.NoError(t, r.commission(t.Context(), answers, false), r.said())
		require.Contains(t, r.words(), "Not now: e-stop is open.")
		require.Contains(t, r.words(), "Well again: press now.")
	})
}

// TestInterrupted: at any time Ctrl-C leaves the heaters at zero within a moment,
// and another run goes on where the first was.
func TestInterrupted(t *testing.T) {
	fromNothing(t, nil, func(t *testing.T, r *rig) {
		require.ErrorIs(t, r.commission(ended(), answers, false), ErrStopped, "while it asks")
		require.Empty(t, r.record().Answers)

		ctx, end := context.WithCancel(t.Context())
		r.saying["2 of 16"] = end
		require.ErrorIs(t, r.commission(ctx, answers, false), ErrStopped)
		require.Len(t, r.record().Answers, 1)
		delete(r.saying, "2 of 16")

		rest := strings.SplitAfterN(answers, "\n", 2)[1]
		require.ErrorIs(t, r.cutWhenHot(t, rest), ErrStopped, "in the silence")
		require.Empty(t, r.record().Proofs, "half a proof is none")

		ctx, end = context.WithCancel(t.Context())
		r.saying["  5 s: "] = end
		require.ErrorIs(t, r.commission(ctx, "", false), ErrStopped, "in a nudge")
		r.requireOff()
		require.NotNil(t, r.record().proof("power"))
		require.Empty(t, r.record().Nudges)
		delete(r.saying, "  5 s: ")

		require.NoError(t, r.commission(t.Context(), "", false), r.said())
		require.NotContains(t, r.words(), "Device power", "it is proven already")
	})
}

// TestSupplyMustHaveBeenOff: half a proof is gone on with, and is none until the
// supply was seen off.
func TestSupplyMustHaveBeenOff(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		r.saying["is that so once its supply was off?"] = func() { r.idle = true }
		require.ErrorContains(t, r.commission(t.Context(), answers, false), "device power was not seen without supply within 10 minutes")
		require.True(t, r.record().proof("power").tried())
		require.False(t, r.record().proof("power").passed())
		delete(r.saying, "is that so once its supply was off?")
		r.idle = false
		require.NoError(t, r.commission(t.Context(), "", false))
		require.NotContains(t, r.words(), "when the line goes silent?")
	})
}

// TestADeviceMustNotWakeOn: one that begins with its outputs on is refused.
func TestADeviceMustNotWakeOn(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		require.NoError(t, r.Inject(simbench.WakesOn, simbench.Place{}))
		err := r.commission(t.Context(), answers, false)
		require.ErrorIs(t, err, errPress)
		require.ErrorContains(t, err, "Device power came back with heater left, heater middle, heater right, contactor on: set it to begin with all outputs off")
		require.False(t, r.record().proof("power").passed())
	})
}

// TestTimeoutMustOutlastTheSupply: a device that forgets it is refused.
func TestTimeoutMustOutlastTheSupply(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		require.NoError(t, r.Inject(simbench.TimeoutForgotten, simbench.Place{}))
		err := r.commission(t.Context(), answers, false)
		require.ErrorIs(t, err, ErrIncomplete)
		require.ErrorContains(t, err, "device power: once its supply was off: still holds heater left")
		require.False(t, r.record().proof("power").tried())
		require.Less(t, r.heatJ(), 2*mostProofJ)
	})
}

// ended is a context that has ended.
func ended() context.Context {
	ctx, end := context.WithCancel(context.Background())
	end()
	return ctx
}

// cutWhenHot ends the session once the contactor has closed, and sees the heaters
// off a moment later, before their own time-out.
func (r *rig) cutWhenHot(t *testing.T, typed string) error {
	ctx, end := context.WithCancel(t.Context())
	defer end()
	off := make(chan struct{})
	go func() {
		defer close(off)
		for !r.Truth().Contactor {
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(300 * time.Millisecond)
		end()
		time.Sleep(300 * time.Millisecond)
		assert.False(t, r.Truth().Contactor)
	}()
	err := r.commission(ctx, typed, false)
	<-off
	return err
}

// TestUnsavedStopsTheSession: what can not be kept is not gone on with.
func TestUnsavedStopsTheSession(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		file := r.store.Path()
		require.NoError(t, r.store.Close())
		s, err := history.Open(file) // a folder can not be where a file is
		require.NoError(t, err)
		good := r.store
		r.store = s
		require.Error(t, r.commission(t.Context(), answers, false))
		require.Zero(t, r.heatJ())
		require.NoError(t, s.Close())
		r.store = good
	})
}
