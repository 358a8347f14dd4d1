package watch

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"meltwarden/daemon/console"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/view"
)

// pushed is a shot of the run that is being recorded, as the API spells it.
type pushed struct {
	run       int64
	Number    int
	Wall      time.Time
	Withdrawn bool
	Verdicts  []shot.Verdict
}

// path is where the API has it: of its own run, whatever is being recorded by then.
func (p pushed) path() string { return fmt.Sprintf("/runs/%d/shots/%d", p.run, p.Number) }

// writtenShot is one of the run that is being recorded, by its place among all, or -1 where
// it is not among them. It is looked for until it is written down; that may take a second.
func writtenShot(ctx context.Context, r *Remote, which func([]pushed) int) (pushed, error) {
	for range 12 {
		raw, err := r.Get(ctx, "/runs/now")
		if err != nil {
			return pushed{}, err
		}
		var now struct {
			Run   struct{ ID int64 }
			Shots []pushed
		}
		if err := json.Unmarshal(raw, &now); err != nil {
			return pushed{}, err
		}
		if i := which(now.Shots); i >= 0 {
			now.Shots[i].run = now.Run.ID
			return now.Shots[i], nil
		}
		select {
		case <-ctx.Done():
			return pushed{}, ctx.Err()
		case <-time.After(lookEvery):
		}
	}
	return pushed{}, errors.New(view.Terminal().NoShot)
}

// firstSince is the place of the first shot after a moment, by the bench's own clock, that was
// not taken back. Its bench time would not do: that begins anew where a run goes on after an
// interruption, and shots of before it have later ones.
func firstSince(from time.Time) func([]pushed) int {
	return func(all []pushed) int {
		return slices.IndexFunc(all, func(s pushed) bool { return s.Wall.After(from) && !s.Withdrawn })
	}
}

// lastSince is the place of the last one.
func lastSince(from time.Time) func([]pushed) int {
	return func(all []pushed) int {
		for i, s := range slices.Backward(all) {
			if s.Wall.After(from) && !s.Withdrawn {
				return i
			}
		}
		return -1
	}
}

// freshFor is for how long a shot that was marked here may not be written down yet (E).
const freshFor = 10 * time.Second

// askHowItIs asks about the last shot, unless something else is pressed meanwhile.
func (w *watcher) askHowItIs() {
	if w.silent || !w.heard.last.Live {
		w.say(view.Warn, w.words.NotSent, w.words.Verdict, w.words.NotLiveNoMark)
		return
	}
	w.chosen = 0
	from, pressed := time.Time{}, w.pressed
	if time.Since(w.shotAt) < freshFor {
		from = w.shotFrom
	}
	w.inBackground(func(ctx context.Context) do {
		s, err := writtenShot(ctx, w.Remote, lastSince(from))
		return func(w *watcher) {
			switch {
			case w.pressed != pressed:
			case err != nil:
				w.say(view.Attend, "%s: %s", w.words.Verdict, err)
			default:
				w.judging, w.typing = &s, &entry{}
			}
		}
	})
}

// judge sends a verdict on a shot, of which none that was there goes: what was said of it
// before is changed on its page only. Taken back, this one goes and no other.
func (w *watcher) judge(s *pushed, typed string) {
	fault, err := verdictNamed(typed)
	if err != nil {
		w.say(view.Attend, "%s", err)
		return
	}
	for _, was := range s.Verdicts {
		if was.Day == 0 && (was.Fault == fault || was.Fault == shot.Clean || fault == shot.Clean) {
			w.say(view.Attend, w.words.JudgedAlready, s.Number, was)
			return
		}
	}
	path, said := s.path()+"/verdict", url.Values{"fault": {fault}}
	w.send(fmt.Sprintf(w.words.ShotIs, s.Number, fault), path, said, &back{path: path, form: url.Values{"fault": {fault}, "take-back": {"yes"}}})
}

// verdictNamed is the one that begins so.
func verdictNamed(typed string) (string, error) {
	var like []string
	for _, v := range shot.Verdicts() {
		if strings.EqualFold(v, typed) {
			return v, nil
		}
		if strings.HasPrefix(v, strings.ToLower(typed)) {
			like = append(like, v)
		}
	}
	switch l := view.Terminal(); len(like) {
	case 1:
		return like[0], nil
	case 0:
		return "", fmt.Errorf(l.NoVerdict, typed)
	default:
		return "", fmt.Errorf(l.WhichVerdict, typed, strings.Join(like, ", "))
	}
}

// question is what is asked about a shot.
func (p *pushed) question(l view.TerminalLabels, width int) []console.Line {
	asks := fmt.Sprintf(l.HowIsShot, p.Number, p.Wall.Local().Format(time.TimeOnly))
	var already []string
	for _, v := range p.Verdicts {
		already = append(already, v.String())
	}
	if len(already) > 0 {
		asks += " " + fmt.Sprintf(l.SoFar, strings.Join(already, "; "))
	}
	return append([]console.Line{{Text: asks}}, packed(shot.Verdicts(), width)...)
}
