package watch

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"time"
	"unicode"

	"meltwarden/daemon/console"
	"meltwarden/daemon/view"
)

// Options are how a bench is watched on a screen.
type Options struct {
	Remote  *Remote
	In, Out *os.File
	Unit    console.Unit
	Colours bool
	// Ends says that leaving ends the bench's program as well, which is the demo's.
	Ends bool
	// Enable presses the enable button of a simulated bench, which nobody else can; nil
	// where a bench is real.
	Enable func()
}

// watcher is a bench on a screen, and what is being typed there.
type watcher struct {
	Options
	ctx    context.Context
	screen *console.Screen
	words  view.TerminalLabels

	heard  heard
	silent bool // as it was last drawn
	broke  bool // it was heard once, and then no more
	title  string

	chosen     int // a pot, from 1; zero is none
	until      time.Time
	message    console.Line
	back       *back     // what the message is of, if that can be taken back
	unanswered press     // nothing was heard of it
	typing     *entry    // a note, or a verdict
	judging    *pushed   // the shot that a verdict is of
	pressed    int       // keys
	shotFrom   time.Time // by the bench's clock, before the last shot that was marked here
	shotAt     time.Time
	help       bool    // the keys are listed
	told       chan do // what came of what was sent
}

// do changes the watcher; it comes from elsewhere.
type do func(*watcher)

// Screen shows a bench on a terminal until the context ends or somebody leaves. The terminal
// is then as it was.
func Screen(ctx context.Context, o Options) error {
	// Go's own way with this signal would leave the terminal as it is drawn on.
	ctx, cancel := signal.NotifyContext(ctx, syscall.SIGQUIT)
	defer cancel()
	t, err := open(o.In, o.Out)
	if err != nil {
		return err
	}
	defer t.restore()
	w := &watcher{
		Options: o, ctx: ctx, screen: console.NewScreen(o.Out, o.Colours), words: view.Terminal(),
		heard: nothingHeard(), silent: true, title: o.Remote.String(), told: make(chan do),
	}
	return w.run(t)
}

func (w *watcher) run(t *terminal) error {
	words, look := listen(w.ctx, w.Remote), time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		if err := w.draw(console.SizeOf(t.out)); err != nil {
			return err
		}
		select {
		case <-w.ctx.Done():
			return nil
		case n := <-words:
			w.heard.take(n, time.Now())
		case k, open := <-t.keys:
			if !open || w.key(k) {
				return nil
			}
		case change := <-w.told:
			change(w)
		case <-look.C:
		}
	}
}

func (w *watcher) draw(size console.Size) error {
	now := time.Now()
	w.forget(now)
	b := w.heard.bench(now)
	if silent := w.heard.silent(now); silent != w.silent {
		w.silent = silent
		w.turned(silent)
	}
	w.screen.Ring(b)
	look := console.Look{Title: w.title, Size: size, Unit: w.Unit, Chosen: w.chosen, Foot: w.foot(size)}
	lines := console.Block(b, look)
	if w.help {
		lines = w.helpLines()
	}
	return w.screen.Draw(size, lines)
}

// forget lets go of a pot that was chosen too long ago.
func (w *watcher) forget(now time.Time) {
	if w.chosen != 0 && now.After(w.until) {
		w.chosen, w.message = 0, console.Line{}
	}
}

// turned says that the bench is no longer heard, or again.
func (w *watcher) turned(silent bool) {
	if silent {
		w.broke = true
		w.screen.Bell("act")
		return
	}
	if w.broke {
		w.say(view.Plain, w.words.Found, clock())
	}
	w.inBackground(func(ctx context.Context) do {
		title := titleOf(ctx, w.Remote)
		return func(w *watcher) { w.title = title }
	})
}

// inBackground does what takes its time.
func (w *watcher) inBackground(work func(context.Context) do) {
	go func() {
		select {
		case w.told <- work(w.ctx):
		case <-w.ctx.Done():
		}
	}()
}

// titleOf says which run this is; only the address where that is not known.
func titleOf(ctx context.Context, r *Remote) string {
	var open struct {
		Runs []struct {
			ID     int64
			Recipe string
		}
	}
	raw, err := r.Get(ctx, "/runs?state=open")
	if err != nil || json.Unmarshal(raw, &open) != nil || len(open.Runs) == 0 {
		return r.String()
	}
	return fmt.Sprintf(view.Terminal().Run, open.Runs[0].Recipe, open.Runs[0].ID) + "   " + r.String()
}

// key takes what was typed, and reports whether somebody leaves.
func (w *watcher) key(k Key) (leave bool) {
	w.pressed++
	if w.typing != nil {
		w.line(k)
		return false
	}
	if k.Pasted { // that is no key
		return false
	}
	if w.help {
		w.help = false
		if k.Rune != keyOff {
			return k.Rune == ctrlC
		}
	}
	r := k.Rune
	if r != keyOff { // with the capitals locked the others are what they are
		r = unicode.ToLower(r)
	}
	switch {
	case r == keyLeave, r == ctrlC, r == ctrlD:
		return true
	case r == keyOff:
		w.off()
	case r == unicode.ToLower(keyOff):
		w.say(view.Attend, "%s", w.words.OffKey)
	case r >= '0' && r <= '9':
		w.choose(int(r - '0'))
	case r == escape:
		w.chosen, w.message = 0, console.Line{}
	case r == keyHelp:
		w.help = true
	case r == keyUnit:
		w.Unit = !w.Unit
	case r == ctrlL:
		w.screen.Forget()
	case r == enter && w.Enable != nil:
		w.Enable()
		w.say(view.Plain, "%s", w.words.EnablePressed)
	default:
		w.markOrSay(r)
	}
	return false
}

// chosenFor is how long a pot stays chosen: a letter that comes later was not meant for it.
const chosenFor = 10 * time.Second

func (w *watcher) choose(pot int) {
	if pot < 1 || pot > len(w.heard.last.Pots) {
		w.say(view.Attend, w.words.NoSuchPot, pot)
		return
	}
	w.chosen, w.until = pot, time.Now().Add(chosenFor)
	w.say(view.Plain, w.words.Chosen, w.nameOf(pot))
}

func (w *watcher) nameOf(pot int) string {
	p := w.heard.last.Pots[pot-1]
	return cmp.Or(p.Colour, p.Name)
}

// markOrSay sends a mark, if a key is for one and the bench is heard.
func (w *watcher) markOrSay(r rune) {
	l := view.Texts()
	switch r {
	case keyShot:
		w.shotFrom, w.shotAt = w.benchClock(), time.Now()
		w.send(l.Shot, "/shot", nil, &back{shotFrom: w.shotFrom})
	case keyVerdict:
		w.askHowItIs()
	case keySilence:
		w.send(l.Silence, "/silence", nil, nil)
	case keyNote:
		w.typing = &entry{}
	case keyBack:
		w.takeBack()
	default:
		w.markPot(r)
	}
}

func clock() string { return time.Now().Format(time.TimeOnly) }

func (w *watcher) say(tone view.Tone, form string, args ...any) {
	w.message, w.back = console.Line{Text: fmt.Sprintf(form, args...), Tone: tone}, nil
}

// foot is what stands below the bench: why it is not heard, what came of a key, and which
// keys there are.
func (w *watcher) foot(size console.Size) []console.Line {
	var foot []console.Line
	if err := w.heard.lost; w.silent {
		if err == nil {
			err = fmt.Errorf(w.words.Silent, silentFor)
		}
		foot = append(foot, console.Line{Text: fmt.Sprintf(w.words.LostWhy, w.Remote, err), Tone: view.Lost}, console.Line{Text: w.words.LostHow})
	}
	if w.typing != nil {
		return append(foot, w.lineTyped(size)...)
	}
	message := w.message
	if w.back.can(&w.heard) {
		message.Text += "; " + string(keyBack) + " " + w.words.Back
	}
	if message.Text == "" && size.Height < console.Small.Height { // the keys themselves may find no room
		message.Text = string(keyHelp) + " " + w.words.Help
	}
	foot = append(foot, message)
	return append(foot, packed(w.keys(), size.Width)...)
}

// benchClock is when the bench was heard last, by its own clock; zero where it never was.
func (w *watcher) benchClock() time.Time {
	if at := w.heard.last.At; at != nil {
		return *at
	}
	return time.Time{}
}

// lineTyped is what is being typed, below what must not be missed meanwhile.
func (w *watcher) lineTyped(size console.Size) (lines []console.Line) {
	if w.message.Tone == view.Warn || w.message.Tone == view.Danger {
		lines = append(lines, w.message)
	}
	words, how := w.words.Typed, w.words.TypedHow
	if w.judging != nil {
		lines = append(lines, w.judging.question(w.words, size.Width)...)
		words, how = w.words.Verdict, w.words.VerdictHow
	}
	return append(lines, console.Line{Text: words + ": " + string(w.typing.text) + "_"}, console.Line{Text: how})
}

// keys are those that are always told of; the others are behind the key of help.
func (w *watcher) keys() []string {
	l := view.Texts()
	all := []string{fmt.Sprintf("1–%d %s:", max(1, len(w.heard.last.Pots)), w.words.Pots)}
	for _, m := range marks()[:toldOf] {
		all = append(all, string(m.key)+" "+m.label)
	}
	for _, k := range []struct {
		key   rune
		label string
	}{{keyShot, l.Shot}, {keyVerdict, w.words.Verdict}, {keyNote, w.words.Note}, {keySilence, l.Silence}, {keyOff, l.AllOff}, {keyHelp, w.words.Help}, {keyLeave, w.leave()}} {
		all = append(all, string(k.key)+" "+k.label)
	}
	if w.Enable != nil {
		all = append(all, w.words.EnableKey)
	}
	return all
}

// packed puts texts into lines.
func packed(texts []string, width int) []console.Line {
	lines := []console.Line{{}}
	for _, t := range texts {
		last := &lines[len(lines)-1].Text
		switch {
		case *last == "":
			*last = t
		case len([]rune(*last))+2+len([]rune(t)) < width:
			*last += "  " + t
		default:
			lines = append(lines, console.Line{Text: t})
		}
	}
	return lines
}

// helpLines are all keys, one a line.
func (w *watcher) helpLines() []console.Line {
	l := view.Texts()
	texts := []string{w.words.HelpMark, "  1–9     " + w.words.Pots}
	key := func(k rune, label string) { texts = append(texts, fmt.Sprintf("  %c       %s", k, label)) }
	for _, m := range marks() {
		key(m.key, m.label)
	}
	texts = append(texts, "")
	key(keyShot, l.Shot)
	key(keyVerdict, w.words.HelpVerdict)
	key(keyBack, w.words.TakeBack)
	key(keyNote, w.words.Typed)
	key(keySilence, l.Silence)
	key(keyOff, l.AllOff+": "+w.words.HelpOff)
	texts = append(texts, "")
	key(keyUnit, w.words.OtherUnit)
	texts = append(texts, w.words.HelpEsc, w.words.HelpRedraw)
	key(keyLeave, w.leave())
	if w.Enable != nil {
		texts = append(texts, "  "+w.words.HelpEnable)
	}
	texts = append(texts, "", w.words.HelpEnd)
	var lines []console.Line
	for _, t := range texts {
		lines = append(lines, console.Line{Text: t})
	}
	return lines
}

func (w *watcher) leave() string {
	if w.Ends {
		return w.words.End
	}
	return w.words.Leave
}
