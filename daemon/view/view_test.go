package view

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/loop"
	"meltwarden/control/model"
	"meltwarden/control/pour"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

var noon = time.Date(2001, 2, 3, 12, 0, 0, 0, time.UTC)

// bench is an invented bench of three pots.
func bench() control.Settings {
	var s control.Settings
	for i, colour := range []string{"slate", "chalk", ""} {
		s.Pots = append(s.Pots, control.PotSettings{
			Name: fmt.Sprint("place ", i+1), Colour: colour, HeaterW: 1000,
			SetpointC: 168, BandC: 2, CureC: 168, StirWithin: 90 * time.Second,
		})
	}
	return s
}

// waiting3 is a live frame whose pots wait for the given things.
func waiting3(waits ...control.Wait) *frames.Frame {
	f := &frames.Frame{At: noon}
	f.Heat = control.HeatEnabled
	for _, w := range waits {
		f.Pots = append(f.Pots, control.PotFrame{
			State: control.Holding, Wait: w, WaitLeft: -1, MeltC: 168.4,
			Melt:      reading.Temperature{C: 168, Fault: reading.None},
			Plate:     reading.Temperature{C: 204, Fault: reading.None},
			SetpointC: 168, BandC: 2, TargetC: 168, SinceColour: -1,
		})
	}
	return f
}

func TestTheWorstPotIsNamed(t *testing.T) {
	const none = control.WaitNothing
	melt := func(f *frames.Frame, pot int, c float64) { f.Pots[pot].Melt.C, f.Pots[pot].MeltC = c, c }
	cases := map[string]struct {
		frame *frames.Frame
		set   func(f *frames.Frame)
		c, f  string
	}{
		"above its band": {
			waiting3(control.WaitCool, none, none),
			func(f *frames.Frame) { melt(f, 0, 173); f.Pots[0].WaitLeft = time.Minute },
			"Not yet: slate 3 °C above its band, about 60 s", "Not yet: slate 6 °F above its band, about 60 s",
		},
		"hardly below its band": {
			waiting3(none, control.WaitWarm, none),
			func(f *frames.Frame) { melt(f, 1, 165.9) },
			"Not yet: chalk 1 °C below its band", "Not yet: chalk 1 °F below its band",
		},
		"furthest stage": {
			waiting3(control.WaitStir, control.WaitHeat, control.WaitDwell),
			func(f *frames.Frame) { melt(f, 1, 91); f.Pots[1].WaitLeft = 8 * time.Minute },
			"Not yet: chalk 77 °C below its cure temperature, there in about 8 min", "Not yet: chalk 139 °F below its cure temperature, there in about 8 min",
		},
		"all off": {
			waiting3(control.WaitEnable, control.WaitEnable, control.WaitEnable),
			func(f *frames.Frame) {
				f.Heat, f.AllOff, f.SinceAllOff = control.HeatBlocked, true, 3*time.Minute+50*time.Second
			},
			"Not yet: ALL OFF was pressed 3 min ago, heaters told zero", "Not yet: ALL OFF was pressed 3 min ago, heaters told zero",
		},
		"off its plate before what takes time": {
			waiting3(control.WaitNothing, control.WaitReturn, control.WaitHeat),
			func(f *frames.Frame) {
				melt(f, 2, 97)
				f.Pots[2].TargetC, f.ReadyIn, f.Pour = 177, 12*time.Minute, pour.Left{In: 24 * time.Second, Known: true}
			},
			"Not yet: chalk is off its plate", "Not yet: chalk is off its plate",
		},
		"longer of two, without a colour": {
			waiting3(control.WaitSteady, none, control.WaitSteady),
			func(f *frames.Frame) { f.Pots[0].WaitLeft, f.Pots[2].WaitLeft = 12*time.Second, 21*time.Second },
			"Not yet: pot 3 must stay in its band, about 20 s", "Not yet: pot 3 must stay in its band, about 20 s",
		},
		"further outside of two": {
			waiting3(control.WaitCool, control.WaitCool, none),
			func(f *frames.Frame) { melt(f, 0, 172); melt(f, 1, 174) },
			"Not yet: chalk 4 °C above its band", "Not yet: chalk 8 °F above its band",
		},
		"broken probe before all but a trip": {
			waiting3(control.WaitHeat, control.WaitReading, none), nil,
			"Not yet: no good reading from chalk", "Not yet: no good reading from chalk",
		},
		"tripped": {
			waiting3(control.WaitReset, control.WaitReading, none), nil,
			"1 slate tripped, reset at the bench", "1 slate tripped, reset at the bench",
		},
		"tripped, by the pot that the trip is about": {
			waiting3(control.WaitReset, control.WaitReset, control.WaitReset),
			func(f *frames.Frame) {
				f.Conditions = []guard.Condition{{Code: guard.MeltHigh, Severity: guard.Warning}, {Code: guard.FastFall, Pot: 1, Severity: guard.Trip}}
			},
			"2 chalk tripped, reset at the bench", "2 chalk tripped, reset at the bench",
		},
		"tripped, a pot without a colour": {
			waiting3(control.WaitNothing, control.WaitNothing, control.WaitReset), nil,
			"pot 3 tripped, reset at the bench", "pot 3 tripped, reset at the bench",
		},
		"tripped, by the bench": {
			waiting3(control.WaitReset, control.WaitReset, control.WaitReset),
			func(f *frames.Frame) {
				f.Conditions = []guard.Condition{{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip}}
			},
			"Tripped, reset at the bench", "Tripped, reset at the bench",
		},
		"nobody enabled heat": {
			waiting3(control.WaitEnable, control.WaitEnable, control.WaitEnable), nil,
			"Not yet: heat is not enabled; that is done at the bench", "Not yet: heat is not enabled; that is done at the bench",
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			if c.set != nil {
				c.set(c.frame)
			}
			got := Of(c.frame, bench(), noon).Shown.Answer
			assert.Equal(t, Both{c.c, c.f}, got)
		})
	}
}

func TestEveryWaitHasItsWords(t *testing.T) {
	for w := control.WaitEnable; w <= control.WaitReturn; w++ {
		assert.True(t, w == control.WaitReset || texts.lacks[w] != "", w.String())
		assert.NotZero(t, order[w], w.String())
		got := Of(waiting3(w, control.WaitNothing, control.WaitNothing), bench(), noon)
		assert.NotContains(t, got.Shown.Answer.C, "%!", w.String())
	}
	for _, s := range control.PotStates() {
		assert.NotEmpty(t, shapes[s], s.String())
	}
}

func TestShootNowSaysForHowLong(t *testing.T) {
	f := waiting3(0, 0, 0)
	f.Ready = true
	for i := range f.Pots {
		f.Pots[i].State, f.Pots[i].StirredEver = control.Ready, true
		f.Pots[i].SinceStir = []time.Duration{20, 50, 30}[i] * time.Second
	}
	got := Of(f, bench(), noon).Shown
	assert.Equal(t, same("Yes: ready to pour"), got.Answer)
	assert.Equal(t, "about 40 s until chalk wants a stir", got.Detail)
	assert.Equal(t, Shoot, got.Tone)
}

func TestTones(t *testing.T) {
	tone := func(set func(f *frames.Frame)) Tone {
		f := waiting3(control.WaitSteady, control.WaitNothing, control.WaitNothing)
		set(f)
		return Of(f, bench(), noon).Shown.Tone
	}
	find := func(pot int, s guard.Severity) func(*frames.Frame) {
		return func(f *frames.Frame) { f.Conditions = []guard.Condition{{Code: guard.MeltHigh, Pot: pot, Severity: s}} }
	}
	assert.Equal(t, Plain, tone(func(*frames.Frame) {}))
	assert.Equal(t, Plain, tone(func(f *frames.Frame) { f.Pots[1].Wait = control.WaitStir }), "another pot holds up the pour")
	assert.Equal(t, Attend, tone(func(f *frames.Frame) { f.Pots[0].Wait = control.WaitClear }))
	assert.Equal(t, Warn, tone(find(0, guard.Warning)))
	assert.Equal(t, Warn, tone(find(-1, guard.Warning)))
	assert.Equal(t, Danger, tone(find(-1, guard.Trip)))
	assert.Equal(t, Danger, tone(func(f *frames.Frame) { f.Heat = control.HeatTripped }))
	assert.Equal(t, Plain, tone(find(-1, guard.Note)))
}

func TestNothingIsKnownWithoutALiveFrame(t *testing.T) {
	old := waiting3(0, 0, 0)
	old.Ready = true
	for name, b := range map[string]Bench{
		"no frame yet": Of(nil, bench(), noon),
		"old frame":    Of(old, bench(), noon.Add(frames.LiveFor+1)),
	} {
		assert.False(t, b.Live, name)
		assert.False(t, b.Ready, name)
		assert.True(t, b.Hot, name+": what is not known may be hot")
		assert.Equal(t, Lost, b.Shown.Tone, name)
		assert.Contains(t, b.Shown.Answer.C, "NOT LIVE", name)
		require.Len(t, b.Pots, 3, name)
		for _, p := range b.Pots {
			assert.False(t, p.MeltC.Known() || p.PlateC.Known() || p.Duty.Known() || p.Shown.Level.Known(), name)
			assert.Equal(t, "not known", p.State, name)
			assert.Equal(t, Figure(168), p.SetpointC, name+": settings stay")
		}
	}
	assert.Equal(t, "NOT LIVE – last reading 12:00:00", Of(old, bench(), noon.Add(time.Hour)).Shown.Answer.F)
}

func TestUnknownIsNull(t *testing.T) {
	f := waiting3(control.WaitReading, 0, 0)
	f.Pots[0].Melt = reading.Temperature{C: 1370, Fault: reading.Sentinel}
	f.Pots[0].MeltC, f.Pots[0].SlopeCPerMin, f.Pots[0].PlateTargetC = math.NaN(), math.NaN(), math.NaN()
	var got struct {
		MouldC *float64 `json:"mould_c"`
		Pots   []map[string]any
	}
	text, err := json.Marshal(Of(f, bench(), noon))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &got))
	assert.Nil(t, got.MouldC)
	for _, key := range []string{"melt_c", "slope_c_per_min", "plate_target_c", "since_stir_s", "since_colour_s", "wait_left_s"} {
		v, there := got.Pots[0][key]
		assert.True(t, there, key)
		assert.Nil(t, v, key)
	}
	assert.Equal(t, 204.0, got.Pots[0]["plate_c"])
	assert.Equal(t, "no measurement", got.Pots[0]["melt_fault"])
	assert.Equal(t, "no good reading: no measurement", Of(f, bench(), noon).Pots[0].Shown.Off.C)
}

func TestStaleReadingInALiveFrameIsNotShown(t *testing.T) {
	f := waiting3(0, 0, 0)
	f.Pots[0].Melt.Age = guard.MaxAge + time.Millisecond
	p := Of(f, bench(), noon).Pots[0]
	assert.Equal(t, "––", p.Shown.Melt.C)
	assert.Equal(t, "no good reading: too old", p.Shown.Off.C)
}

// The fixed points of the two scales: water freezes at 0 °C = 32 °F and boils at
// 100 °C = 212 °F (definition of the Fahrenheit scale by the Celsius scale; the
// difference of 180 makes a band of 2 °C one of 3.6 °F).
func TestUnits(t *testing.T) {
	assert.Equal(t, "32", fahrenheit.whole(0))
	assert.Equal(t, "212", fahrenheit.whole(100))
	assert.Equal(t, "-40", fahrenheit.whole(-40))
	assert.Equal(t, Both{"set 100 ± 2 °C", "set 212 ± 3.6 °F"}, against(100, 2))
}

// TestLevelGoesFromAColdShopToTheTrip, with where the pot is to get in the middle: its
// cure temperature until it is cured.
func TestLevelGoesFromAColdShopToTheTrip(t *testing.T) {
	p := waiting3(0).Pots[0]
	p.Cured = true
	s := control.PotSettings{CureC: 172}
	for _, c := range []struct{ melt, want float64 }{{168, 0}, {170, .12}, {163, -.3}, {158, -.6}, {89, -.8}, {20, -1}, {2, -1}, {184, .8}, {190, 1}, {300, 1}} {
		p.MeltC = c.melt
		got, band := aimOf(&p, s).level(&p, 190)
		assert.InDelta(t, c.want, float64(got), 1e-9, "%v", c.melt)
		assert.InDelta(t, .12, float64(band), 1e-9)
	}
	p.Cured, p.MeltC = false, 173
	got, band := aimOf(&p, s).level(&p, 190)
	assert.InDelta(t, .06, float64(got), 1e-9)
	assert.Zero(t, band, "a cure temperature has no band")
}

// TestAPotThatIsToCureNamesItsCureTemperature, and none whose cure was taken back.
func TestAPotThatIsToCureNamesItsCureTemperature(t *testing.T) {
	f, s := waiting3(control.WaitDwell, control.WaitHeat, control.WaitNothing), bench()
	for i := range s.Pots {
		s.Pots[i].CureC = 172
	}
	f.Pots[1].Melt.C, f.Pots[1].MeltC = 100, 100
	f.Pots[2].Cured = true
	words := func(i int) PotWords { return Of(f, s, noon).Pots[i].Shown }
	assert.Equal(t, Both{"cure at 172, set 168 ± 2 °C", "cure at 341.6, set 334.4 ± 3.6 °F"}, words(0).Against)
	assert.Equal(t, "72.0 °C below cure", words(1).Off.C)
	assert.Equal(t, "set 168 ± 2 °C", words(2).Against.C)
	assert.Equal(t, "0.4 °C above set-point", words(2).Off.C)
	f.Pots[0].Uncured = true
	assert.Equal(t, "set 168 ± 2 °C", words(0).Against.C)
}

// TestADwellThatStandsStillSaysSo on its tile and in the top line, with how long it takes
// with the way back, as far as that is known.
func TestADwellThatStandsStillSaysSo(t *testing.T) {
	f, s := waiting3(control.WaitDwell, control.WaitNothing, control.WaitNothing), bench()
	p := &f.Pots[0]
	s.Pots[0].CureC, s.Pots[0].Dwell = 172, 90*time.Second
	p.State, p.Dwelled, p.WaitLeft = control.Curing, 20*time.Second, 70*time.Second
	p.Melt.C, p.MeltC = 172.4, 172.4
	told := func() [3]string {
		b := Of(f, s, noon)
		return [3]string{b.Pots[0].Shown.Wait, b.Pots[0].Shown.Left, b.Shown.Answer.C}
	}
	assert.Equal(t, [3]string{"waits for the cure dwell", "about 70 s", "Not yet: slate in its cure dwell, about 70 s"}, told())
	p.DwellStands, p.WaitLeft = true, 3*time.Minute
	p.Melt.C, p.MeltC = 171.2, 171.2
	const wait = "dwell stands still until it is back at cure"
	assert.Equal(t, [3]string{wait, "about 3 min with the way back", "Not yet: slate 1 °C below its cure temperature, its dwell stands still, about 3 min with the way back"}, told())
	p.WaitLeft = -1
	assert.Equal(t, [3]string{wait, "once back about 70 s", "Not yet: slate 1 °C below its cure temperature, its dwell stands still"}, told())
	assert.True(t, Of(f, s, noon).Pots[0].DwellStands)
}

func TestAbout(t *testing.T) {
	for want, d := range map[string]time.Duration{
		"a few seconds": 4 * time.Second, "about 10 s": 12 * time.Second, "about 80 s": 84 * time.Second,
		"about 2 min": 95 * time.Second, "about 1 h 10 min": 70 * time.Minute,
	} {
		assert.Equal(t, want, about(d))
	}
	assert.Equal(t, "1:05", clock(65*time.Second))
}

func TestConditionsCarryTheGuardsOwnWords(t *testing.T) {
	f := waiting3(0, 0, 0)
	f.Conditions = []guard.Condition{
		{Code: guard.PlateOverTemperature, Pot: 1, Severity: guard.Trip, Latched: true},
		{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true},
	}
	got := Of(f, bench(), noon).Conditions
	assert.Equal(t, got[0].Instruction, got[0].Act+" "+got[0].More, "what to do first stands apart")
	got[0].Act, got[0].More = "", ""
	assert.Equal(t, Condition{
		Code: "plate_over_temperature", Pot: 2, Severity: "trip", Latched: true,
		Title: guard.PlateOverTemperature.Title(), Instruction: guard.PlateOverTemperature.Instruction(),
		Where: "chalk", Status: "latched", Stands: "its cause is gone; waits for a reset",
	}, got[0])
	assert.Equal(t, "bench", got[1].Where)
	assert.Equal(t, 0, got[1].Pot)
	assert.Equal(t, "active, latched", got[1].Status)
	assert.Equal(t, "stands, and then waits for a reset", got[1].Stands)
}

// TestAPotThatWaitsForTheButtonIsNamed while the others are heated.
func TestAPotThatWaitsForTheButtonIsNamed(t *testing.T) {
	f := waiting3(control.WaitHeat, control.WaitEnable, control.WaitHeat)
	f.Heat = control.HeatEnabled
	assert.Contains(t, Of(f, bench(), noon).Shown.Answer.C, "chalk waits for another press of the enable button")
	f.Heat = control.HeatBlocked
	assert.Contains(t, Of(f, bench(), noon).Shown.Answer.C, "heat is not enabled")
}

// TestWhatIsPredictedEndsWhereNothingIs, in numbers and in words.
func TestWhatIsPredictedEndsWhereNothingIs(t *testing.T) {
	f := waiting3(control.WaitHeat, control.WaitNothing, control.WaitNothing)
	for i := range f.Pots {
		f.Pots[i].AheadC = model.NothingAhead()
	}
	copy(f.Pots[0].AheadC[:], []float64{100.04, 105.26, 111, 117, 124, 131, 138, 145, 151, 157})
	b := Of(f, bench(), noon)
	assert.Equal(t, []Figure{100, 105.3, 111, 117, 124, 131, 138, 145, 151, 157}, b.Pots[0].AheadC)
	assert.Equal(t, Both{"predicted 124 °C in 5 min, 157 °C in 10 min", "predicted 255 °F in 5 min, 315 °F in 10 min"}, b.Pots[0].Shown.Ahead)
	assert.Equal(t, Both{}, b.Pots[1].Shown.Ahead)
	f.Pots[1].PeakC, f.Pots[1].PeakWithinC = 180, 4
	f.Pots[2].PeakC, f.Pots[2].PeakWithinC = 170, 2.5
	b = Of(f, bench(), noon)
	assert.Equal(t, "with the heat off now it still rises to ≈ 180 °C (176 to 184)", b.Pots[1].Shown.Ahead.C)
	assert.Empty(t, b.Pots[2].Shown.Ahead.C, "hardly at all")
	text, err := json.Marshal(b.Pots[1])
	require.NoError(t, err)
	assert.Contains(t, string(text), `"ahead_c":[],`)
	assert.Empty(t, Of(f, bench(), noon.Add(time.Minute)).Pots[0].AheadC, "of a bench that is not live nothing is predicted")
}

// TestNoTimeIsBelowZero, however far an estimate may be off.
func TestNoTimeIsBelowZero(t *testing.T) {
	s, m := time.Second, time.Minute
	for want, d := range map[string][2]time.Duration{
		"less than 30 s": {10 * s, 20 * s}, "60 ± 20 s": {60 * s, 20 * s}, "less than 8 min": {3 * m, 5 * m}, "12 ± 3 min": {12 * m, 3 * m},
		"less than 20 s": {2 * s, 8 * s},
	} {
		assert.Equal(t, want, giveOrTake(d[0], d[1]))
	}
}

// TestAPotThatIsStillReadySaysSo where it is outside its band, by control's own number.
func TestAPotThatIsStillReadySaysSo(t *testing.T) {
	f := waiting3(control.WaitNothing, control.WaitCool, control.WaitNothing)
	for i := range f.Pots {
		f.Pots[i].Melt.C, f.Pots[i].MeltC = 170.1, 170.1
		f.Pots[i].State, f.Pots[i].Cured = control.Ready, true
	}
	f.Pots[1].State = control.Cooling
	b := Of(f, bench(), noon)
	assert.Equal(t, "2.1 °C above set-point, just outside its band; still ready up to 2.5 °C", b.Pots[0].Shown.Off.C)
	assert.Equal(t, "3.8 °F above set-point, just outside its band; still ready up to 4.5 °F", b.Pots[0].Shown.Off.F)
	assert.Equal(t, "2.1 °C above set-point", b.Pots[1].Shown.Off.C)
}

// TestATrialIsToldAndOffered where the pot is doubted and held, and not once it is done.
func TestATrialIsToldAndOffered(t *testing.T) {
	f := waiting3(control.WaitStir, control.WaitNothing, control.WaitNothing)
	f.Pots[0].Trial = loop.Trial{Swing: 2, Of: 7, LeftS: 360}
	for i := range f.Pots {
		f.Pots[i].State, f.Pots[i].Doubted, f.Pots[i].CanBeTried = control.Holding, true, i > 0
	}
	f.Pots[2].Tuned = true
	b := Of(f, bench(), noon)
	assert.Equal(t, "trial: swing 2 of 7, about 6 min left; waits for a stir", b.Pots[0].Shown.Wait)
	assert.Equal(t, Figure(360), b.Pots[0].TrialLeftS)
	assert.False(t, b.Pots[1].TrialLeftS.Known())
	offer := "; answers otherwise than expected: try it out while nobody pours"
	assert.NotContains(t, b.Pots[0].Shown.More.C, offer)
	assert.Contains(t, b.Pots[1].Shown.More.C, offer)
	assert.Contains(t, b.Pots[2].Shown.More.F, ", tried out")
}

// TestWhenItCanBeReady is told with how far it may be off, and the bench's line names the
// pot that takes longest, whatever the slopes are at the moment.
func TestWhenItCanBeReady(t *testing.T) {
	f := waiting3(control.WaitHeat, control.WaitHeat, control.WaitHeat)
	for i, in := range []time.Duration{1010 * time.Second, 24 * time.Minute, 40 * time.Second} {
		p := &f.Pots[i]
		p.State, p.MeltC = control.Heating, 56
		p.ReadyIn, p.ReadyWithin, p.WaitLeft = in, in/4, time.Duration(3-i)*time.Hour
	}
	f.ReadyIn, f.ReadyWithin = f.Pots[1].ReadyIn, f.Pots[1].ReadyWithin
	b := Of(f, bench(), noon)
	assert.Equal(t, "can be ready in 17 ± 4 min", b.Pots[0].Shown.Way)
	assert.Empty(t, b.Pots[0].Shown.Left, "not two times")
	assert.Equal(t, "can be ready in 40 ± 10 s", b.Pots[2].Shown.Way)
	assert.Equal(t, "Not yet: chalk 112 °C below its cure temperature, all ready in 24 ± 6 min", b.Shown.Answer.C)
}

// TestTheTopLineSaysThatHeatMayBeOn: what the pour waits for is the least of it then.
func TestTheTopLineSaysThatHeatMayBeOn(t *testing.T) {
	f := waiting3(control.WaitRefused, control.WaitRefused, control.WaitRefused)
	f.Conditions = []guard.Condition{{Code: guard.HeaterUnheard, Pot: -1, Severity: guard.Trip, Active: true}}
	assert.Equal(t, "HEAT MAY STILL BE ON.", Of(f, bench(), noon).Shown.Detail)
	f.Conditions[0].Severity = guard.Warning
	assert.Empty(t, Of(f, bench(), noon).Shown.Detail)
}

// TestPhonesAreToldTheProgramsOwnPort, and not the one that it has where nobody says one.
func TestPhonesAreToldTheProgramsOwnPort(t *testing.T) {
	assert.Contains(t, PhonesShut("127.0.0.1:8437"), "--listen 0.0.0.0:8437.")
	assert.NotContains(t, PhonesShut("127.0.0.1:8437"), "8420")
}
