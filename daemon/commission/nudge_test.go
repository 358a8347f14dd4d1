package commission

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/simbench"
)

// swapPlates crosses two plate probes in the bench file.
func swapPlates(text string) string {
	return strings.NewReplacer(
		"role: plate, pot: left", "role: plate, pot: middle",
		"role: plate, pot: middle", "role: plate, pot: left",
	).Replace(text)
}

// reversePlate lets the reading of the left plate fall as it warms: what swapped
// leads do (common practice, no source).
func reversePlate(text string) string {
	return strings.Replace(text, "{role: plate, pot: left, device: thermocouples, function: 4, address: 1, type: int16, scale: 0.1,",
		"{role: plate, pot: left, device: thermocouples, function: 4, address: 1, type: int16, scale: -0.1, offset: 40,", 1)
}

func TestNudgeFindsWhatIsCrossed(t *testing.T) {
	onBench(t, swapPlates, func(t *testing.T, r *rig) {
		err := r.commission(t.Context(), answers, false)
		require.ErrorIs(t, err, ErrIncomplete)
		require.ErrorContains(t, err, "heater left moves plate middle by +")
		require.ErrorContains(t, err, "swap the plate probes of left and middle")
		require.ErrorContains(t, err, "heater middle moves plate left by +")
		rec := r.record()
		require.Equal(t, Crossed, rec.nudge("left").Result)
		require.Equal(t, "left", rec.nudge("middle").Other)
		require.Equal(t, Right, rec.nudge("right").Result)
		cleared, missing := rec.Against(r.file)
		require.False(t, cleared.Holds())
		require.Len(t, missing, 2)
		t.Log(err)
	})
}

func TestNudgeFindsWhatIsReversed(t *testing.T) {
	onBench(t, reversePlate, func(t *testing.T, r *rig) {
		err := r.commission(t.Context(), answers, false)
		require.ErrorContains(t, err, "the reading of plate left falls by ")
		require.ErrorContains(t, err, "swap the two wires of its thermocouple")
	})
}

func TestNudgeFindsWhatIsMissing(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		require.NoError(t, r.Inject(simbench.HeaterFailed, simbench.Place{Pot: 1}))
		err := r.commission(t.Context(), answers, false)
		require.ErrorContains(t, err, "no plate moves when heater middle is on")
		require.Equal(t, nudgeFor.Seconds(), r.record().nudge("middle").HeatedS)

		require.NoError(t, r.Clear(simbench.HeaterFailed, simbench.Place{Pot: 1}))
		require.NoError(t, r.commission(t.Context(), "", false), "mended: only this one is nudged again")
		require.Equal(t, 1, strings.Count(r.said(), "which plate does it warm?"))
	})
}

func TestJudge(t *testing.T) {
	s := &session{}
	s.Bench = benchFile(t, nil)
	for _, test := range []struct {
		moved []float64
		want  Result
		other string
	}{
		{[]float64{5, 0.3, -0.4}, Right, ""},
		{[]float64{5, 1.9, 0}, Right, ""},
		{[]float64{5, 0, 2.5}, Both, "right"},
		{[]float64{0.4, 5, 0}, Crossed, "middle"},
		{[]float64{0.4, 0, -5}, Crossed, "right"},
		{[]float64{-5, 0, 0}, Reversed, ""},
		{[]float64{2.9, 0, 0}, Missing, ""},
		{[]float64{0, 0, 0}, Missing, ""},
	} {
		result, other := s.judge(0, test.moved)
		assert.Equal(t, test.want, result, test.moved)
		assert.Equal(t, test.other, other, test.moved)
	}
}

// TestNothingIsHeatedOverWhatIsWrong: each of these keeps the bench off from the
// start, and is named.
func TestNothingIsHeatedOverWhatIsWrong(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of computing under the race detector; the whole session is raced")
	}
	for fault, want := range map[simbench.Fault]string{
		simbench.OpenProbe:       "the plate probe of pot middle can not be used: open",
		simbench.SentinelReading: "the plate probe of pot middle can not be used: no measurement",
		simbench.EStopOpened:     "e-stop is open",
		simbench.CutOutOpened:    "cut-out is open",
		simbench.FanStopped:      "fan is open",
	} {
		onBench(t, nil, func(t *testing.T, r *rig) {
			require.NoError(t, r.Inject(fault, plateOf(1)))
			require.ErrorContains(t, r.commission(t.Context(), answers, false), want)
			require.Zero(t, r.heatJ())
		})
	}
}

// TestWhatGoesWrongInANudgeEndsIt: with zeros within a second, and without a result.
func TestWhatGoesWrongInANudgeEndsIt(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of computing under the race detector; the whole session is raced")
	}
	for fault, want := range map[simbench.Fault]string{
		simbench.OpenProbe:   "the plate probe of pot middle can not be used: open",
		simbench.EStopOpened: "e-stop is open",
		simbench.NoReply:     "can not be ",
	} {
		t.Run(string(fault), func(t *testing.T) {
			onBench(t, nil, func(t *testing.T, r *rig) {
				r.saying["  5 s: "] = func() {
					time.AfterFunc(time.Second/2, func() {
						assert.NoError(t, r.Inject(fault, simbench.Place{Pot: 1, Probe: plateOf(1).Probe, Unit: simbench.UnitThermocouples}))
					})
					time.AfterFunc(2*time.Second, func() { assert.False(t, r.Truth().Contactor) })
				}
				err := r.commission(t.Context(), answers, false)
				require.ErrorContains(t, err, want)
				require.ErrorContains(t, err, goOn)
				require.Empty(t, r.record().Nudges)
				require.NotNil(t, r.record().proof("power"))
			})
		})
	}
}

// TestAShortLossOfSupplyEndsANudge: the heater is not switched on again.
func TestAShortLossOfSupplyEndsANudge(t *testing.T) {
	power := simbench.Place{Unit: simbench.UnitPower}
	onBench(t, nil, func(t *testing.T, r *rig) {
		r.saying["  5 s: "] = func() {
			time.AfterFunc(500*time.Millisecond, func() { assert.NoError(t, r.Inject(simbench.UnitRestarts, power)) })
			for at := 520 * time.Millisecond; at < 2*time.Second; at += 20 * time.Millisecond {
				time.AfterFunc(at, func() { assert.False(t, r.Truth().Contactor) })
			}
			time.AfterFunc(700*time.Millisecond, func() { assert.NoError(t, r.Clear(simbench.UnitRestarts, power)) })
		}
		require.ErrorContains(t, r.commission(t.Context(), answers, false), "have forgotten what they were told")
		require.Empty(t, r.record().Nudges)
	})
}

// TestWarmBenchIsRefused: a plate that is warmer than the others, or that is warm.
func TestWarmBenchIsRefused(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of computing under the race detector; the whole session is raced")
	}
	warm := func(offset string) func(string) string {
		return func(text string) string {
			return strings.Replace(text, "{role: melt, pot: right, device: thermocouples, function: 4, address: 4, type: int16, scale: 0.1,",
				"{role: melt, pot: right, device: thermocouples, function: 4, address: 4, type: int16, scale: 0.1, offset: "+offset+",", 1)
		}
	}
	for offset, want := range map[string]string{
		"8":  "the cold probes differ by ",
		"25": "the melt of pot right is at ",
		"50": "too hot for this",
	} {
		onBench(t, warm(offset), func(t *testing.T, r *rig) {
			require.ErrorContains(t, r.commission(t.Context(), answers, false), want)
			require.Zero(t, r.heatJ())
		})
	}
}

// TestAPlateIsNotColderThanWhatNothingWarmed: for hours after a press plates may be warmer
// than the melts, but one that reads lower is wrong, also in a bench file that was changed.
func TestAPlateIsNotColderThanWhatNothingWarmed(t *testing.T) {
	low := func(text string) string {
		return strings.Replace(text, "{role: plate, pot: left, device: thermocouples, function: 4, address: 1, type: int16, scale: 0.1,",
			"{role: plate, pot: left, device: thermocouples, function: 4, address: 1, type: int16, scale: 0.1, offset: -15,", 1)
	}
	onBench(t, low, func(t *testing.T, r *rig) {
		r.keep(&Record{Digest: Digest(r.file), Melts: complete(r.file).Melts, Heated: time.Now()})
		require.ErrorContains(t, r.commission(t.Context(), answers, false), "the plate of pot left is at ")
		require.Zero(t, r.heatJ())
	})
}

// TestHeatPastTheContactor: a welded contactor, and a heater that is not behind it,
// are found before the contactor is ever closed for a nudge.
func TestHeatPastTheContactor(t *testing.T) {
	for fault, heater := range map[simbench.Fault]string{simbench.ContactorWelded: "left", simbench.HeaterBypasses: "middle"} {
		t.Run(string(fault), func(t *testing.T) {
			onBench(t, nil, func(t *testing.T, r *rig) {
				require.NoError(t, r.Inject(fault, simbench.Place{Pot: 1}))
				err := r.commission(t.Context(), answers, false)
				require.ErrorIs(t, err, errPress)
				require.Regexp(t, "^PRESS THE EMERGENCY STOP, then switch the mains off. Heater "+heater+" is heated with the contactor open", err.Error())
				require.ErrorContains(t, err, "the contactor is welded, or this heater is not behind it. A licensed electrician has to mend it")
				require.NotContains(t, r.words(), "heaters stay off")
				require.Nil(t, r.record().nudge(heater))
				cleared, _ := r.record().Against(r.file)
				require.False(t, cleared.Holds())
			})
		})
	}
}

// weaken leaves the left heater a share of its power: full duty is that much less.
func weaken(share float64) func(string) string {
	return func(text string) string {
		return strings.Replace(text, "{role: heater, pot: left, device: power, function: 16, address: 0, type: uint16, scale: 0.0001,",
			fmt.Sprintf("{role: heater, pot: left, device: power, function: 16, address: 0, type: uint16, scale: %.6f,", 0.0001/share), 1)
	}
}

// TestWeakHeater: one that takes longer to be seen than the contactor was open is tried
// again for as long; a contactor that has welded by then shows.
func TestWeakHeater(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of computing under the race detector; the whole session is raced")
	}
	const share = 1.0 / 6
	onBench(t, weaken(share), func(t *testing.T, r *rig) {
		require.NoError(t, r.commission(t.Context(), answers, false), r.said())
		n := r.record().nudge("left")
		t.Logf("open for %.0f s, heated for %.0f s", n.OpenS, n.HeatedS)
		require.Contains(t, r.words(), "longer than the contactor was open: that is tried again, for as long")
		require.Greater(t, n.HeatedS, openFor.Seconds())
		require.GreaterOrEqual(t, n.OpenS, n.HeatedS)
		require.Less(t, n.HeatedS, slowFor.Seconds())
	})
	onBench(t, weaken(share), func(t *testing.T, r *rig) {
		r.saying["Heating."] = func() { assert.NoError(t, r.Inject(simbench.ContactorWelded, simbench.Place{})) }
		err := r.commission(t.Context(), answers, false)
		require.Contains(t, r.words(), "that is tried again, for as long", "not seen before")
		require.ErrorIs(t, err, errPress)
		require.ErrorContains(t, err, "Heater left is heated with the contactor open")
		require.Nil(t, r.record().nudge("left"))
		t.Log(err)
	})
}

// relays gives every heater a coil with a mechanical relay in place of a register.
func relays(text string) string {
	text = strings.ReplaceAll(text, "output: smooth}", "window: 20 s}")
	for i := range 3 {
		text = strings.Replace(text, fmt.Sprintf("function: 16, address: %d, type: uint16, scale: 0.0001, unit: fraction}", i),
			fmt.Sprintf("function: 15, address: %d, type: bit}", i+1), 1)
	}
	return text
}

// swingS is what a window of 20 s may be ahead by, in seconds of full power.
const swingS = 0.8 + 1

// TestARelayDoesNotChatter: a quarter of the power is full power for a while and none for
// a while, none of them shorter than a second but the last.
func TestARelayDoesNotChatter(t *testing.T) {
	fromNothing(t, relays, func(t *testing.T, r *rig) {
		old := complete(r.file)
		old.Nudges = nil
		r.keep(old)
		on := false
		var spans []time.Duration
		since, done := time.Now(), make(chan struct{})
		go func() {
			for {
				select {
				case <-done:
					return
				case <-time.After(50 * time.Millisecond):
				}
				if now := r.Truth().Pots[0].PowerW > 0; now != on {
					if on {
						spans = append(spans, time.Since(since))
					}
					on, since = now, time.Now()
				}
			}
		}()
		err := r.commission(t.Context(), "", false)
		close(done)
		require.NoError(t, err, r.said())
		t.Log(spans)
		require.GreaterOrEqual(t, len(spans), 3)
		for _, s := range spans[:len(spans)-1] {
			require.GreaterOrEqual(t, s, time.Second)
		}
		given, asked := r.Truth().Pots[0].HeatJ, r.record().nudge("left").EnergyJ
		require.InDelta(t, asked, given, 0.35*asked+1000*swingS, "and no more of it")
	})
}

// TestTooWeakHeater proves nothing, and is bounded.
func TestTooWeakHeater(t *testing.T) {
	onBench(t, weaken(1.0/9), func(t *testing.T, r *rig) {
		err := r.commission(t.Context(), answers, false)
		require.ErrorIs(t, err, ErrIncomplete)
		require.ErrorContains(t, err, "too weak to tell whether it is behind the contactor")
		require.ErrorContains(t, err, "TAKE THE PLATE FOR HOT")
		n := r.record().nudge("left")
		require.Equal(t, Weak, n.Result)
		require.InDelta(t, slowFor.Seconds(), n.HeatedS, 1)
		require.LessOrEqual(t, n.EnergyJ, nudgeMostJ*1.01)
		t.Log(err)
	})
}

// TestWhatIsNoAnswer: a plate that falls, or drifts as it did before, is no reason to heat
// another for longer.
func TestWhatIsNoAnswer(t *testing.T) {
	for _, c := range []struct {
		moved, drifts []float64 // of three plates, the first one's heater on for a minute
		want          bool
	}{
		{[]float64{1, 0, 0}, []float64{0, 0, 0}, true},
		{[]float64{-1, 0, 0}, []float64{0, 0, 0}, true}, // swapped leads
		{[]float64{0.9, 0.9, 0}, []float64{0, 0, 0}, false},
		{[]float64{0, 0, 1}, []float64{0, 0, 0}, true},
		{[]float64{0, -1.5, 0}, []float64{0, 0, 0}, false},
		{[]float64{0, -1.5, 0}, []float64{0, -1.5 / 60, 0}, false},
		{[]float64{0, 1.5, 0}, []float64{0, 1.5 / 60, 0}, false},
		{[]float64{0, 1.5, 0}, []float64{0, 0.4 / 60, 0}, true},
	} {
		require.Equal(t, c.want, answered(0, c.moved, c.drifts, time.Minute), "%+v", c)
	}
}

// TestAHeaterIsHeatedNoLongerThanItsEnergy, whatever its power.
func TestAHeaterIsHeatedNoLongerThanItsEnergy(t *testing.T) {
	for watts, want := range map[float64]time.Duration{300: 2 * time.Minute, 1000: 2 * time.Minute, 1500: 80 * time.Second, 3000: 40 * time.Second} {
		require.InDelta(t, want.Seconds(), mostHeated(nudgeDuty*watts).Seconds(), 1e-6)
	}
}

// TestWeldedContactorIsNeverHidden, however weak the first heater is.
func TestWeldedContactorIsNeverHidden(t *testing.T) {
	for _, share := range []float64{1.0 / 5, 1.0 / 9, 1.0 / 14, 1.0 / 30} {
		onBench(t, weaken(share), func(t *testing.T, r *rig) {
			require.NoError(t, r.Inject(simbench.ContactorWelded, simbench.Place{}))
			err := r.commission(t.Context(), answers, false)
			require.ErrorIs(t, err, errPress)
			require.False(t, r.record().nudge("left").done(), "%.3f of its power: %v", share, err)
			t.Logf("%.3f of its power: %v", share, err)
		})
	}
}
