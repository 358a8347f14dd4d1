package review

import (
	"fmt"
	"slices"
	"strings"

	"meltwarden/daemon/checks"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
)

// ChecksLine says which of the before-heat checks were written down last, and when.
func (r Review) ChecksLine() string {
	line := NotRecorded
	for _, e := range r.Events {
		if e.Kind == history.Checked {
			line = fmt.Sprintf("%s, at %s", e.Text, e.Wall.Format("15:04"))
		}
	}
	return string(history.Checked) + ": " + line
}

// TickLines say of each before-heat check what was ticked off when heat was first enabled,
// or until now where it was not: when and from where. There are none where nothing was.
func (r Review) TickLines() []string {
	standing, some := r.tickedBeforeHeat()
	if !some {
		return nil
	}
	var on, off []string
	for _, e := range standing {
		on = append(on, fmt.Sprintf("%s (%s)", e.Text, view.TickedBy(e.Wall, e.From)))
	}
	for _, c := range checks.Of(nil, nil, "") {
		if !slices.ContainsFunc(standing, func(e history.Event) bool { return e.Text == c.Short }) {
			off = append(off, c.Short)
		}
	}
	lines := []string{"ticked off before heat: " + listed(on)}
	if len(off) > 0 {
		lines = append(lines, "not ticked off before heat: "+listed(off))
	}
	return lines
}

// tickedBeforeHeat are the ticks that stood when heat was first enabled, in order; some is
// whether there was one at all before.
func (r Review) tickedBeforeHeat() (standing []history.Event, some bool) {
	for _, e := range r.Events {
		switch e.Kind {
		case history.HeatEnabled:
			return stillStanding(standing, e), some
		case history.Ticked, history.Unticked:
			some = true
			standing = slices.DeleteFunc(standing, func(was history.Event) bool { return was.Text == e.Text })
			if e.Kind == history.Ticked {
				standing = append(standing, e)
			}
		}
	}
	return standing, some
}

// stillStanding leaves out what had lapsed by an event.
func stillStanding(ticks []history.Event, by history.Event) []history.Event {
	return slices.DeleteFunc(ticks, func(e history.Event) bool { return by.Wall.Sub(e.Wall) > checks.Stands })
}

func listed(all []string) string {
	if len(all) == 0 {
		return "none"
	}
	return strings.Join(all, "; ")
}

// isTick reports whether an event stands in TickLines, and in no list of its own.
func isTick(e history.Event) bool { return e.Kind == history.Ticked || e.Kind == history.Unticked }
