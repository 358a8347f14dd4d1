package review

import (
	"errors"
	"fmt"
	"math"
	"time"

	"meltwarden/daemon/history"
	"meltwarden/daemon/plot"
)

// Moment is a moment of a run that two runs are laid over each other by: the push of a
// shot, or with a Shot of zero when all was first ready to pour.
type Moment struct {
	Run  int64
	Shot int
}

// ErrNoMoment is wrapped by the error about a run that has no such moment.
var ErrNoMoment = errors.New("the two runs can not be laid over each other by that")

// String names the moment without its run.
func (m Moment) String() string {
	if m.Shot > 0 {
		return fmt.Sprintf("shot %d", m.Shot)
	}
	return "ready to pour"
}

// At is when the moment was in its run. The error wraps ErrNoMoment or history.ErrNoShot
// where it has none.
func (m Moment) At(r Review) (time.Duration, error) {
	for _, e := range r.Events {
		if m.Shot == 0 && e.Kind == history.ReadyToPour {
			return e.At, nil
		}
	}
	for _, s := range r.Shots {
		if s.Number == m.Shot {
			return s.At, nil
		}
	}
	if m.Shot == 0 {
		return 0, fmt.Errorf("run %d was never ready to pour: align at a shot; %w", m.Run, ErrNoMoment)
	}
	return 0, fmt.Errorf("run %d, shot %d: %w", m.Run, m.Shot, history.ErrNoShot)
}

// Over is a run with the melts of another over it, moved in time so that a moment of each
// falls together, and the style to draw both in: From and To of the one that is given are
// times of the first run, a To of zero its end. Pots are matched by their colours.
func Over(s *history.Store, own, other Moment, style plot.Style) (plot.Run, plot.Style, error) {
	var out plot.Run
	a, ownAt, err := momentOf(s, own)
	if err != nil {
		return out, style, err
	}
	b, otherAt, err := momentOf(s, other)
	if err != nil {
		return out, style, err
	}
	// On the axis the one that began earlier, seen from the moment, begins at zero.
	ahead := max(0, otherAt-ownAt)
	back := ownAt + ahead - otherAt
	if style.To == 0 {
		if style.To, err = endOf(s, own.Run); err != nil {
			return out, style, err
		}
	}
	if out, err = Plot(s, own.Run, style.From, style.To); err != nil {
		return out, style, err
	}
	style.From, style.To = style.From+ahead, style.To+ahead
	if style.From == ahead {
		style.From = 0
	}
	var over plot.Run
	if to := style.To - back; to > 0 { // otherwise it had not begun
		if over, err = Plot(s, other.Run, max(0, style.From-back), to); err != nil {
			return out, style, err
		}
	}
	lay(&out, over, ahead, back)
	out.Zero = ownAt + ahead
	out.Over = [2]string{fmt.Sprintf("run %d", own.Run), fmt.Sprintf("run %d", other.Run)}
	out.Title = fmt.Sprintf("run %d, and dashed run %d", own.Run, other.Run)
	if own.Run == other.Run {
		out.Over = [2]string{own.String(), other.String()}
		out.Title = fmt.Sprintf("run %d, and dashed the same at %s", own.Run, other)
	}
	out.Subtitle = fmt.Sprintf("0:00 is %s of run %d, and %s of run %d · means of %.0f s · %s",
		own, own.Run, other, other.Run, meanOver.Seconds(), simulated(a, b))
	return out, style, nil
}

func momentOf(s *history.Store, m Moment) (Review, time.Duration, error) {
	r, err := Of(s, m.Run)
	if err != nil {
		return r, 0, err
	}
	at, err := m.At(r)
	return r, at, err
}

// endOf is the end of a run on its own time axis.
func endOf(s *history.Store, run int64) (time.Duration, error) {
	parts, err := s.Parts(run)
	if err != nil || len(parts) == 0 {
		return 0, err
	}
	last := parts[len(parts)-1]
	return last.Offset + last.Took, nil
}

// lay moves a run ahead and puts another one over it, moved back.
func lay(out *plot.Run, over plot.Run, ahead, back time.Duration) {
	for i := range out.Events {
		out.Events[i].At += ahead
	}
	for i := range out.Pots {
		p := &out.Pots[i]
		for j := range p.Steps {
			p.Steps[j].At += ahead
		}
		p.Points = means(p.Points, ahead)
		for j := range over.Pots {
			if q := &over.Pots[j]; q.Colour == p.Colour {
				p.Other = means(q.Points, back)
			}
		}
	}
}

// meanOver is what a melt is averaged over where two lie over each other: no pot answers
// faster (E), and two bands of noise can not be told apart.
const meanOver = 10 * time.Second

// means moves the melt of a run by a time and averages it; a stretch without a reading
// stays a gap.
func means(points []plot.Point, by time.Duration) []plot.Point {
	if len(points) == 0 {
		return nil
	}
	first := points[0].At
	last := points[len(points)-1].At
	all := make([]plot.Point, 0, int((last-first)/meanOver)+1)
	next := 0
	for from := first; from <= last; from += meanOver {
		sum, count := 0.0, 0
		for ; next < len(points) && points[next].At < from+meanOver; next++ {
			if c := points[next].MeltC; c == c { // NaN is not recorded
				sum, count = sum+c, count+1
			}
		}
		mean := math.NaN()
		if count > 0 {
			mean = sum / float64(count)
		}
		all = append(all, plot.Point{At: from + meanOver/2 + by, MeltC: mean, PlateC: math.NaN(), TargetC: math.NaN(), Duty: math.NaN()})
	}
	return all
}

func simulated(a, b Review) string {
	if a.Run.Invented || b.Run.Invented {
		return a.Run.Recipe + " · simulated bench, invented"
	}
	return a.Run.Recipe
}
