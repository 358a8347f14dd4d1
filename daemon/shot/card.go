// Package shot knows what was so when three colours were pushed into a mould: the
// card that is frozen with each shot, and the words for what became of the bait.
package shot

import (
	"encoding/json"
	"math"
	"time"

	"meltwarden/control"
	"meltwarden/control/dose"
	"meltwarden/daemon/frames"
)

// Card is what was so when a shot was pushed. What was not recorded is unknown,
// never zero.
type Card struct {
	Pots []Pot `json:"pots"`
	// SpreadC is the largest deviation of a pot from its own target less the
	// smallest: unlike colours run into each other.
	SpreadC frames.Figure `json:"spread_c"`
	// DrawToPushS is the time from the first draw to the push.
	DrawToPushS frames.Figure `json:"draw_to_push_s"`
	MouldC      frames.Figure `json:"mould_c"`
	RoomC       frames.Figure `json:"room_c"`
	// Lids are those that the bench has, as they were at the push; left out where it has none.
	Lids []Lid `json:"lids,omitempty"`
}

// Lid is how a lid was.
type Lid struct {
	Pot   int      `json:"pot"` // from 1; zero is one over the bench
	State LidState `json:"state"`
}

// LidState says whether a lid is on: "open", "closed" or "not read".
type LidState string

// The states of a lid.
const (
	LidOpen    LidState = "open"
	LidClosed  LidState = "closed"
	LidNotRead LidState = "not read"
)

// Pot is one pot of a card, at its draw where that was marked, at the push
// otherwise. Temperatures are in degrees Celsius.
type Pot struct {
	Name   string `json:"name"`
	Colour string `json:"colour"`
	State  string `json:"state"`
	// TargetC is the pot's own injection temperature, BandC how far from it, either
	// way, was still right.
	MeltC        frames.Figure `json:"melt_c"`
	TargetC      frames.Figure `json:"target_c"`
	BandC        frames.Figure `json:"band_c"`
	DeviationC   frames.Figure `json:"deviation_c"`
	SlopeCPerMin frames.Figure `json:"slope_c_per_min"`
	PlateC       frames.Figure `json:"plate_c"`
	// HeldMin is how long the melt had been cured; SinceStirS how long ago it was
	// stirred. Both are from the start of the program: before it nobody watched.
	HeldMin    frames.Figure `json:"held_min"`
	SinceStirS frames.Figure `json:"since_stir_s"`
	// DrawToPushS is the time from this pot's draw to the push.
	DrawToPushS frames.Figure `json:"draw_to_push_s"`
	// DoseMin is the heat that the potful has had, in minutes at 177 °C that would have
	// aged it as much, earlier heats of the same batch included, and RunDoseMin what it has
	// had of it in this run. A tracker knows of no other run: history adds the earlier
	// heats, by the batch that the maker says it is.
	DoseMin    frames.Figure `json:"dose_min"`
	RunDoseMin frames.Figure `json:"run_dose_min"`
}

// UnmarshalJSON implements json.Unmarshaler: what a card of an earlier program does not
// have is not known.
func (p *Pot) UnmarshalJSON(text []byte) error {
	type plain Pot
	known := plain{DoseMin: frames.Unknown(), RunDoseMin: frames.Unknown()}
	err := json.Unmarshal(text, &known)
	*p = Pot(known)
	return err
}

// OutOfBand reports whether the pot is known to have been outside its band.
func (p Pot) OutOfBand() bool { return math.Abs(float64(p.DeviationC)) > float64(p.BandC) }

// StillReady reports whether the pot was outside its band and ready all the same, as one
// that has been in it may be.
func (p Pot) StillReady() bool {
	return p.OutOfBand() && p.State == control.Ready.String() && math.Abs(float64(p.DeviationC)) <= control.StillReadyC(float64(p.BandC))
}

// Worst is the index of the pot furthest from its own target, or -1 when no
// deviation is known.
func (c Card) Worst() int {
	worst, most := -1, -1.0
	for i, p := range c.Pots {
		if off := math.Abs(float64(p.DeviationC)); p.DeviationC.Known() && off > most {
			worst, most = i, off
		}
	}
	return worst
}

// Tracker follows a run from frame to frame and makes the card of each shot.
type Tracker struct {
	set  []control.PotSettings
	pots []tracked
	kJ   float64 // activation energy of the heat dose
}

// tracked is what is remembered of one pot.
type tracked struct {
	cured   bool
	curedAt time.Duration // bench time
	stirred bool
	stirAt  time.Duration // of the last stir; control forgets one after an addition
	drawn   *Pot
	drawnAt time.Duration
	before  before
	heat    Heat
}

// before is what was so before the last stir and the last draw, which may be taken back.
type before struct {
	stirred         bool
	stirAt, drawnAt time.Duration
	drawn           *Pot
}

// takeBack undoes the last mark of a kind.
func (p *tracked) takeBack(k control.CommandKind) {
	switch k {
	case control.Stir:
		p.stirred, p.stirAt = p.before.stirred, p.before.stirAt
	case control.Draw:
		p.drawn, p.drawnAt = p.before.drawn, p.before.drawnAt
	}
}

// NewTracker returns a tracker of the pots of a run.
func NewTracker(pots []control.PotSettings) *Tracker {
	return &Tracker{set: pots, pots: make([]tracked, len(pots)), kJ: dose.DefaultKJ}
}

// GoOn reckons heat doses with an activation energy in kJ/mol, and takes up the heats that
// the pots have had before in the same run, whose melts nobody has watched for a time; nil
// is none. It comes before the first cycle.
func (t *Tracker) GoOn(kJ float64, before []Heat, unwatched time.Duration) {
	t.kJ = kJ
	for i := range min(len(t.pots), len(before)) {
		t.pots[i].heat = before[i]
		t.pots[i].heat.Unwatched(unwatched)
	}
}

// Heats are what the potfuls have had in this run so far, as they can be kept.
func (t *Tracker) Heats() []Heat {
	var all []Heat
	for i := range t.pots {
		all = append(all, t.pots[i].heat.settled())
	}
	return all
}

// See takes in one cycle and what people marked in it. It returns the card of a
// shot, or nil when none was pushed.
func (t *Tracker) See(f *control.Frame, marks []control.Command) *Card {
	for i := range min(len(t.pots), len(f.Pots)) {
		p := &t.pots[i]
		if f.Pots[i].Cured != p.cured { // it may be taken back
			p.cured, p.curedAt = f.Pots[i].Cured, f.Time
		}
		p.heat.See(frames.Measured(f.Pots[i].Melt), f.Pots[i].State, f.Elapsed)
	}
	pushed := false
	for _, m := range marks {
		switch {
		case m.Kind == control.Shot:
			pushed = true
		case m.Kind == control.Stir && m.Pot >= 0 && m.Pot < len(t.pots):
			p := &t.pots[m.Pot]
			p.before.stirred, p.before.stirAt = p.stirred, p.stirAt
			p.stirred, p.stirAt = true, f.Time
		case m.Kind == control.Draw && m.Pot >= 0 && m.Pot < len(t.pots):
			now, p := t.pot(f, m.Pot), &t.pots[m.Pot]
			p.before.drawn, p.before.drawnAt = p.drawn, p.drawnAt
			p.drawn, p.drawnAt = &now, f.Time
		case m.Kind == control.TakeBack && m.Pot < len(t.pots) && f.TookBack(m.Pot, m.Mark):
			t.pots[m.Pot].takeBack(m.Mark)
		}
	}
	if !pushed {
		return nil
	}
	return t.card(f)
}

// card makes the card and empties the injectors.
func (t *Tracker) card(f *control.Frame) *Card {
	c := &Card{MouldC: frames.Measured(f.Mould), RoomC: frames.Measured(f.Room), DrawToPushS: frames.Unknown()}
	for i := range t.pots {
		p := &t.pots[i]
		shown := t.pot(f, i)
		if p.drawn != nil && f.Time-p.drawnAt <= control.DrawnFor {
			shown = *p.drawn
			shown.DrawToPushS = frames.Figure((f.Time - p.drawnAt).Seconds())
			if !(shown.DrawToPushS <= c.DrawToPushS) {
				c.DrawToPushS = shown.DrawToPushS
			}
		}
		p.drawn = nil
		c.Pots = append(c.Pots, shown)
	}
	c.SpreadC = spread(c.Pots)
	return c
}

// spread is unknown unless every pot's deviation is known.
func spread(pots []Pot) frames.Figure {
	least, most := math.Inf(1), math.Inf(-1)
	for _, p := range pots {
		if !p.DeviationC.Known() {
			return frames.Unknown()
		}
		least, most = math.Min(least, float64(p.DeviationC)), math.Max(most, float64(p.DeviationC))
	}
	return frames.Figure(most - least)
}

// pot is pot i as the frame shows it.
func (t *Tracker) pot(f *control.Frame, i int) Pot {
	p := Pot{
		Name: t.set[i].Name, Colour: t.set[i].Colour,
		MeltC: frames.Unknown(), TargetC: frames.Unknown(), BandC: frames.Unknown(), DeviationC: frames.Unknown(),
		SlopeCPerMin: frames.Unknown(), PlateC: frames.Unknown(),
		HeldMin: frames.Unknown(), SinceStirS: frames.Unknown(), DrawToPushS: frames.Unknown(),
		DoseMin: frames.Unknown(), RunDoseMin: frames.Unknown(),
	}
	if i >= len(f.Pots) {
		return p
	}
	now := &f.Pots[i]
	p.State = now.State.String()
	p.TargetC, p.BandC = frames.Figure(now.SetpointC), frames.Figure(now.BandC)
	p.PlateC = frames.Measured(now.Plate)
	if p.MeltC = frames.Melt(now); p.MeltC.Known() {
		p.DeviationC = p.MeltC - p.TargetC
		p.SlopeCPerMin = frames.Figure(now.SlopeCPerMin)
	}
	p.RunDoseMin = t.pots[i].heat.DoseMin(t.kJ)
	p.DoseMin = p.RunDoseMin
	if t.pots[i].cured {
		p.HeldMin = frames.Figure((f.Time - t.pots[i].curedAt).Minutes())
	}
	if t.pots[i].stirred {
		p.SinceStirS = frames.Figure((f.Time - t.pots[i].stirAt).Seconds())
	}
	return p
}
