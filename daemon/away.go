package daemon

import (
	"context"
	"fmt"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
)

// tellAway sends what somebody who is not at the bench has to know.
func (d *Daemon) tellAway(ctx context.Context, tell func(string)) {
	a := away{pots: d.opts.Settings.Pots, title: d.opts.Title, tell: tell}
	l := awayLines{title: d.opts.Title, tell: tell}
	d.follow(ctx, func(f *frames.Frame) {
		l.note(f.At, d.opts.Bus.Stats()) // first, as what the findings come from
		a.note(f)
	})
}

// away turns frames into messages: one for a finding that needs a person, one when
// all is ready.
type away struct {
	pots   []control.PotSettings
	title  string
	tell   func(string)
	notice notice
	ready  bool
}

func (a *away) note(f *frames.Frame) {
	fresh, _ := a.notice.findings(&f.Frame)
	for _, k := range fresh {
		if k.code.Rule().Severity >= guard.Warning && (a.notice.found[k] || k.code.Rule().Severity == guard.Warning) {
			a.tell(fmt.Sprintf("%s, %s: %s. %s", a.title, a.name(k.pot), k.code.Title(), k.code.Instruction()))
		}
	}
	if f.Ready && !a.ready {
		a.tell(a.title + ": all pots are ready to pour.")
	}
	a.ready = f.Ready
}

func (a *away) name(pot int) string {
	if pot < 0 || pot >= len(a.pots) {
		return "bench"
	}
	return a.pots[pot].Colour
}
