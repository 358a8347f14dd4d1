// Package watch shows a bench from its running daemon's API, in another terminal and
// perhaps on another computer, and sends the marks that are typed there. It promises that
// nothing old is shown as if it were so: two seconds after the last word of a bench the
// screen says NOT LIVE. A mark is sent once and at once, or not at all. No key enables or
// raises heat of a real bench, because no route does that; the demo hands in the button of
// its simulated one. What draws lines here also draws those that another program reads
// itself (Drawn).
package watch

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/console"
	"meltwarden/daemon/view"
)

// With both of them no more than two seconds pass until a bench that has fallen silent is
// shown so.
const (
	silentFor = 1700 * time.Millisecond
	lookEvery = 250 * time.Millisecond
)

// heard is what is known of a bench by now.
type heard struct {
	last view.Bench
	at   time.Time
	lost error // why the stream broke off; nil while it goes on
}

func nothingHeard() heard {
	return heard{last: view.Of(nil, control.Settings{}, time.Time{}), lost: errors.New(view.Terminal().Asking)}
}

// take takes in a frame, or that there is none.
func (h *heard) take(n Heard, now time.Time) {
	if n.Err != nil {
		h.lost = n.Err
		return
	}
	b, err := decode(n.Raw)
	if err != nil {
		h.lost = err
		return
	}
	h.last, h.at, h.lost = b, now, nil
}

func decode(raw []byte) (b view.Bench, err error) {
	if json.Unmarshal(raw, &b) != nil || b.Heat == "" {
		return b, errors.New(view.Terminal().NoBench)
	}
	return b, nil
}

// silent reports whether nothing is heard of the bench any more.
func (h *heard) silent(now time.Time) bool { return h.lost != nil || now.Sub(h.at) > silentFor }

// bench is the bench as it may be shown.
func (h *heard) bench(now time.Time) view.Bench {
	if h.silent(now) {
		ago := time.Duration(0)
		if h.last.At != nil {
			ago = now.Sub(h.at) + time.Duration(float64(h.last.AgeS)*float64(time.Second))
		}
		return h.last.Lost(ago)
	}
	return h.last
}

// listen has a remote followed until the context ends.
func listen(ctx context.Context, r *Remote) <-chan Heard {
	words := make(chan Heard)
	go r.Follow(ctx, func(n Heard) {
		select {
		case words <- n:
		case <-ctx.Done():
		}
	})
	return words
}

// Plain writes a line for every change, and one a minute, until the context ends.
func Plain(ctx context.Context, r *Remote, out io.Writer, u console.Unit) error {
	h, plain := nothingHeard(), console.NewPlain(out, u)
	words, look := listen(ctx, r), time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case n := <-words:
			h.take(n, time.Now())
		case <-look.C:
		}
		if err := plain.Show(h.bench(time.Now())); err != nil {
			return err
		}
	}
}

// JSON writes every frame as the API spells it, one a line, until the context ends; and one
// that is not live once nothing is heard.
func JSON(ctx context.Context, r *Remote, out io.Writer) error {
	h, told := nothingHeard(), false
	words, look := listen(ctx, r), time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		line := []byte(nil)
		select {
		case <-ctx.Done():
			return nil
		case n := <-words:
			h.take(n, time.Now())
			line = n.Raw
		case <-look.C:
		}
		if h.silent(time.Now()) {
			if told {
				continue
			}
			line, _ = json.Marshal(h.bench(time.Now())) // numbers that are none are null there
		}
		told = h.silent(time.Now())
		if line == nil {
			continue
		}
		if _, err := out.Write(append(line, '\n')); err != nil {
			return err
		}
	}
}

// State is what a bench is like at a moment, for whoever asks once.
type State int

// The states.
const (
	Ready State = iota
	NotReady
	NotLive
)

// Once writes the bench as it is now, as a block of words or as JSON; one of which nothing
// is heard is not live, and the error says why and what to do.
func Once(ctx context.Context, r *Remote, out io.Writer, asJSON bool, look console.Look) (State, error) {
	h := nothingHeard()
	raw, lost := r.Get(ctx, "/bench")
	h.take(Heard{raw, lost}, time.Now())
	b := h.bench(time.Now())
	var err error
	switch {
	case asJSON:
		err = json.NewEncoder(out).Encode(b)
	case lost != nil: // nothing is known of a bench, nor why no reading came
		return NotLive, fmt.Errorf("%v: %w: %s", r, lost, view.Terminal().StartFirst)
	default:
		look.Title = titleOf(ctx, r)
		for _, line := range console.Block(b, look) {
			_, err = io.WriteString(out, line.Text+"\n")
		}
	}
	switch {
	case err != nil:
		return NotLive, err
	case !b.Live:
		return NotLive, h.lost
	case b.Ready:
		return Ready, nil
	}
	return NotReady, nil
}
