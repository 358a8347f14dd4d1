// Package console shows the bench in a terminal: a block of lines on a screen, and one
// plain line now and then where the output goes to a file or a pipe. The words are the
// page's. Nothing of it is told by colour alone, and a screen without colours loses
// nothing.
package console

import "meltwarden/daemon/view"

// Unit is what temperatures are shown in.
type Unit bool

// The two units; Celsius is the zero value.
const (
	Celsius    Unit = false
	Fahrenheit Unit = true
)

func (u Unit) of(b view.Both) string {
	if u == Fahrenheit {
		return b.F
	}
	return b.C
}

func (u Unit) symbol() string { return u.of(view.Both{C: "°C", F: "°F"}) }
