package api

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"meltwarden/control"
	"meltwarden/control/model"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/trend"
)

// rowsUnlessAsked is enough for a screen; "?rows=" asks for another number.
const rowsUnlessAsked = 900

// trendAsked is what is wanted of the trend: a to of zero is its end.
type trendAsked struct {
	rows      int
	isStretch bool
	from, to  time.Duration // bench time
}

// trend answers with the session's temperatures in at most "rows" rows; with "from" and
// "to", in seconds of bench time, with those of a stretch, as fine as history has them.
func (s *server) trend(w http.ResponseWriter, r *http.Request) {
	asked, err := trendAskedOf(r.URL.Query())
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	if !asked.isStretch {
		writeJSON(w, http.StatusOK, s.Trend.Table(asked.rows))
		return
	}
	if fromElsewhere(w, r) {
		return
	}
	if asked.to == 0 {
		asked.to = s.Trend.End()
	}
	if table, ok := s.finer(w, r, asked); ok {
		writeJSON(w, http.StatusOK, table)
		return
	}
	writeJSON(w, http.StatusOK, s.Trend.Between(asked.from, asked.to, asked.rows))
}

func trendAskedOf(q url.Values) (trendAsked, error) {
	a := trendAsked{rows: rowsUnlessAsked, isStretch: q.Has("from") || q.Has("to")}
	if typed := q.Get("rows"); typed != "" {
		n, err := strconv.Atoi(typed)
		if err != nil || n < 1 || n > trend.MostRows {
			return a, wrong("rows", typed, fmt.Sprintf("write a whole number from 1 to %d", trend.MostRows))
		}
		a.rows = n
	}
	style, err := styleOf(url.Values{"from": q["from"], "to": q["to"]})
	if err != nil {
		return a, err
	}
	if a.from, a.to = style.From, style.To; a.to > 0 && a.to <= a.from {
		return a, wrong("to", q.Get("to"), fmt.Sprintf("write seconds of bench time after from %q", q.Get("from")))
	}
	return a, nil
}

// finer reads a stretch from history. It is not ok where the trend is as fine, nothing is
// recorded, or history can not be read now: then the trend has to do.
func (s *server) finer(w http.ResponseWriter, r *http.Request, asked trendAsked) (trend.Table, bool) {
	if s.History == nil || s.History.Live() == 0 {
		return trend.Table{}, false
	}
	stretch := s.Trend.Finer(asked.from, asked.to, asked.rows, s.Settings.Period)
	if stretch == nil {
		return trend.Table{}, false
	}
	done, ok := s.turn(w, r, drawnWithin)
	if !ok {
		return trend.Table{}, false
	}
	defer done()
	err := s.History.LiveBetween(asked.from, asked.to, func(c *cycles.Record) error {
		stretch.Add(frameOf(c, s.Settings.Pots))
		return r.Context().Err()
	})
	return stretch.Table(), err == nil
}

// frameOf is as much of a frame as history keeps and the trend shows.
func frameOf(c *cycles.Record, pots []control.PotSettings) *frames.Frame {
	f := &frames.Frame{Frame: control.Frame{Time: c.Kept.Time, Pots: make([]control.PotFrame, min(len(c.Kept.Pots), len(pots)))}}
	for i := range f.Pots {
		in, kept, p := &c.Input.Pots[i], &c.Kept.Pots[i], &f.Pots[i]
		p.Melt, p.Plate, p.MeltC, p.TargetC, p.Duty = in.Melt, in.Plate, kept.MeltC, kept.TargetC, kept.Duty
		p.AheadC = model.NothingAhead()
		if !pots[i].Probes.HasMelt() {
			p.MeltEstimate = kept.Estimate // of a pot with a melt probe it is the plate's
		}
	}
	return f
}

// trendHappened is what happened in the run since the program was started, in the trend's
// own time.
type trendHappened struct {
	Run int64 `json:"run"` // zero: nothing is recorded
	// Part is the start of the program that the times count from; another one begins anew.
	Part int64 `json:"part"`
	// Last is what to ask for the next time, as "after".
	Last int64 `json:"last"`
	// LeftOut is how many older ones there are besides.
	LeftOut int          `json:"left_out"`
	Events  []trendEvent `json:"events"`
}

// mostEvents is how many events are given at once, the newest: an evening of eight hours
// with three stirs a minute has fewer.
const mostEvents = 2000

// trendEvents answers with what happened, after the number given as "after".
func (s *server) trendEvents(w http.ResponseWriter, r *http.Request) {
	after := int64(0)
	if typed := r.URL.Query().Get("after"); typed != "" {
		n, err := strconv.ParseInt(typed, 10, 64)
		if err != nil || n < 0 {
			refuseFor(w, wrongField, wrong("after", typed, "write the number that came as last"))
			return
		}
		after = n
	}
	out := trendHappened{Last: after, Events: []trendEvent{}}
	if s.History != nil && s.History.Live() != 0 {
		happened, err := s.History.LiveEvents(after, mostEvents)
		if err != nil {
			pastProblem(w, err)
			return
		}
		out.add(happened)
	}
	writeJSON(w, http.StatusOK, out)
}

func (t *trendHappened) add(happened history.Happened) {
	t.Run, t.Part, t.LeftOut, t.Last = happened.Run, happened.Part, happened.LeftOut, max(t.Last, happened.Last)
	for _, e := range happened.Events {
		t.Events = append(t.Events, trendEventOf(e))
	}
}

func trendOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET /api/v1/trend", Group: groupWatch, Does: "The session's temperatures so far, in columns",
			More: "Neighbouring rows are merged until they fit; the lowest and the highest stay, so no peak is lost. With from or to it is a stretch, as fine as history has it.",
			In: []describe.Field{
				{Name: "rows", Says: "the most rows to answer with; 900 unless it is said", Is: describe.Whole, Least: 1, Most: trend.MostRows, Example: "300"},
				{Name: "from", Says: "where a stretch begins, in seconds of bench time", Is: describe.Number, Example: "600"},
				{Name: "to", Says: "where it ends, likewise; the trend's end unless it is said", Is: describe.Number, Example: "900"},
			},
			Answers:  []describe.Answer{{Status: 200, Body: trend.Table{}, Says: "The trend"}},
			Problems: []*describe.Kind{wrongField, otherSite},
		},
		{
			Route: "GET /api/v1/trend/events", Group: groupWatch, Does: "What happened since the program was started, in the trend's own time",
			More:     fmt.Sprintf("At most the newest %d, in order. Empty where nothing is recorded.", mostEvents),
			In:       []describe.Field{{Name: "after", Says: "the number that came as last the time before; only what is new since is answered", Is: describe.Whole, Example: "0"}},
			Answers:  []describe.Answer{{Status: 200, Body: trendHappened{}, Says: "What happened"}},
			Problems: []*describe.Kind{wrongField, notReadable},
		},
	}
}
