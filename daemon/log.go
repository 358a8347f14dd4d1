package daemon

import (
	"context"
	"log/slog"
	"strconv"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
	"meltwarden/devices"
)

// log writes down what changes from frame to frame.
func (d *Daemon) log(ctx context.Context) {
	l := journal{log: d.opts.Log, pots: d.opts.Settings.Pots}
	d.follow(ctx, func(f *frames.Frame) {
		l.note(f)
		stats := d.opts.Bus.Stats()
		l.noteLines(stats.Lines)
		l.noteSilent(stats.Devices)
	})
}

// journal turns frames into log lines: one for a change, none for a number.
type journal struct {
	log    *slog.Logger
	pots   []control.PotSettings
	heat   control.HeatState
	ready  bool
	states []control.PotState
	recall []bool // of each pot: it went by what was known of it
	notice notice
	lines  map[string]devices.LineStatus
	silent map[string]time.Time // since when each device that answers nothing does not
}

type finding struct {
	code guard.Code
	pot  int
}

func (j *journal) note(f *frames.Frame) {
	if f.Heat != j.heat {
		j.log.Info("heat", "state", f.Heat.String(), "bench_time", f.Time)
		j.heat = f.Heat
	}
	j.noteFindings(f)
	j.states = append(j.states, make([]control.PotState, max(0, len(f.Pots)-len(j.states)))...)
	for i := range f.Pots {
		if s := f.Pots[i].State; s != j.states[i] {
			j.log.Info("pot", "pot", j.name(i), "state", s.String(), "melt_c", rounded(f.Pots[i].MeltC), "bench_time", f.Time)
			j.states[i] = s
		}
	}
	j.noteRecall(f)
	if f.Ready != j.ready {
		j.log.Info("ready to pour", "ready", f.Ready, "bench_time", f.Time)
		j.ready = f.Ready
	}
}

// noteRecall tells of a pot that was known and behaves otherwise.
func (j *journal) noteRecall(f *frames.Frame) {
	j.recall = append(j.recall, make([]bool, max(0, len(f.Pots)-len(j.recall)))...)
	for i := range f.Pots {
		if j.recall[i] && !f.Pots[i].Recalled {
			j.log.Info("what was known of the pot is set aside: it behaves otherwise", "pot", j.name(i), "bench_time", f.Time)
		}
		j.recall[i] = f.Pots[i].Recalled
	}
}

// noteFindings tells what the guard has newly found, and what has cleared.
func (j *journal) noteFindings(f *frames.Frame) {
	fresh, over := j.notice.findings(&f.Frame)
	for _, k := range fresh {
		j.log.Warn(k.code.Title(), "code", k.code.String(), "pot", j.name(k.pot), "latched", j.notice.found[k], "do", k.code.Instruction(), "bench_time", f.Time)
	}
	for _, k := range over {
		j.log.Info("cleared", "code", k.code.String(), "pot", j.name(k.pot), "bench_time", f.Time)
	}
}

// noteLines tells when a line opens, when it is lost, and why it does not open.
func (j *journal) noteLines(lines []devices.LineStatus) {
	for _, l := range lines {
		was, known := j.lines[l.Name]
		switch {
		case l.Open && (!known || !was.Open || was.Opened != l.Opened):
			j.noteOpen(l, was)
		case !l.Open && l.LastError != "" && (was.Open || was.LastError != l.LastError):
			j.log.Error("line is not open", "line", l.Name, "cause", string(l.Cause), "why", l.LastError)
		}
		if l.Silent && !was.Silent {
			j.log.Error("a heater does not confirm that it is off: the line is kept silent so that it lets go by its own time-out", "line", l.Name)
		}
		for _, device := range l.Mute[len(was.Mute):] {
			j.log.Warn("a device can not be read back: when it loses its supply for less than a second, heat comes back by itself", "line", l.Name, "device", device)
		}
		if j.lines == nil {
			j.lines = map[string]devices.LineStatus{}
		}
		j.lines[l.Name] = l
	}
}

// noteOpen tells of a line that is open, and where; was is what was last seen of it.
func (j *journal) noteOpen(l, was devices.LineStatus) {
	said := []any{"line", l.Name}
	if l.Port != "" {
		said = append(said, "port", l.Port)
	}
	if l.Adapter != "" {
		said = append(said, "adapter", l.Adapter)
	}
	if l.Opened > 1 && !was.Open {
		said = append(said, "lost_for", l.At.Sub(was.At).Round(time.Millisecond))
	}
	if l.Opened > 1 {
		said = append(said, "heat", "waits for a press of the enable button")
	}
	j.log.Info("line is open", said...)
}

// noteSilent tells when a device no longer answers anything, and when it does again.
func (j *journal) noteSilent(all []devices.DeviceStats) {
	for _, d := range all {
		switch since, was := j.silent[d.Name]; {
		case d.Dead && !was:
			if j.silent == nil {
				j.silent = map[string]time.Time{}
			}
			j.silent[d.Name] = d.DeadAt
			j.log.Error("a device answers nothing: see its supply and the wires of its line", "line", d.Line, "device", d.Name)
		case !d.Dead && was:
			delete(j.silent, d.Name)
			j.log.Info("the device answers again", "line", d.Line, "device", d.Name, "silent_for", time.Since(since).Round(time.Millisecond))
		}
	}
}

func (j *journal) name(pot int) string {
	if pot < 0 || pot >= len(j.pots) {
		return "bench"
	}
	return j.pots[pot].Name
}

func rounded(c float64) string { return strconv.FormatFloat(c, 'f', 1, 64) }
