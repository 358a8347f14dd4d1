package plan

import (
	"encoding/json"
	"time"

	"meltwarden/daemon/frames"
)

// figures is a plan as numbers: times in seconds after the press, null where something
// never comes, temperatures in degrees Celsius and power in watts.
type figures struct {
	Recipe      string          `json:"recipe"`
	Fingerprint string          `json:"recipe_fingerprint"`
	Begin       *time.Time      `json:"begin"`
	ReadyAt     *time.Time      `json:"ready_at"`
	RoomC       float64         `json:"room_c"`
	RoomAssumed bool            `json:"room_assumed"`
	FirstHeats  []string        `json:"first_heats"`
	Ready       *readyFigures   `json:"ready"`
	Circuit     *circuitFigures `json:"circuit"`
	Pots        []potFigures    `json:"pots"`
	Earlier     []runFigures    `json:"earlier_runs"`
}

type readyFigures struct {
	RehearsedS float64 `json:"rehearsed_s"`
	MiddleS    float64 `json:"middle_s"`
	FromS      float64 `json:"from_s"` // to ToS in 8 of 10
	ToS        float64 `json:"to_s"`
	Ratio      float64 `json:"ratio"`
	Runs       int     `json:"runs"`
}

type circuitFigures struct {
	PeakW    float64   `json:"peak_w"`
	BusiestW float64   `json:"busiest_minute_w"`
	MeanW    float64   `json:"mean_w"`
	BreakerW float64   `json:"breaker_w"`
	LongW    float64   `json:"continuous_w"`
	MinuteW  []float64 `json:"minutes_w"`
}

type potFigures struct {
	Pot      string         `json:"pot"`
	Colour   string         `json:"colour"`
	Amounts  []string       `json:"amounts"`
	Known    bool           `json:"known"`
	HeatedS  frames.Figure  `json:"heated_s"`
	CuresS   frames.Figure  `json:"cures_s"`
	DwelledS frames.Figure  `json:"dwelled_s"`
	ReadyS   frames.Figure  `json:"ready_s"`
	Waits    []waitsFigures `json:"waits"`
}

type waitsFigures struct {
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
}

type runFigures struct {
	Earlier
	TookS      float64       `json:"took_s"`
	RehearsedS frames.Figure `json:"rehearsed_s"`
}

// JSONShape is the type that JSON has it as.
func (*Plan) JSONShape() any { return figures{} }

// MarshalJSON implements json.Marshaler.
func (p *Plan) MarshalJSON() ([]byte, error) {
	f := figures{
		Recipe: p.Recipe.Name, Fingerprint: p.Recipe.Fingerprint(), RoomC: p.RoomC, RoomAssumed: p.RoomAssumed,
		FirstHeats: append([]string{}, p.firstHeats()...), Pots: []potFigures{}, Earlier: []runFigures{},
		Begin: when(p.Begin), ReadyAt: when(p.ReadyAt),
	}
	if e := p.Ready; p.foreseen() {
		f.Ready = &readyFigures{e.Foreseen.Seconds(), e.Middle.Seconds(), e.From.Seconds(), e.To.Seconds(), e.Ratio, e.Runs}
		c, rated := p.Course, p.Settings.Circuit
		f.Circuit = &circuitFigures{c.PeakW, c.BusiestW, c.MeanW, rated.MaxW, rated.ContinuousW, c.MinuteW}
	}
	for i := range p.Settings.Pots {
		f.Pots = append(f.Pots, p.potFigures(i))
	}
	for _, e := range p.Earlier {
		f.Earlier = append(f.Earlier, runFigures{e, e.Took.Seconds(), seconds(e.Foreseen, e.Foreseen > 0)})
	}
	return json.Marshal(f)
}

func (p *Plan) potFigures(i int) potFigures {
	set := &p.Settings.Pots[i]
	u := frames.Unknown()
	f := potFigures{Pot: set.Name, Colour: set.Colour, Known: known(set), HeatedS: u, CuresS: u, DwelledS: u, ReadyS: u, Waits: []waitsFigures{}}
	for _, c := range p.Recipe.Colours {
		if c.Pot == set.Name {
			f.Amounts = Amounts(c)
		}
	}
	if !p.foreseen() {
		return f
	}
	c := p.Course.Pots[i]
	at := func(d time.Duration) frames.Figure { return seconds(p.likely(d), d >= 0) }
	f.HeatedS, f.CuresS, f.DwelledS, f.ReadyS = at(c.Heated), at(c.Cures), at(c.Dwelled), at(c.Ready)
	for _, w := range c.Waits {
		f.Waits = append(f.Waits, waitsFigures{p.likely(w.From).Seconds(), p.likely(w.To).Seconds()})
	}
	return f
}

func seconds(d time.Duration, is bool) frames.Figure {
	if !is {
		return frames.Unknown()
	}
	return frames.Figure(d.Seconds())
}

func when(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
