package view

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

// Interlock is what the program reads of an interlock. It is no proof that it works: e-stop
// and cut-out break the contactor in hardware, and only trying them shows that they do.
type Interlock struct {
	// Name is what it is called: emergency stop, cut-out or fan; or a lid.
	Name string `json:"name"`
	// State is "closed", which lets heat flow, "open", "not read" or "not wired".
	State string `json:"state"`
	// Words are both in one, and Tone is how much that asks of a person.
	Words string `json:"words"`
	Tone  Tone   `json:"tone"`
}

// The states of an interlock.
const (
	closed   = "closed"
	opened   = "open"
	notRead  = "not read"
	notWired = "not wired"
)

// Interlocks are those of a bench, as it is read now.
func Interlocks(f *frames.Frame, live bool) []Interlock {
	var c control.Contacts
	if live {
		c = f.Contacts
	} else {
		missing := reading.Contact{Fault: reading.Missing}
		c.EStop, c.CutOut, c.Fan = missing, missing, missing
	}
	return []Interlock{
		interlock(texts.EmergencyStop, c.EStop), interlock(texts.CutOut, c.CutOut), interlock(texts.Fan, c.Fan),
	}
}

// Contacts are those of the bench that are shown: interlocks, and after them lids.
func (b Bench) Contacts() []Interlock { return slices.Concat(b.Interlocks, b.Lids) }

// lids are those of the settings, as they are read: an open one is worth a look while
// anything is heated. They are no interlocks, and nothing is decided by them.
func lids(f *frames.Frame, live bool, s control.Settings) []Interlock {
	all := make([]Interlock, 0, len(s.Lids))
	for i, pot := range s.Lids {
		l := Interlock{Name: strings.TrimSpace(texts.Lid + " " + pot), State: notRead, Tone: Attend}
		if live && i < len(f.Lids) && f.Lids[i].Contact.Known(guard.MaxAge) {
			l.State, l.Tone = closed, Plain
			if !f.Lids[i].Contact.Closed {
				l.State = opened
			}
		}
		l.Words = l.Name + " " + l.State
		if l.State == opened && f.Heat == control.HeatEnabled {
			l.Tone, l.Words = Attend, l.Words+" "+texts.whileHeating
		}
		all = append(all, l)
	}
	return all
}

func interlock(name string, c reading.Contact) Interlock {
	i := Interlock{Name: name, State: notRead, Tone: Warn}
	switch {
	case !c.Wired():
		i.State, i.Tone = notWired, Plain
	case c.Known(guard.MaxAge) && c.Closed:
		i.State, i.Tone = closed, Plain
	case c.Known(guard.MaxAge):
		i.State, i.Tone = opened, Danger
	}
	i.Words = name + " " + i.State
	return i
}

// powerWords is what the heaters draw, and of what the circuit carries.
func powerWords(f *frames.Frame, s control.Settings) string {
	if math.IsNaN(f.PowerW) {
		return controllerTexts.power
	}
	w := math.Round(f.PowerW)
	if !(s.Circuit.MaxW > 0) {
		return fmt.Sprintf(texts.power, w)
	}
	return fmt.Sprintf(texts.powerOf, w, math.Round(100*f.PowerW/s.Circuit.MaxW), s.Circuit.MaxW)
}

// InterlockLabels are the words about the interlocks.
type InterlockLabels struct {
	EmergencyStop, CutOut, Fan, Interlocks, InterlockNotRead string
	Lid, whileHeating                                        string
}

var interlockLabels = InterlockLabels{
	EmergencyStop: "emergency stop", CutOut: "cut-out", Fan: "fan", Interlocks: "Interlocks and lids, as they are read", InterlockNotRead: notRead,
	Lid: "lid", whileHeating: "while heat is enabled",
}
