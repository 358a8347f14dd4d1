package daemon

import (
	"cmp"
	"slices"

	"meltwarden/control"
	"meltwarden/daemon/history"
)

// notice tells what changed from cycle to cycle that history calls an event.
type notice struct {
	heat   control.HeatState
	ready  bool
	trying []bool           // of each pot: a trial is under way
	found  map[finding]bool // and whether it is latched
}

var heatEvents = map[control.HeatState]history.Kind{
	control.HeatBlocked: history.HeatBlocked, control.HeatEnabled: history.HeatEnabled, control.HeatTripped: history.HeatTripped,
}

// of returns the events of a frame.
func (n *notice) of(f *control.Frame) []history.Event {
	var events []history.Event
	add := func(kind history.Kind, pot int, text string) {
		events = append(events, history.Event{Kind: kind, Pot: pot, Text: text})
	}
	if f.Heat != n.heat {
		n.heat = f.Heat
		add(heatEvents[f.Heat], history.WholeBench, "")
	}
	if f.Ready && !n.ready {
		add(history.ReadyToPour, history.WholeBench, "")
	}
	n.ready = f.Ready
	n.trials(f, add)
	fresh, over := n.findings(f)
	for _, k := range fresh {
		add(history.Alarm, k.pot, k.code.Title())
	}
	for _, k := range over {
		add(history.AlarmOver, k.pot, k.code.Title())
	}
	return events
}

// trials adds how the trials came out that have ended.
func (n *notice) trials(f *control.Frame, add func(kind history.Kind, pot int, text string)) {
	n.trying = append(n.trying, make([]bool, max(0, len(f.Pots)-len(n.trying)))...)
	for i := range f.Pots {
		t := f.Pots[i].Trial
		if n.trying[i] && t.Of == 0 {
			kind := history.TrialBroken
			if t.Done {
				kind = history.TrialDone
			}
			add(kind, i, "")
		}
		n.trying[i] = t.Of > 0
	}
}

// findings tells what the guard has newly found, or newly latched, and what has
// cleared.
func (n *notice) findings(f *control.Frame) (fresh, over []finding) {
	if len(f.Conditions) == 0 && len(n.found) == 0 {
		return nil, nil
	}
	now := make(map[finding]bool, len(f.Conditions))
	for _, c := range f.Conditions {
		k := finding{c.Code, c.Pot}
		now[k] = c.Latched
		if latched, known := n.found[k]; !known || c.Latched && !latched {
			fresh = append(fresh, k)
		}
	}
	for k := range n.found {
		if _, still := now[k]; !still {
			over = append(over, k)
		}
	}
	n.found = now
	slices.SortFunc(over, func(a, b finding) int { return cmp.Or(cmp.Compare(a.code, b.code), cmp.Compare(a.pot, b.pot)) })
	return fresh, over
}
