package api

import (
	"encoding/json"
	"io"
	"maps"
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/model"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/trend"
)

// watched is an invented bench of which trend and history know the same: a rise of a
// degree a second from 100 °C, a peak of 190 °C in one cycle at 30 s, and from 40 s on
// another set-point of the second pot.
type watched struct {
	Options
	evening *evening
	queue   chan history.Mark
}

const watchedPeak, watchedStep = 30 * time.Second, 40 * time.Second

func watch(t *testing.T, forTime time.Duration, events map[time.Duration][]history.Event) watched {
	t.Helper()
	store := opened(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	o, queue := options(&frames.Hub{})
	o.History = store
	for at := time.Duration(0); at < forTime; at += 200 * time.Millisecond {
		f := watchedFrame(at)
		in := control.Input{Elapsed: 200 * time.Millisecond}
		for _, p := range f.Pots {
			in.Pots = append(in.Pots, control.PotReadings{Melt: p.Melt, Plate: p.Plate})
		}
		e.run.PutAll(history.Kept{Record: cycles.Keep(e.began.Add(at), &in, &f.Frame), Events: events[at]})
		o.Trend.Add(f)
	}
	return watched{o, e, queue}
}

func watchedFrame(at time.Duration) *frames.Frame {
	f := holding()
	f.Cycle, f.Time = uint64(at/(200*time.Millisecond))+1, at
	for i := range f.Pots {
		p := &f.Pots[i]
		p.AheadC, p.MeltC = model.NothingAhead(), min(100+at.Seconds(), p.SetpointC)
		if at == watchedPeak {
			p.MeltC = 190
		}
		p.Melt = good(p.MeltC)
	}
	if at >= watchedStep {
		f.Pots[1].SetpointC, f.Pots[1].BandC = 174, 1
	}
	return f
}

// kept waits until so many events are on disk.
func (w watched) kept(t *testing.T, n int) {
	t.Helper()
	require.Eventually(t, func() bool {
		h, err := w.History.LiveEvents(0, 1000)
		return err == nil && len(h.Events) >= n
	}, time.Minute, time.Millisecond)
}

func fetched[T any](t *testing.T, h http.Handler, target string) (out T) {
	t.Helper()
	a := do(h, request("GET", target))
	require.Equal(t, http.StatusOK, a.StatusCode, target)
	require.NoError(t, json.NewDecoder(a.Body).Decode(&out))
	return out
}

// TestAStretchOfTheTrendIsAsFineAsHistory, to the cycle that a peak was in; without
// history it is as fine as the trend.
func TestAStretchOfTheTrendIsAsFineAsHistory(t *testing.T) {
	w := watch(t, time.Minute, map[time.Duration][]history.Event{time.Minute - 200*time.Millisecond: {{Kind: history.Stirred}}})
	w.kept(t, 1)
	h := New(w.Options)
	fine := fetched[trend.Table](t, h, "/api/v1/trend?rows=200&from=25&to=45")
	assert.Equal(t, .2, fine.SlotS)
	require.Len(t, fine.TimeS, 100)
	p := fine.Pots[1]
	assert.Equal(t, 25.0, fine.TimeS[0])
	assert.Equal(t, []frames.Figure{129.8, 190, 130.2}, p.MeltMaxC[24:27], "the peak in its own cycle")
	assert.Equal(t, frames.Figure(171), p.SetpointC[74])
	assert.Equal(t, frames.Figure(174), p.SetpointC[75], "what was asked for then")
	assert.Equal(t, []frames.Figure{2, 1}, []frames.Figure{p.BandC[74], p.BandC[75]})
	assert.Equal(t, frames.Figure(205), p.PlateMaxC[0])
	assert.Equal(t, frames.Figure(.28), p.Duty[0])

	coarser := fetched[trend.Table](t, h, "/api/v1/trend?rows=10&from=25&to=45")
	assert.Equal(t, 4.0, coarser.SlotS)
	assert.Contains(t, coarser.Pots[1].MeltMaxC, frames.Figure(190))
	toTheEnd := fetched[trend.Table](t, h, "/api/v1/trend?from=50").TimeS
	assert.Equal(t, []float64{50, 59.8}, []float64{toTheEnd[0], toTheEnd[len(toTheEnd)-1]})

	w.evening.end() // nothing is being recorded any more
	memory := fetched[trend.Table](t, h, "/api/v1/trend?rows=200&from=25&to=45")
	assert.Equal(t, 2.0, memory.SlotS)
	assert.Equal(t, []float64{24, 26}, memory.TimeS[:2])
}

// TestTheTrendRefusesWhatItCanNotGive, and names what was typed.
func TestTheTrendRefusesWhatItCanNotGive(t *testing.T) {
	h, _ := published(holding())
	for target, names := range map[string]string{
		"/api/v1/trend?rows=7201":         `rows "7201"`,
		"/api/v1/trend?rows=ten":          `rows "ten"`,
		"/api/v1/trend?from=soon":         `from "soon"`,
		"/api/v1/trend?from=9&to=-1":      `to "-1"`,
		"/api/v1/trend?from=9&to=9":       `to "9"`,
		"/api/v1/trend/events?after=last": `after "last"`,
	} {
		a := do(h, request("GET", target))
		var p Problem
		require.NoError(t, json.NewDecoder(a.Body).Decode(&p))
		assert.Equal(t, http.StatusBadRequest, a.StatusCode, target)
		assert.Contains(t, p.Detail, names)
	}
	a := do(h, request("GET", "/api/v1/trend?from=1&to=2", "Sec-Fetch-Site: cross-site"))
	requireProblem(t, a, http.StatusForbidden)
}

// TestTheTrendTellsWhatHappened, in both units, and the next time only what is new.
func TestTheTrendTellsWhatHappened(t *testing.T) {
	w := watch(t, 12*time.Second, map[time.Duration][]history.Event{
		0:               {{Kind: history.HeatEnabled, Pot: history.WholeBench}},
		time.Second:     {{Kind: history.Stirred, Pot: 0}, {Kind: history.Addition, Pot: 1, Text: "black", Amount: "3 mL"}},
		2 * time.Second: {{Kind: history.NewSetpoint, Pot: 2, Amount: "100 C", C: 100}},
		3 * time.Second: {{Kind: history.ShotPushed, Pot: history.WholeBench, Text: "eel"}, {Kind: history.Alarm, Pot: 1, Text: "Melt too hot"}},
		4 * time.Second: {{Kind: history.Drawn, Pot: 0}, {Kind: history.AlarmOver, Pot: 1, Text: "Melt too hot"}, {Kind: history.ReadyToPour, Pot: history.WholeBench}},
		5 * time.Second: {{Kind: history.TakenBack, Pot: 0, Text: "stirred"}},
	})
	w.kept(t, 9)
	h := New(w.Options)
	got := fetched[trendHappened](t, h, "/api/v1/trend/events")
	var shapes, words []string
	for _, e := range got.Events {
		shapes, words = append(shapes, e.Shape), append(words, e.Shown.C)
	}
	assert.Equal(t, []string{"press", "ring", "diamond", "step", "shot", "alarm", "cup", "bar", "bar"}, shapes)
	assert.Equal(t, []string{"heat enabled by a press of the button", "stirred", "addition, black, 3 mL", "set-point, 100.0 °C",
		"shot 1, mould: eel", "alarm, Melt too hot", "drawn", "ready to pour", "taken back, stirred"}, words)
	assert.Equal(t, []string{"", "stirred"}, []string{got.Events[7].TakesBack, got.Events[8].TakesBack})
	assert.Equal(t, "set-point, 212.0 °F", got.Events[3].Shown.F, "water boils at 100 °C = 212 °F")
	assert.Equal(t, trendEvent{AtS: 3, Kind: history.ShotPushed, Shape: "shot", Number: 1, Shown: got.Events[4].Shown}, got.Events[4])
	assert.Equal(t, 3, got.Events[3].Pot)
	assert.NotZero(t, got.Run)

	again := fetched[trendHappened](t, h, "/api/v1/trend/events?after=999999")
	assert.Empty(t, again.Events)
	assert.EqualValues(t, 999999, again.Last)
	w.evening.end()
	assert.Equal(t, trendHappened{Events: []trendEvent{}}, fetched[trendHappened](t, h, "/api/v1/trend/events"))
}

// TestEveryShapeIsInTheKey, drawn and in words.
func TestEveryShapeIsInTheKey(t *testing.T) {
	h, _ := published(holding())
	page, err := io.ReadAll(do(h, request("GET", "/")).Body)
	require.NoError(t, err)
	for _, shape := range append(slices.Collect(maps.Values(shapes)), anyShape) {
		assert.Regexp(t, `<path data-mark="`+shape+`"[^>]* d="M[^"]+"/></svg>[a-z]`, string(page))
	}
}
