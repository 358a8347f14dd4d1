package calibrate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/control/guard"
	"meltwarden/devices/registers"
)

var errLate = fmt.Errorf("not at rest within %.0f minutes", restWait.Minutes())

// firstReadings waits until every chosen probe reads, and refuses a bench that is warm.
func (s *session) firstReadings(ctx context.Context) error {
	for end := s.Clock.Now() + answerWait; ; {
		if err := s.cycle(ctx); err != nil {
			return err
		}
		dead := s.unread()
		if dead < 0 && s.Clock.Now() > end-answerWait+time.Second {
			break
		}
		if s.Clock.Now() > end {
			return fmt.Errorf("the probe %s can not be read: %s%s; mend it and run the command again (meltwarden check shows every channel)",
				NameOf(s.Wiring.Channels[dead]), s.latest[dead].Fault, s.lines())
		}
	}
	for i := range s.windows {
		s.began[i] = math.NaN()
		if len(s.windows[i].latest) > 0 {
			s.began[i] = s.windows[i].now()
		}
		if c := s.Wiring.Channels[i]; s.ofPot(i) && !slices.Contains(s.chosen, i) && s.began[i] >= coldC {
			return fmt.Errorf("%s is at %.0f °C: the bench has to be cold, because water in hot vinyl spatters. Wait until everything is below %.0f °C", NameOf(c), s.began[i], coldC)
		}
	}
	return nil
}

// unread is the first probe that has to read and does not, or -1: one that was chosen, or one
// of a pot, of which nobody would know whether it is hot.
func (s *session) unread() int {
	for i := range s.windows {
		if len(s.windows[i].latest) == 0 && (s.ofPot(i) || slices.Contains(s.chosen, i)) {
			return i
		}
	}
	return -1
}

// ofPot reports whether a channel is the probe of a melt or a plate.
func (s *session) ofPot(channel int) bool {
	r := s.Wiring.Channels[channel].Role
	return r == registers.Melt || r == registers.Plate
}

// lines says which line is not open, and why.
func (s *session) lines() string {
	for _, l := range s.bus.Stats().Lines {
		if !l.Open && l.LastError != "" {
			return fmt.Sprintf(" (line %s: %s)", l.Name, l.LastError)
		}
	}
	return ""
}

// until goes on until something is done, for restWait at most, with the readings of some
// probes shown. What they read before does not count.
func (s *session) until(ctx context.Context, shown []int, words string, done func() (bool, error)) error {
	for i := range s.windows {
		s.windows[i].forget()
	}
	s.say("  Waiting until %s come to rest; that takes a minute at least.\n", strings.Join(s.names(shown), ", "))
	next := s.Clock.Now()
	for end := s.Clock.Now() + restWait; s.Clock.Now() < end; {
		if err := errors.Join(s.cycle(ctx), s.warms()); err != nil {
			return err
		}
		if over, err := done(); over || err != nil {
			return err
		}
		if s.Clock.Now() >= next {
			next += tellEvery
			if s.Terminal {
				next += time.Second - tellEvery
			}
			if err := s.live(shown, words); err != nil {
				return err
			}
		}
	}
	return errLate
}

// warms reports a plate that warms with everything told zero.
func (s *session) warms() error {
	for i, c := range s.Wiring.Channels {
		w := &s.windows[i]
		if c.Role == registers.Plate && !slices.Contains(s.chosen, i) && len(w.latest) > 0 && w.now()-s.began[i] >= risenC {
			return fmt.Errorf("%w. Plate %s has risen by %.1f °C with everything told zero. If it warms (hold a hand over it, do not touch), its heater is on by itself: have it mended by a licensed electrician. If it is cold, its probe is near hot water", errPress, c.Pot, w.now()-s.began[i])
		}
	}
	return nil
}

// live shows what probes read: on a terminal on lines that are written anew.
func (s *session) live(shown []int, words string) error {
	if s.JSON {
		read := map[string]any{}
		for _, i := range shown {
			read[NameOf(s.Wiring.Channels[i])] = nil
			if s.latest[i].Usable(guard.MaxAge) {
				read[NameOf(s.Wiring.Channels[i])] = math.Round(100*s.windows[i].now()) / 100
			}
		}
		return s.object(map[string]any{"point": words, "shown_c": read})
	}
	if s.Terminal {
		if s.told == len(shown) {
			fmt.Fprintf(s.Out, "\x1b[%dA", s.told) // up to the first of them
		}
		for _, i := range shown {
			fmt.Fprintf(s.Out, "\r\x1b[K  %s\n", s.shown([]int{i}))
		}
		s.told = len(shown)
		return nil
	}
	s.say("  %s\n", s.shown(shown))
	return nil
}

// shown is what probes read, and how they move.
func (s *session) shown(channels []int) string {
	var said []string
	for _, i := range channels {
		text := NameOf(s.Wiring.Channels[i])
		w := &s.windows[i]
		switch moved, whole := w.moved(); {
		case len(w.latest) == 0:
			text += " " + s.latest[i].Fault.String()
		case !whole:
			text += fmt.Sprintf(" %.1f (%.0f s)", w.now(), (time.Duration(len(w.latest)) * config.Period).Seconds())
		case w.atRest():
			text += fmt.Sprintf(" %.1f (at rest)", w.now())
		default:
			text += fmt.Sprintf(" %.1f (%+.1f in half a minute)", w.now(), moved)
		}
		said = append(said, text)
	}
	return strings.Join(said, ", ")
}
