package demo

import (
	"fmt"
	"math"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/frames"
)

// foreseen compares each melt with what had been predicted for it.
type foreseen struct {
	enabledAt time.Duration // when heat first was
	told      [3][]prediction
	off       map[string]squares // by phase
}

type prediction struct {
	at time.Duration // what it is for
	c  float64
}

// squares are of how far predictions were off.
type squares struct{ n, sum float64 }

func (s squares) with(o squares) squares { return squares{s.n + o.n, s.sum + o.sum} }

const (
	firstMinutes = "heating, told in the first 3 min"
	knownAfter   = 3 * time.Minute // a pot that has not been heated yet is not known
)

// see takes in a frame: what it says of later, and what had been said of it.
func (s *foreseen) see(f *frames.Frame) {
	if s.off == nil {
		s.off = map[string]squares{}
	}
	if f.Heat == control.HeatEnabled && s.enabledAt == 0 {
		s.enabledAt = f.Time
	}
	for i := range f.Pots {
		p := &f.Pots[i]
		s.told[i] = append(s.told[i], prediction{f.Time + frames.ForeseenIn, float64(frames.Foreseen(p))})
		for ; s.told[i][0].at <= f.Time; s.told[i] = s.told[i][1:] {
			if off := p.MeltC - s.told[i][0].c; !math.IsNaN(off) {
				phase := s.phase(p, s.told[i][0].at-frames.ForeseenIn)
				s.off[phase] = s.off[phase].with(squares{1, off * off})
			}
		}
	}
}

// phase is what a pot does while a prediction made at a time comes out.
func (s *foreseen) phase(p *control.PotFrame, at time.Duration) string {
	switch {
	case p.State == control.Heating && at < s.enabledAt+knownAfter:
		return firstMinutes
	case p.State == control.Ready:
		return control.Holding.String()
	}
	return p.State.String()
}

// foreseenIn is how far all of the predictions for a phase were off.
func foreseenIn(outcomes []outcome, phase string) string {
	var all squares
	for _, o := range outcomes {
		all = all.with(o.foreseen.off[phase])
	}
	return fmt.Sprintf("%.2f °C RMS over %.0f pot-minutes", math.Sqrt(all.sum/all.n), all.n/framesAMinute)
}
