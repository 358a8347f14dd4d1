// Package review turns what history keeps of a run into something to look at.
package review

import (
	"math"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/plot"
)

// kinds are the marks that a plot shows, by what people said.
var kinds = map[control.CommandKind]string{
	control.Stir: plot.KindStirred, control.TickClear: plot.KindClear, control.ColourAdded: plot.KindColour,
	control.Lift: "lifted", control.Return: "back", control.AllOff: "all off",
}

// Plot is a run as it is drawn: every pot's melt, plate and duty with its
// set-point and band, and the marks of people. The parts of a run that was
// interrupted follow each other by the wall's clock.
func Plot(s *history.Store, run int64) (plot.Run, error) {
	settings, err := s.Settings(run)
	if err != nil {
		return plot.Run{}, err
	}
	out := plot.Run{}
	for _, p := range settings.Pots {
		out.Pots = append(out.Pots, plot.Pot{Name: p.Name, Colour: p.Colour, SetpointC: p.SetpointC, BandC: p.BandC})
	}
	c := collector{run: &out}
	if err := s.Each(run, c.add); err != nil {
		return plot.Run{}, err
	}
	return out, nil
}

// collector puts cycles into a plot, on one axis of bench time.
type collector struct {
	run    *plot.Run
	part   int64
	offset time.Duration // of the part's bench time
	last   time.Duration // on the axis
	wall   time.Time     // of the last cycle
}

func (c *collector) add(part int64, r cycles.Record) error {
	if part != c.part {
		if c.part != 0 {
			c.offset = c.last + max(r.At.Sub(c.wall), time.Millisecond) - r.Kept.Time
		}
		c.part = part
	}
	at := c.offset + r.Kept.Time
	c.last, c.wall = at, r.At
	for i := range min(len(r.Kept.Pots), len(c.run.Pots)) {
		k, in := &r.Kept.Pots[i], &r.Input.Pots[i]
		c.run.Pots[i].Points = append(c.run.Pots[i].Points, plot.Point{
			At: at, MeltC: celsius(in.Melt), PlateC: celsius(in.Plate), TargetC: k.TargetC, Duty: k.Duty,
		})
	}
	for _, command := range r.Input.Commands {
		c.mark(at, command)
	}
	return nil
}

func (c *collector) mark(at time.Duration, command control.Command) {
	kind, ok := kinds[command.Kind]
	pot := plot.EveryPot
	if command.Kind.NeedsPot() {
		pot = command.Pot
	}
	if ok && pot < len(c.run.Pots) {
		c.run.Events = append(c.run.Events, plot.Event{At: at, Pot: pot, Kind: kind})
	}
}

func celsius(t reading.Temperature) float64 {
	if !t.Usable(guard.MaxAge) {
		return math.NaN()
	}
	return t.C
}
