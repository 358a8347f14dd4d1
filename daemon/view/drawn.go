package view

import (
	"fmt"
	"math"

	"meltwarden/control"
	"meltwarden/control/injector"
	"meltwarden/daemon/estimate"
	"meltwarden/daemon/frames"
)

// Drawn is what was drawn from a pot and waits in its injector for the push, as it is
// estimated: nobody measures it. Null where nothing waits, or the melt was not known.
type Drawn struct {
	SinceS Figure `json:"since_s"`
	MeanC  Figure `json:"mean_c"`
	LeastC Figure `json:"least_c"`
	MostC  Figure `json:"most_c"`
	// InS is when the mean is below the lowest that is to be pushed; it is between LeastS and
	// MostS. Null is for more than five minutes after the draw.
	InS    Figure `json:"in_s"`
	LeastS Figure `json:"least_s"`
	MostS  Figure `json:"most_s"`
	Over   bool   `json:"over"` // it is below it
}

func noDrawn() Drawn {
	u := frames.Unknown()
	return Drawn{SinceS: u, MeanC: u, LeastC: u, MostC: u, InS: u, LeastS: u, MostS: u}
}

// drawOf is the estimate of a pot's draw; ok is false where there is nothing to go by.
func drawOf(f *frames.Frame, p *control.PotFrame, i injector.Injector) (d estimate.Draw, ok bool) {
	if !p.Drawn.Waits || math.IsNaN(p.Drawn.C) {
		return d, false
	}
	return estimate.OfDraw(i, p.Drawn.C, p.Drawn.TubeC, float64(frames.Measured(f.Room)), p.Drawn.Since.Seconds()), true
}

// showDraw takes over what is estimated of the pot's draw. What is drawn is what will be
// shot, so its time is told in the place of the pot's own.
func (pot *Pot) showDraw(f *frames.Frame, p *control.PotFrame, i injector.Injector) {
	pot.Drawn = noDrawn()
	d, ok := drawOf(f, p, i)
	if !ok {
		return
	}
	pot.Drawn = Drawn{
		SinceS: Figure(p.Drawn.Since.Seconds()), MeanC: Figure(d.Mean.Mid), LeastC: Figure(d.Mean.Low), MostC: Figure(d.Mean.High),
		InS: Figure(d.Left.Mid), LeastS: Figure(d.Left.Low), MostS: Figure(d.Left.High), Over: d.Over,
	}
	if left, between := d.Countdown(); left != "" {
		pot.Shown.Pour, pot.Shown.PourHow = left, between
	}
	words := func(u estimate.Unit) string { return fmt.Sprintf(texts.inInjector, clock(p.Drawn.Since), d.Words(u)) }
	pot.Shown.Injector = Both{words(estimate.Celsius), words(estimate.Fahrenheit)}
}

// drawnFirst says how long what was drawn can still be pushed, of the pot whose draw gets too
// cold first: that is the shot's time, whatever its pot can wait for. Empty where nothing is
// counted down.
func drawnFirst(f *frames.Frame, s control.Settings) (said string) {
	first := math.Inf(1)
	for i := range f.Pots {
		d, ok := drawOf(f, &f.Pots[i], s.Injector)
		if !ok || d.Left.Mid >= first {
			continue
		}
		first = d.Left.Mid
		left, how := d.Countdown()
		if d.Over {
			left += ", " + how
		}
		said = fmt.Sprintf(texts.pourOfPot, potName(i, s), left)
	}
	return said
}
