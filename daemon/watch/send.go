package watch

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"
	"time"

	"meltwarden/daemon/view"
)

// markPot sends the mark of a key for the chosen pot.
func (w *watcher) markPot(r rune) {
	w.forget(time.Now())
	all := marks()
	i := slices.IndexFunc(all, func(m mark) bool { return m.key == r })
	switch pot := w.chosen; {
	case i < 0:
		w.say(view.Attend, w.words.NoKey, r)
	case pot == 0 || pot > len(w.heard.last.Pots):
		w.say(view.Attend, w.words.Choose, all[i].label)
	default:
		w.chosen = 0 // the next mark may be of another
		kind, path := all[i].kind.String(), fmt.Sprintf("/pots/%d/", pot)
		undo := &back{pot: pot, mark: kind, path: path + "take-back", form: url.Values{"mark": {kind}}}
		w.send(w.nameOf(pot)+", "+all[i].label, path+kind, nil, undo)
	}
}

// line takes a letter of what is typed.
func (w *watcher) line(k Key) {
	done, keep := w.typing.put(k)
	if !done {
		return
	}
	text, judging := strings.TrimSpace(string(w.typing.text)), w.judging
	w.typing, w.judging = nil, nil
	switch {
	case !keep || text == "":
	case judging != nil:
		w.judge(judging, text)
	default:
		w.send(w.words.Note, "/note", url.Values{"text": {text}}, &back{path: "/note", ofPress: true})
	}
}

// send sends a mark, unless nothing is heard of the bench, and offers to take it back.
func (w *watcher) send(what, path string, form url.Values, undo *back) {
	if w.silent || !w.heard.last.Live {
		w.say(view.Warn, w.words.NotSent, what, w.words.NotLiveNoMark)
		return
	}
	at, p := clock(), w.unanswered.again(path, form, undo, time.Now())
	w.inBackground(func(ctx context.Context) do {
		err := w.Remote.Send(ctx, path, p.with(form))
		return func(w *watcher) {
			if w.unanswered = (press{}); err != nil && !errors.As(err, &refusedError{}) {
				w.unanswered = p
			}
			if err != nil {
				w.say(view.Warn, w.words.NotSent, what, err)
				return
			}
			w.say(view.Plain, w.words.Taken, at, what)
			w.back = p.undo
		}
	})
}

// press is one of a key, with the name by which it counts once, however often it is sent.
type press struct {
	what, key string
	at        time.Time
	undo      *back
}

// sameWithin is for how long the same press counts as the one before, which got no answer (E).
const sameWithin = 30 * time.Second

// again is the press before, where the same is sent once more, and else a new one.
func (p press) again(path string, form url.Values, undo *back, now time.Time) press {
	what := path + " " + form.Encode()
	if p.what == what && now.Sub(p.at) < sameWithin {
		return p
	}
	p = press{what, rand.Text(), now, undo}
	if undo != nil && undo.ofPress {
		undo.form = url.Values{"of": {p.key}}
	}
	return p
}

// with is a form with the press's name.
func (p press) with(form url.Values) url.Values {
	named := url.Values{"key": {p.key}}
	maps.Copy(named, form)
	return named
}

// off switches every heater off, whatever is heard.
func (w *watcher) off() {
	at := clock()
	w.say(view.Plain, "%s", w.words.OffAsked)
	w.inBackground(func(ctx context.Context) do {
		err := w.Remote.Send(ctx, "/off", nil)
		return func(w *watcher) {
			if err != nil {
				w.screen.Bell("danger")
				w.say(view.Danger, "%s – %s", view.Texts().NotSentOff, err)
				return
			}
			w.say(view.Plain, w.words.OffTaken, at)
		}
	})
}

// back is how the last thing that was sent is taken back. Nobody else's mark is.
type back struct {
	pot        int // from 1; zero is of none
	mark, path string
	form       url.Values
	ofPress    bool      // form names the press
	shotFrom   time.Time // for a shot: none before this moment, by the bench's clock
}

// can reports whether this can be taken back: a mark of a pot while the bench says so, a
// note and a shot always.
func (b *back) can(h *heard) bool {
	switch {
	case b == nil:
		return false
	case b.pot == 0:
		return true
	}
	return b.pot <= len(h.last.Pots) && slices.ContainsFunc(h.last.Pots[b.pot-1].Marks, func(m view.Mark) bool { return m.Mark == b.mark })
}

// takeBack takes back what the message is of.
func (w *watcher) takeBack() {
	undo, what := w.back, w.words.TakeBack
	if !undo.can(&w.heard) {
		w.say(view.Attend, "%s", w.words.NothingBack)
		return
	}
	at, p := clock(), w.unanswered.again(undo.path, undo.form, nil, time.Now())
	w.shotAt = time.Time{} // it may be that shot
	w.back = nil           // once, until it is known what came of it
	w.inBackground(func(ctx context.Context) do {
		sent, err := undo.send(ctx, w.Remote, p)
		return func(w *watcher) {
			if err == nil {
				w.say(view.Plain, w.words.TakenBack, at)
				return
			}
			w.say(view.Warn, w.words.NotSent, what, err)
			if !errors.As(err, &refusedError{}) {
				w.unanswered, w.back = p, &sent
			}
		}
	})
}

// send takes back, by the name of the press, and says what it has sent: a shot is found
// first, and taken back again it is the same one.
func (b back) send(ctx context.Context, r *Remote, p press) (back, error) {
	if b.path == "" {
		first, err := writtenShot(ctx, r, firstSince(b.shotFrom))
		if err != nil {
			return b, err
		}
		b.path, b.form = first.path(), url.Values{"withdrawn": {"yes"}}
	}
	return b, r.Send(ctx, b.path, p.with(b.form))
}
