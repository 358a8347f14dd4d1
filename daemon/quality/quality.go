// Package quality watches the serial lines of a bench before there is any heat: what each
// device answers, how fast, and what goes wrong. It only reads. Nothing is written, not
// even zeros: outputs are read back in the place of being told, and what a device does by
// itself it goes on doing.
package quality

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"meltwarden/daemon/console"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/view"
	"meltwarden/devices"
	"meltwarden/devices/budget"
	"meltwarden/devices/clock"
)

// rateOf is over how many cycles their rate is taken.
const rateOf = 25

// Watcher asks every device again and again.
type Watcher struct {
	cfg    devices.Config
	bus    *devices.Bus
	clk    *clock.Clock
	period time.Duration

	mu   sync.Mutex
	last devices.Snapshot
	done []time.Duration // when the last cycles were whole
}

// Report is how the lines do at one moment.
type Report struct {
	// CyclesPerS is how often a second every device was asked, of Wanted.
	CyclesPerS frames.Figure `json:"cycles_per_s"`
	Wanted     frames.Figure `json:"wanted_per_s"`
	view.SerialLines
	Channels []devices.Finding `json:"channels"`
	// Outputs are what heaters, contactor, controllers, lamp and buzzer say that they have.
	Outputs []devices.Output `json:"outputs"`
}

// Open opens the lines of a bench that is to be asked once a period. The error is about
// the configuration, or names a port that does not open.
func Open(cfg devices.Config, open devices.Opener, clk *clock.Clock, period time.Duration) (*Watcher, error) {
	if err := devices.TryPorts(cfg.Lines, open); err != nil {
		return nil, err
	}
	reads := cfg
	reads.ReadOnly = true
	bus, err := devices.Open(reads, open, clk)
	if err != nil {
		return nil, err
	}
	return &Watcher{cfg: cfg, bus: bus, clk: clk, period: period}, nil
}

// Run asks until the context ends, and closes the ports. It is silent first, so that what a
// killed program told a device ends by the device's own time-out.
func (w *Watcher) Run(ctx context.Context) {
	w.clk.Sleep(ctx, devices.HushFor)
	for due := w.clk.Now(); ctx.Err() == nil; {
		s := w.bus.Poll(ctx, w.period)
		w.take(s)
		due = max(due+w.period, w.clk.Now())
		w.clk.Sleep(ctx, due-w.clk.Now())
	}
	w.bus.Close(context.WithoutCancel(ctx))
}

func (w *Watcher) take(s devices.Snapshot) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.last = s
	if s.Whole {
		w.done = append(w.done, w.clk.Now())
		w.done = w.done[max(0, len(w.done)-rateOf):]
	}
}

// Now is how the lines do.
func (w *Watcher) Now() Report {
	w.mu.Lock()
	last, done := w.last, slices.Clone(w.done)
	w.mu.Unlock()
	stats := w.bus.Stats()
	// The bus has taken the configuration, so that it can be planned as well.
	plan, _ := budget.Of(w.cfg, w.period, view.TurnsOf(stats))
	now := w.clk.Now()
	return Report{
		CyclesPerS: frames.Figure(rate(done, now)), Wanted: frames.Figure(1 / w.period.Seconds()),
		SerialLines: view.SerialOf(stats, plan), Channels: last.Findings(now), Outputs: last.Outputs(now),
	}
}

// rate is how many cycles a second were done of late.
func rate(done []time.Duration, now time.Duration) float64 {
	if len(done) < 2 {
		return 0
	}
	span := max(done[len(done)-1]-done[0], now-done[0]-time.Second)
	return float64(len(done)-1) / span.Seconds()
}

// Block is the report as lines of a terminal that has 80 columns.
func (r Report) Block(title string) []console.Line {
	l := view.Texts()
	all := []console.Line{{Text: title}, {Text: l.WatchOnlyReads + l.WatchEnds}, {}}
	add := func(tone view.Tone, text string) {
		for line := range strings.Lines(text) {
			all = append(all, console.Line{Text: strings.TrimRight(line, "\n"), Tone: tone})
		}
	}
	for _, words := range view.HeatMayBeOn(r.Outputs) {
		add(view.Warn, lines.Wrap("", words))
	}
	if words := view.OutputsHeld(r.Outputs); words != "" {
		add(view.Plain, lines.Wrap("", words)+"\n\n")
	}
	for _, line := range r.Lines {
		tone := view.Plain
		state := line.Where()
		if !line.Open {
			tone, state = view.Warn, fmt.Sprintf(l.SerialShut, line.Why)+" "+line.Shut()
		}
		add(tone, lines.Wrap("", fmt.Sprintf(l.WatchLine, line.Name, state, r.CyclesPerS, r.Wanted)))
		add(view.Plain, table(line))
		for _, d := range line.Devices {
			for _, t := range d.Troubles {
				add(view.Plain, lines.Wrap("  ", "- "+troubleWords(d, t)))
			}
		}
		for _, words := range budgetWords(line) {
			add(view.Plain, lines.Wrap("", words))
		}
		all = append(all, console.Line{})
	}
	for _, f := range badFirst(r.Channels) {
		tone := view.Plain
		if !f.Good {
			tone = view.Warn
		}
		add(tone, f.String())
	}
	return all
}

// budgetWords are how a line keeps up; where it does, the sum is left to check itself, since
// a terminal has few lines.
func budgetWords(line view.SerialLine) []string {
	if line.CycleMs <= line.PeriodMs {
		return line.Budget[:min(1, len(line.Budget))]
	}
	return line.Budget
}

// badFirst has what did not answer stand where a small terminal still has room.
func badFirst(all []devices.Finding) []devices.Finding {
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b devices.Finding) int {
		switch {
		case a.Good == b.Good:
			return 0
		case b.Good:
			return -1
		}
		return 1
	})
	return all
}

// table is the devices of a line.
func table(line view.SerialLine) string {
	l := view.Texts()
	t := lines.Table{}
	t.Row(l.DeviceColumn, l.GoodOf, l.Median, l.Longest, l.BeyondWire, l.StateColumn)
	for _, d := range line.Devices {
		t.Row(d.Name, fmt.Sprintf("%d/%d", d.Good, d.Exchanges), view.InMs(d.MedianMs), view.InMs(d.WorstMs), view.InMs(d.TurnMs), d.State)
	}
	return t.String()
}

func troubleWords(d view.SerialDevice, t view.Trouble) string {
	l := view.Texts()
	return fmt.Sprintf("%s: %s, "+l.TroubleTimes+". %s: %s.", d.Name, t.Kind, t.Count, l.TroubleMayBe, t.MayBe)
}

// Plain writes the report as lines, one a device, for where there is no terminal.
func (r Report) Plain(out io.Writer, at time.Time) error {
	w := lines.To(out)
	for _, words := range view.HeatMayBeOn(r.Outputs) {
		w.Line("%s %s", at.Format(time.TimeOnly), words)
	}
	if words := view.OutputsHeld(r.Outputs); words != "" {
		w.Line("%s %s", at.Format(time.TimeOnly), words)
	}
	for _, line := range r.Lines {
		if !line.Open {
			w.Line("%s %s: "+view.Texts().SerialShut+" %s", at.Format(time.TimeOnly), line.Name, line.Why, line.Shut())
		}
		for _, d := range line.Devices {
			said := []string{d.State, fmt.Sprintf(view.Texts().PlainTimes, view.InMs(d.MedianMs), view.InMs(d.WorstMs))}
			for _, t := range d.Troubles {
				said = append(said, fmt.Sprintf("%s %d", t.Kind, t.Count))
			}
			w.Line("%s %s/%s: %d/%d, %s", at.Format(time.TimeOnly), line.Name, d.Name, d.Good, d.Exchanges, strings.Join(said, ", "))
		}
	}
	return w.Err()
}
