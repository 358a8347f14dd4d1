package review

import (
	"errors"
	"fmt"
	"math"
	"time"

	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/plot"
)

// kinds are the shapes of events on a plot; one without a shape here has its own
// name.
var kinds = map[history.Kind]string{
	history.Stirred: plot.KindStirred, history.Clear: plot.KindClear, history.Addition: plot.KindColour,
	history.ShotPushed: plot.KindShot, history.HeatTripped: plot.KindTrip,
}

// Plot is a run as it is drawn: every pot's melt, plate and duty with its
// set-point and band, and what happened, from one time of the run to another; a to
// of zero is its end.
func Plot(s *history.Store, run int64, from, to time.Duration) (plot.Run, error) {
	r, err := Of(s, run)
	if err != nil {
		return plot.Run{}, err
	}
	out := plot.Run{Title: r.Heading(), Subtitle: r.Subheading()}
	for _, p := range r.Settings.Pots {
		out.Pots = append(out.Pots, plot.Pot{Name: p.Name, Colour: p.Colour, SetpointC: p.SetpointC, BandC: p.BandC})
	}
	thin := newThinner(&out, r.Run.Cycles, r.Run.TookS, from, to)
	err = s.Between(run, from, to, func(part history.Part, c *cycles.Record) error {
		thin.add(part.Offset+c.Kept.Time, c)
		return nil
	})
	thin.flush()
	r.addEvents(&out)
	if errors.Is(err, cycles.ErrDamaged) {
		out.Subtitle += " · damaged: what comes after is missing"
		err = nil
	}
	return out, err
}

func (r Review) addEvents(run *plot.Run) {
	number := 0
	for _, e := range r.Events {
		kind, known := kinds[e.Kind]
		switch {
		case e.Kind == history.AlarmOver || e.Kind == history.TakenBack || e.TakenBack || isTick(e) || e.Pot >= len(run.Pots):
			continue
		case !known:
			kind = string(e.Kind)
		}
		if e.Kind == history.NewSetpoint && e.Pot >= 0 {
			p := &run.Pots[e.Pot]
			p.Steps = append(p.Steps, plot.Step{At: e.At, C: e.C})
		}
		shown := plot.Event{At: e.At, Pot: e.Pot, Kind: kind}
		if e.Kind == history.ShotPushed {
			number++
			r.nameShot(&shown, number)
		}
		run.Events = append(run.Events, shown)
	}
}

func celsius(t reading.Temperature) float64 {
	if !t.Usable(guard.MaxAge) {
		return math.NaN()
	}
	return t.C
}

// nameShot says at the shot's mark how it came out.
func (r Review) nameShot(e *plot.Event, number int) {
	e.Text = fmt.Sprintf("shot %d", number)
	if number > len(r.Shots) {
		return
	}
	switch s := r.Shots[number-1]; {
	case s.Withdrawn:
		e.Kind, e.Text = "taken back", e.Text+", taken back"
	case s.Spoiled():
		e.Kind, e.Text = plot.KindSpoiled, e.Text+" "+s.Faults()
	}
}
