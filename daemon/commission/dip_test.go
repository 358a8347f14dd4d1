package commission

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/simbench"
)

// swapMelts crosses two melt probes in the bench file.
func swapMelts(text string) string {
	return strings.NewReplacer(
		"role: melt, pot: left", "role: melt, pot: middle",
		"role: melt, pot: middle", "role: melt, pot: left",
	).Replace(text)
}

// reverseMelt lets the reading of the left melt fall as it warms: what swapped leads
// do (common practice, no source).
func reverseMelt(text string) string {
	return strings.Replace(text, "{role: melt, pot: left, device: thermocouples, function: 4, address: 0, type: int16, scale: 0.1,",
		"{role: melt, pot: left, device: thermocouples, function: 4, address: 0, type: int16, scale: -0.1, offset: 40,", 1)
}

// meltOnPlate exchanges melt and plate of the left pot.
func meltOnPlate(text string) string {
	return strings.NewReplacer(
		"role: melt, pot: left", "role: plate, pot: left",
		"role: plate, pot: left", "role: melt, pot: left",
	).Replace(text)
}

// crossedCups are what is typed when the first two need no thermometer.
const crossedCups = "dry\ndry\n60 C\ndry\n"

// atTheCups runs a test in a bubble, with everything on record but the melt probes.
func atTheCups(t *testing.T, edit func(string) string, test func(t *testing.T, r *rig)) {
	t.Helper()
	fromNothing(t, edit, func(t *testing.T, r *rig) {
		old := complete(r.file)
		old.Melts = nil
		r.keep(old)
		test(t, r)
	})
}

func TestDipFindsWhatIsCrossed(t *testing.T) {
	atTheCups(t, swapMelts, func(t *testing.T, r *rig) {
		err := r.commission(t.Context(), crossedCups, false)
		require.ErrorIs(t, err, ErrIncomplete)
		require.ErrorContains(t, err, "the melt probe of pot left moves melt middle by +")
		require.ErrorContains(t, err, "swap the melt probes of left and middle")
		require.ErrorContains(t, err, "the melt probe of pot middle moves melt left by +")
		require.Equal(t, Crossed, r.record().dip("left").Result)
		require.Equal(t, "left", r.record().dip("middle").Other)
		require.Equal(t, Right, r.record().dip("right").Result)
		cleared, missing := r.record().Against(r.file)
		require.False(t, cleared.Holds())
		require.Len(t, missing, 2, "everything else is right")
		t.Log(err)
	})
}

// TestDipIsTriedAgainOnceMended: two wires are swapped, and only these two tried again.
func TestDipIsTriedAgainOnceMended(t *testing.T) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		r.dip = func(pot int) { r.DipMelt([]int{1, 0, 2}[pot], cupC) }
		require.ErrorIs(t, r.commission(t.Context(), crossedCups, false), ErrIncomplete)
		r.dip = func(pot int) { r.DipMelt(pot, cupC) }
		require.NoError(t, r.commission(t.Context(), cups, false), r.said())
		require.Equal(t, 2, strings.Count(r.said(), "which channel shows it?"))
		require.Zero(t, r.heatJ())
	})
}

func TestDipFindsWhatIsReversed(t *testing.T) {
	atTheCups(t, reverseMelt, func(t *testing.T, r *rig) {
		r.dip = func(pot int) { r.DipMelt(pot, 70) } // shown as -30, which no guard believes
		err := r.commission(t.Context(), "dry\n70 C\ndry\n70 C\ndry\n", false)
		require.ErrorContains(t, err, "the reading of melt left falls by ")
		require.ErrorContains(t, err, "swap the two wires of its thermocouple")
		require.Equal(t, Reversed, r.record().dip("left").Result)
		require.Equal(t, Right, r.record().dip("middle").Result)
	})
}

func TestDipFindsWhatIsMissing(t *testing.T) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		require.NoError(t, r.Inject(simbench.FrozenProbe, meltOf(1)))
		err := r.commission(t.Context(), "60 C\ndry\ndry\n60 C\ndry\n", false)
		require.ErrorContains(t, err, "no melt moves when the probe of pot middle is in hot water")
		require.Equal(t, Missing, r.record().dip("middle").Result)
		require.GreaterOrEqual(t, strings.Count(r.said(), "Still waiting. Hold the tip"), 5)
	})
}

func TestDipFindsBoth(t *testing.T) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		r.dip = func(pot int) {
			r.DipMelt(pot, cupC)
			if pot == 0 {
				r.DipMelt(2, 30)
			}
		}
		err := r.commission(t.Context(), "dry\n60 C\ndry\n60 C\ndry\n", false)
		require.ErrorContains(t, err, "the melt probe of pot left moves melt right by +")
		require.ErrorContains(t, err, "as well. See that no other tip is in the water")
		require.Equal(t, Both, r.record().dip("left").Result)
	})
}

// TestAPlateThatWarmsInADipEndsIt: a melt probe on a plate's channel can not be told
// from a heater that is on by itself; both end it, the urgent first.
func TestAPlateThatWarmsInADipEndsIt(t *testing.T) {
	ends := func(t *testing.T, r *rig) {
		err := r.commission(t.Context(), cups, false)
		require.ErrorIs(t, err, errPress)
		require.Regexp(t, "^PRESS THE EMERGENCY STOP, then switch the mains off. Plate left has risen by ", err.Error())
		require.ErrorContains(t, err, "the probe in the water is on the channel of this plate")
		require.ErrorIs(t, err, errWet)
		require.Empty(t, r.record().Melts)
	}
	t.Run("crossed", func(t *testing.T) {
		atTheCups(t, meltOnPlate, func(t *testing.T, r *rig) {
			ends(t, r)
			require.Zero(t, r.heatJ())
		})
	})
	t.Run("heated", func(t *testing.T) {
		atTheCups(t, nil, func(t *testing.T, r *rig) {
			r.dip = func(int) {
				assert.NoError(t, r.Inject(simbench.ContactorWelded, simbench.Place{}))
				assert.NoError(t, r.Inject(simbench.RelayWelded, simbench.Place{}))
			}
			ends(t, r)
			require.NoError(t, r.Clear(simbench.RelayWelded, simbench.Place{}))
		})
	})
}

// TestDipHeatsNothing: outputs are told zero all the while, and no button is asked for.
func TestDipHeatsNothing(t *testing.T) {
	fromNothing(t, nil, func(t *testing.T, r *rig) {
		r.nobody = true
		require.ErrorContains(t, r.commission(t.Context(), answers, false), "nobody pressed the enable button")
		require.Len(t, r.record().Melts, 3)
		require.Zero(t, r.heatJ())
		require.Less(t, strings.Index(r.said(), "Melt probe right"), strings.Index(r.said(), "Press the bench's enable button"))
	})
}

// TestDipCanBeInterrupted: at any time; it is said that the tip is wet, and a probe that
// was dried is not tried again.
func TestDipCanBeInterrupted(t *testing.T) {
	for _, words := range []string{"Hold the tip", "It shows", "What does a thermometer", "DRY IT"} {
		atTheCups(t, nil, func(t *testing.T, r *rig) {
			ctx, end := context.WithCancel(t.Context())
			r.saying[words] = end
			err := r.commission(ctx, "60 C\n", false)
			require.ErrorIs(t, err, ErrStopped)
			require.ErrorContains(t, err, "dry the tip of the melt probe before anything else")
			require.Empty(t, r.record().Melts)
			require.Len(t, r.record().Interlocks, 3)
		})
	}
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		ctx, end := context.WithCancel(t.Context())
		r.saying["Waiting until everything is cold"] = end
		err := r.commission(ctx, cups, false)
		require.ErrorIs(t, err, ErrStopped)
		require.NotErrorIs(t, err, errWet)
		require.Len(t, r.record().Melts, 1)
		delete(r.saying, "Waiting until everything is cold")
		time.Sleep(time.Minute)
		require.NoError(t, r.commission(t.Context(), cups, false), r.said())
		require.NotContains(t, r.words(), "Melt probe left")
	})
}

// TestWetProbesAreNoneOnRecord: only "dry" is dry.
func TestWetProbesAreNoneOnRecord(t *testing.T) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		err := r.commission(t.Context(), "60 C\nyes\n\nnearly dry\n", false)
		require.ErrorIs(t, err, ErrIncomplete)
		require.ErrorContains(t, err, "melt probe left: nobody confirmed that it is dry")
		require.ErrorIs(t, err, errWet)
		require.Empty(t, r.record().Melts)
	})
}

// TestWhatIsTypedTooEarlyAnswersNothing: "dry", said while the tip is in the water, does
// not confirm that it is dry later.
func TestWhatIsTypedTooEarlyAnswersNothing(t *testing.T) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		ctx, end := context.WithTimeout(t.Context(), 3*time.Minute)
		defer end()
		err := r.atTerminal(ctx, map[string]string{
			"Hold the tip of the melt probe of pot left": "60 C\ndry\ndry\n", "It shows": "dry\n", "Not accepted": "60 C\n",
		})
		require.ErrorIs(t, err, ErrStopped)
		require.ErrorIs(t, err, errWet)
		require.Equal(t, 1, strings.Count(r.said(), "   > "), "it still waits for a thermometer's word")
		require.NotContains(t, r.words(), "DRY IT")
	})
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		err := r.atTerminal(t.Context(), map[string]string{"   > ": "60 C\n"})
		require.ErrorContains(t, err, "nobody confirmed that it is dry", "what comes after the question does count")
	})
}

// TestNobodyLeftToAnswer: the end of what is typed is no answer.
func TestNobodyLeftToAnswer(t *testing.T) {
	for typed, said := range map[string]string{"": "What does a thermometer", "60 C\n": "DRY IT"} {
		atTheCups(t, nil, func(t *testing.T, r *rig) {
			err := r.commission(t.Context(), typed, false)
			require.ErrorContains(t, err, "nobody can answer any more")
			require.ErrorIs(t, err, errWet)
			require.Contains(t, r.words(), said)
			require.Empty(t, r.record().Melts)
		})
	}
}

// TestDipWaitsUntilItIsCold, and gives up where it does not get so.
func TestDipWaitsUntilItIsCold(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of computing under the race detector; the whole session is raced")
	}
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		r.DipMelt(2, 55)
		time.Sleep(time.Minute)
		began := time.Now()
		r.saying["Waiting until everything is cold"] = func() { time.AfterFunc(5*time.Minute, func() { r.PutMeltBack(2) }) }
		r.saying["Hold the tip"] = func() { assert.Greater(t, time.Since(began), 5*time.Minute) }
		require.NoError(t, r.commission(t.Context(), cups, false), r.said())
		require.GreaterOrEqual(t, strings.Count(r.words(), "Waiting until everything is cold: below 40 °C, and within 5 °C of each other"), 15, "how far it is, again and again")
	})
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		r.DipMelt(2, 55)
		time.Sleep(time.Minute)
		require.ErrorContains(t, r.commission(t.Context(), cups, false), "the melt of pot right is at 5")
		require.NotContains(t, r.words(), "Hold the tip")
	})
}

// TestOldRecordsLapse: one that was complete before melt probes were tried is not any
// more, says so plainly, and is gone on with.
func TestOldRecordsLapse(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of computing under the race detector; the whole session is raced")
	}
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		cleared, missing := r.record().Against(r.file)
		require.False(t, cleared.Holds())
		require.Equal(t, []string{
			"melt probe left: not tried in hot water which channel it is on",
			"melt probe middle: not tried in hot water which channel it is on",
			"melt probe right: not tried in hot water which channel it is on",
		}, missing)
		require.NoError(t, r.commission(t.Context(), cups, false), r.said())
		require.NotContains(t, r.words(), "Heater left")
		require.Zero(t, r.heatJ())
	})
}
