package daemon

import (
	"context"
	"log/slog"
	"strconv"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
	"meltwarden/devices"
)

// log writes down what changes from frame to frame.
func (d *Daemon) log(ctx context.Context) {
	l := journal{log: d.opts.Log, pots: d.opts.Settings.Pots, found: map[finding]bool{}}
	d.follow(ctx, func(f *frames.Frame) {
		l.note(f)
		l.noteLines(d.opts.Bus.Stats().Lines)
	})
}

// journal turns frames into log lines: one for a change, none for a number.
type journal struct {
	log    *slog.Logger
	pots   []control.PotSettings
	heat   control.HeatState
	ready  bool
	states []control.PotState
	found  map[finding]bool // and whether it is latched
	lines  map[string]devices.LineStatus
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
	if f.Ready != j.ready {
		j.log.Info("ready to pour", "ready", f.Ready, "bench_time", f.Time)
		j.ready = f.Ready
	}
}

// noteFindings tells what the guard has newly found, and what has cleared.
func (j *journal) noteFindings(f *frames.Frame) {
	now := make(map[finding]bool, len(f.Conditions))
	for _, c := range f.Conditions {
		k := finding{c.Code, c.Pot}
		now[k] = c.Latched
		if latched, known := j.found[k]; !known || c.Latched && !latched {
			j.log.Warn(c.Code.Title(), "code", c.Code.String(), "pot", j.name(c.Pot), "latched", c.Latched, "do", c.Code.Instruction(), "bench_time", f.Time)
		}
	}
	for k := range j.found {
		if _, still := now[k]; !still {
			j.log.Info("cleared", "code", k.code.String(), "pot", j.name(k.pot), "bench_time", f.Time)
		}
	}
	j.found = now
}

// noteLines tells when a line opens, when it is lost, and why it does not open.
func (j *journal) noteLines(lines []devices.LineStatus) {
	for _, l := range lines {
		was, known := j.lines[l.Name]
		switch {
		case l.Open && (!known || !was.Open):
			j.log.Info("line is open", "line", l.Name)
		case !l.Open && l.LastError != "" && (was.Open || was.LastError != l.LastError):
			j.log.Error("line is not open", "line", l.Name, "why", l.LastError)
		}
		if j.lines == nil {
			j.lines = map[string]devices.LineStatus{}
		}
		j.lines[l.Name] = l
	}
}

func (j *journal) name(pot int) string {
	if pot < 0 || pot >= len(j.pots) {
		return "bench"
	}
	return j.pots[pot].Name
}

func rounded(c float64) string { return strconv.FormatFloat(c, 'f', 1, 64) }
