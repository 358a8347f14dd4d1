package daemon

import (
	"errors"
	"slices"
	"sync"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/plan"
)

// Planner makes plans for a bench, from what its history has of earlier runs. It is safe
// for use by several goroutines: it makes one plan at a time, so that no more than one
// processor is busy with what nobody's heat rests on.
type Planner struct {
	bench   *config.Bench
	store   *history.Store // nil has no past
	version string

	mu        sync.Mutex
	rehearser plan.Rehearser
}

// NewPlanner returns one. The store may be nil.
func NewPlanner(b *config.Bench, s *history.Store, version string) *Planner {
	return &Planner{bench: b, store: s, version: version}
}

// usualRoomC is a room of which nothing is known, in degrees Celsius (E).
const usualRoomC = 21.0

// Plan makes the plan of an evening. What it is given of a room is NaN where nobody knows
// it. Its error is the recipe's, where that does not fit the bench, or history's.
func (p *Planner) Plan(r *config.Recipe, w plan.Wanted) (*plan.Plan, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	set, err := config.Settings(p.bench, r)
	if err != nil {
		return nil, err
	}
	g := plan.Given{Bench: p.bench, Recipe: r, Wanted: w}
	var past []plan.Past
	if p.store != nil {
		recalled, err := Recall(p.store, p.bench, set, StartOf(p.bench, r, p.version))
		if err != nil {
			return nil, err
		}
		set, g.Recalled = withRecalled(set, recalled), words(recalled)
		if past, err = p.past(set); err != nil {
			return nil, err
		}
	}
	g.Settings = set
	p.rehearse(&g, past)
	return plan.Of(g), nil
}

// rehearse fills in what the pots are foreseen to do, tonight and in earlier runs.
func (p *Planner) rehearse(g *plan.Given, past []plan.Past) {
	g.AssumeRoom(usualRoomC)
	if !plan.CanRehearse(g.Settings) {
		g.Earlier = plan.Unforeseen(past)
		return
	}
	course := p.rehearser.Rehearse(g.Settings, g.RoomC)
	g.Course = &course
	g.Earlier = plan.Hindsight(past, g.Settings, g.RoomC, p.rehearser.Rehearse)
}

// mostLookedAt is how many runs are looked at for those that count (E).
const mostLookedAt = 30

// past is what earlier runs with these pots took, the newest first.
func (p *Planner) past(set control.Settings) ([]plan.Past, error) {
	var digests []string
	for _, pot := range set.Pots {
		digests = append(digests, potDigest(p.bench, pot.Name))
	}
	runs, err := p.store.RunsOn(redacted(p.bench), digests)
	if err != nil {
		return nil, err
	}
	var past []plan.Past
	for _, run := range runs[:min(len(runs), mostLookedAt)] {
		one, counts, err := p.one(run, set)
		if err != nil {
			return nil, err
		}
		if counts {
			past = append(past, one)
		}
		if len(past) == plan.MostEarlier {
			break
		}
	}
	return past, nil
}

// one is an earlier run, and whether it tells anything: with the same pots and plates'
// limits, begun cold, and ready without a stop.
func (p *Planner) one(run int64, now control.Settings) (plan.Past, bool, error) {
	past := plan.Past{Run: run}
	var err error
	if past.Settings, err = p.store.Settings(run); err != nil || !samePots(past.Settings, now) {
		return past, false, err
	}
	events, err := p.store.Events(run)
	if err != nil {
		return past, false, err
	}
	took, began, straight := straightToReady(events)
	if !straight {
		return past, false, nil
	}
	past.Took, past.Began = took, began
	var cold bool
	past.RoomC, cold, err = p.coldRoom(run)
	return past, cold, err
}

func samePots(a, b control.Settings) bool {
	return slices.EqualFunc(a.Pots, b.Pots, func(x, y control.PotSettings) bool {
		return x.Name == y.Name && x.HeaterW == y.HeaterW && x.Output == y.Output && x.PlateLimitC == y.PlateLimitC && x.Probes == y.Probes
	})
}

// upsets are what makes a run another than the one that was planned.
var upsets = []history.Kind{
	history.HeatBlocked, history.HeatTripped, history.AllOff, history.Lifted, history.Drawn,
	history.NewSetpoint, history.CameCured, history.TriedOut, history.GoesOn,
}

// straightToReady is how long it took from the first time that heat was enabled until all
// pots were ready for the first time, and whether nothing came between.
func straightToReady(events []history.Event) (took time.Duration, began time.Time, straight bool) {
	enabled := -1
	for i, e := range events {
		switch {
		case e.Kind == history.HeatEnabled && enabled < 0:
			enabled = i
		case e.Kind == history.ReadyToPour && enabled >= 0:
			return e.At - events[enabled].At, events[enabled].Wall, true
		case enabled >= 0 && !e.TakenBack && slices.Contains(upsets, e.Kind):
			return 0, began, false
		}
	}
	return 0, began, false
}

// coldC is what a cold bench is colder than, in degrees Celsius (E).
const coldC = 40.0

// errEnough ends the reading of a run.
var errEnough = errors.New("enough has been read")

// coldRoom is the room at the beginning of a run, by its own probe or else by the plates,
// and whether the bench was cold.
func (p *Planner) coldRoom(run int64) (roomC float64, cold bool, err error) {
	err = p.store.Between(run, 0, time.Millisecond, func(_ history.Part, r *cycles.Record) error {
		roomC, cold = coldIn(&r.Input)
		if cold {
			return errEnough
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return roomC, cold, err
}

// coldIn reports whether every probe shows a cold pot; of readings that are no good it
// does not.
func coldIn(in *control.Input) (roomC float64, cold bool) {
	sum, n := 0.0, 0.0
	for _, pot := range in.Pots {
		for _, t := range []reading.Temperature{pot.Melt, pot.Plate} {
			if !t.Wired() {
				continue
			}
			if !t.Usable(time.Second) || t.C > coldC {
				return 0, false
			}
			sum, n = sum+t.C, n+1
		}
	}
	if in.Room.Usable(time.Second) {
		return in.Room.C, true
	}
	return sum / n, n > 0
}
