package shot

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
)

var pots = []control.PotSettings{{Name: "left", Colour: "slate"}, {Name: "right", Colour: "rust"}}

// frame is a bench of two pots with these melts, both at 168 ± 2 °C; NaN is a lost
// reading.
func frame(at time.Duration, melts ...float64) *control.Frame {
	f := &control.Frame{Time: at, Mould: reading.Temperature{C: 31, Fault: reading.None}}
	for _, c := range melts {
		p := control.PotFrame{MeltC: c, SetpointC: 168, BandC: 2, State: control.Ready, Cured: true, StirredEver: true,
			SinceStir: 20 * time.Second, SlopeCPerMin: -0.5,
			Melt: reading.Temperature{C: c, Fault: reading.None}, Plate: reading.Temperature{C: 180, Fault: reading.None}}
		if math.IsNaN(c) {
			p.Melt.Fault = reading.Open
		}
		f.Pots = append(f.Pots, p)
	}
	return f
}

func said(kinds ...control.CommandKind) (list []control.Command) {
	for _, k := range kinds {
		list = append(list, control.Command{Kind: k})
	}
	return list
}

// TestACardShowsWhatWasDrawn: a pot as it was at its draw, one without a draw as it
// was at the push.
func TestACardShowsWhatWasDrawn(t *testing.T) {
	tracker := NewTracker(pots)
	assert.Nil(t, tracker.See(frame(0, 168, 168), nil))
	assert.Nil(t, tracker.See(frame(10*time.Minute, 171.5, 168), said(control.Draw)))
	c := tracker.See(frame(10*time.Minute+20*time.Second, 166, 167), said(control.Shot))
	require.NotNil(t, c)
	assert.InDelta(t, 3.5, float64(c.Pots[0].DeviationC), 1e-9)
	assert.InDelta(t, 20, float64(c.Pots[0].DrawToPushS), 1e-9)
	assert.InDelta(t, -1, float64(c.Pots[1].DeviationC), 1e-9)
	assert.False(t, c.Pots[1].DrawToPushS.Known(), "nobody marked its draw")
	assert.InDelta(t, 4.5, float64(c.SpreadC), 1e-9)
	assert.InDelta(t, 20, float64(c.DrawToPushS), 1e-9)
	assert.InDelta(t, 10, float64(c.Pots[0].HeldMin), 1e-9)
	assert.Equal(t, 0, c.Worst())
	assert.True(t, c.Pots[0].OutOfBand())
	assert.False(t, c.Pots[1].OutOfBand())

	c = tracker.See(frame(12*time.Minute, 168, 168), said(control.Shot))
	assert.False(t, c.DrawToPushS.Known(), "the injectors were empty")
}

// TestWhatWasNotRecordedIsUnknown, and stays so through JSON.
func TestWhatWasNotRecordedIsUnknown(t *testing.T) {
	tracker := NewTracker(pots)
	c := tracker.See(frame(time.Minute, math.NaN(), 168), said(control.Shot))
	text, err := json.Marshal(c)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"melt_c":null`)
	var back Card
	require.NoError(t, json.Unmarshal(text, &back))
	assert.False(t, back.Pots[0].MeltC.Known())
	assert.False(t, back.Pots[0].DeviationC.Known())
	assert.False(t, back.Pots[0].OutOfBand(), "nobody knows")
	assert.False(t, back.SpreadC.Known(), "not without every pot")
	assert.False(t, back.RoomC.Known())
	assert.InDelta(t, 31, float64(back.MouldC), 1e-9)
	assert.Equal(t, 1, back.Worst())

	c = tracker.See(&control.Frame{}, said(control.Shot))
	assert.Equal(t, -1, c.Worst(), "a frame without pots")
}

// TestADrawOfLongAgoIsNotPushed.
func TestADrawOfLongAgoIsNotPushed(t *testing.T) {
	tracker := NewTracker(pots)
	tracker.See(frame(time.Minute, 175, 168), said(control.Draw))
	c := tracker.See(frame(time.Minute+control.DrawnFor+time.Second, 168, 168), said(control.Shot))
	assert.InDelta(t, 0, float64(c.Pots[0].DeviationC), 1e-9)
}

func TestVerdictsThatCanNotBe(t *testing.T) {
	colours := []string{"slate", "ivory", "rust"}
	for want, v := range map[string]Verdict{
		`fault "burnt": not known; write one of: clean, bled`: {Fault: "burnt"},
		`colour "teal": not in this run`:                      {Fault: "bled", Colours: []string{"teal"}},
		`colour "rust": named twice`:                          {Fault: "bled", Colours: []string{"rust", "rust"}},
		`more than two`:                                       {Fault: "bled", Colours: colours},
		`cavity: longer than 20 letters`:                      {Fault: "bled", Cavity: "a cavity with a very long name"},
		`day -1: write 0 for at demould`:                      {Fault: "bled", Day: -1},
	} {
		assert.ErrorContains(t, v.Check(colours), want)
	}
	v := Verdict{Fault: "bled", Colours: []string{"slate", "ivory"}, Cavity: "2", Day: 3}
	assert.NoError(t, v.Check(colours))
	assert.Equal(t, "bled: slate and ivory, cavity 2, day 3", v.String())
	assert.Equal(t, "clean", Verdict{Fault: Clean}.String())
}

// TestAStirIsRemembered after an addition as well, after which control wants a new one.
func TestAStirIsRemembered(t *testing.T) {
	tracker := NewTracker(pots)
	tracker.See(frame(time.Minute, 168, 168), said(control.Stir))
	f := frame(90*time.Second, 168, 168)
	f.Pots[0].StirredEver = false
	c := tracker.See(f, said(control.ColourAdded, control.Shot))
	assert.InDelta(t, 30, float64(c.Pots[0].SinceStirS), 1e-9)
	assert.False(t, c.Pots[1].SinceStirS.Known())
}

// TestAnEarlierCardHasNoDose: what it does not say is not recorded, and not zero.
func TestAnEarlierCardHasNoDose(t *testing.T) {
	var p Pot
	require.NoError(t, json.Unmarshal([]byte(`{"name": "left", "melt_c": 168}`), &p))
	assert.InDelta(t, 168, float64(p.MeltC), 1e-9)
	assert.False(t, p.DoseMin.Known())
}

// warmed lets a tracker see both melts at these temperatures for a time, a second a cycle.
func warmed(tracker *Tracker, from, d time.Duration, melts ...float64) time.Duration {
	for range int(d / time.Second) {
		from += time.Second
		f := frame(from, melts...)
		f.Elapsed = time.Second
		tracker.See(f, nil)
	}
	return from
}

// TestACardHasTheHeatDose of each potful until its draw, and none where it is not known.
func TestACardHasTheHeatDose(t *testing.T) {
	tracker := NewTracker(pots)
	tracker.GoOn(150, nil, 0)
	at := warmed(tracker, 0, 10*time.Minute, 177, math.NaN())
	tracker.See(frame(at, 177, math.NaN()), said(control.Draw))
	at = warmed(tracker, at, 2*time.Minute, 177, math.NaN())
	c := tracker.See(frame(at, 177, math.NaN()), said(control.Shot))
	assert.InDelta(t, 10, float64(c.Pots[0].DoseMin), 0.02, "at 177 °C a minute is a minute")
	assert.Equal(t, c.Pots[0].DoseMin, c.Pots[0].RunDoseMin)
	assert.False(t, c.Pots[1].DoseMin.Known(), "its melt was never read")

	heats := tracker.Heats()
	assert.InDelta(t, 12*60, heats[0].CuredS, 2)
	assert.Greater(t, heats[1].UnknownS, 600.0)
	text, err := json.Marshal(heats)
	require.NoError(t, err)
	var back []Heat
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, heats, back)

	// The program was killed, and goes on 20 s later.
	again := NewTracker(pots)
	again.GoOn(150, back, 20*time.Second)
	at = warmed(again, 0, 5*time.Minute, 177, 30)
	c = again.See(frame(at, 177, 30), said(control.Shot))
	assert.InDelta(t, 17, float64(c.Pots[0].DoseMin), 0.05)
	assert.InDelta(t, 22, again.Heats()[0].UnknownS, 1e-9, "nobody watched, nor for the second before each first reading")
}

// TestAHeatThatCanNotBeIsUnknown.
func TestAHeatThatCanNotBeIsUnknown(t *testing.T) {
	for _, text := range []string{`{"from_c": 250, "s": [1,1,1,1,1,1,1,1,1,1,1,1,1]}`, `{"from_c": -1, "s": [1]}`, `{"from_c": 3, "s": [-1]}`, `{"from_c": 3, "s": [1], "unknown_s": null}`} {
		var h Heat
		require.NoError(t, json.Unmarshal([]byte(text), &h))
		assert.False(t, h.DoseMin(150).Known(), text)
	}
}
