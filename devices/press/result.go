package press

import (
	"fmt"
	"slices"
	"strings"

	"meltwarden/devices/registers"
)

// Result is which bit is which contact, and what was not told.
type Result struct {
	// Contacts are those that were pressed, in that order.
	Contacts []Contact `json:"contacts"`
	// Unsteady are the bits that changed while all was left alone.
	Unsteady []Bit `json:"unsteady"`
}

// Contact is one that was pressed.
type Contact struct {
	Name string `json:"name"`
	// Told says that its bit is known; Why, otherwise, what speaks against it.
	Told bool   `json:"told"`
	Why  string `json:"why,omitempty"`
	Bit  Bit    `json:"bit"`
	// Rest is what it reads while nobody presses it.
	Rest bool `json:"rest"`
	// Misfit says why a bench file can not take it as it is wired.
	Misfit string `json:"misfit,omitempty"`
	// Rivals moved together with it: nothing that was seen tells them from it.
	Rivals []Rival `json:"rivals"`
	// Notes are what else a maker has to know of it.
	Notes []string `json:"notes"`
}

// Rival is a bit that moved together with the one that was told.
type Rival struct {
	Bit     Bit    `json:"bit"`
	Differs string `json:"differs"`
}

// role is the contact's, and its pot or none.
func (c Contact) role() (role registers.Role, pot string) {
	first, pot, _ := strings.Cut(c.Name, " ")
	return registers.Role(first), pot
}

// Channel is what the bench file has for a contact that was told, on a device of a name.
func (c Contact) Channel(device string) registers.Channel {
	role, pot := c.role()
	return registers.Channel{
		Role: role, Pot: pot, Device: device, Function: c.Bit.Function, Address: c.Bit.Address, Mask: c.Bit.Mask, Type: registers.Bit, Scale: 1,
		Invert: c.Rest != role.ClosedAtRest(),
	}
}

// heard is what one contact's last window held.
type heard struct {
	moves    []Move // that did what was asked
	others   []Move
	unsteady []Bit // that moved three times as well, and not only then
	passed   *Bit  // one of these that passed for the contact's, because it was still steady
}

// heard returns what followed in the last window of each contact.
func (w *Watch) heard(contacts int) []heard {
	all := make([]heard, contacts)
	for _, of := range w.windows {
		if of.contact < 0 {
			continue
		}
		h := heard{}
		for _, m := range w.moves(of) {
			if m.followed() {
				h.moves = append(h.moves, m)
			} else {
				h.others = append(h.others, m)
			}
		}
		for _, b := range w.Unsteady() {
			t := w.traces[b]
			if m, moved := t.move(b, of.from, w.end(of)); moved && m.followed() {
				h.unsteady = append(h.unsteady, b)
				if end := w.end(of); t.since > end && len(h.moves) == 0 && !w.partOfNumber(b, of, end) {
					h.passed = &b
				}
			}
		}
		if len(h.moves)+len(h.others) == 0 { // what latched at the first try stays still at the second
			h.others = all[of.contact].others
		}
		all[of.contact] = h
	}
	return all
}

// Result says what was recognised so far.
func (s *Session) Result() Result {
	all := s.heard(len(s.contacts))
	r := Result{Unsteady: append([]Bit{}, s.Unsteady()...)}
	for n, name := range s.contacts {
		c := Contact{Name: name, Rivals: []Rival{}, Notes: []string{}}
		if n < s.at || s.step == Press && n == s.at {
			c.judge(all[n])
		} else {
			c.Why = "it was not pressed."
		}
		r.Contacts = append(r.Contacts, c)
	}
	eliminate(r.Contacts, all)
	doubt(r.Contacts, all)
	return r
}

// doubt takes back what was told after a bit had passed for a contact by chance: its press
// may have come when the next was asked for, and so on.
func doubt(contacts []Contact, all []heard) {
	from := slices.IndexFunc(all, func(h heard) bool { return h.passed != nil })
	if from < 0 {
		return
	}
	for i := range contacts[from+1:] {
		c := &contacts[from+1+i]
		*c = Contact{Name: c.Name, Rivals: []Rival{}, Notes: []string{}, Why: fmt.Sprintf(
			"when %s was to be pressed, %s moved by itself, three times: what was pressed may have been counted for the next. Press it once more.", contacts[from].Name, all[from].passed.Short())}
	}
}

// judge tells the contact's bit from those that followed.
func (c *Contact) judge(h heard) {
	c.Told, c.Why, c.Rivals, c.Notes = false, "", []Rival{}, []string{}
	if len(h.moves) == 0 {
		c.Why = h.nothing()
		return
	}
	for _, m := range h.moves[1:] {
		if !m.together(h.moves[0]) {
			c.Why = fmt.Sprintf("%s each moved three times, and not together: something else moves as well. Press it once more, alone.", names(h.moves))
			return
		}
	}
	fit := c.fitting(h.moves)
	if len(fit) > 1 && (fit[0].Bit.Function == fit[1].Bit.Function || fit[0].Bit.writable()) {
		c.Why = fmt.Sprintf("%s moved together: two contacts of one, or one follows the other. See its manual, or take one of the wires off (supply off) and press once more.", names(fit))
		return
	}
	c.tell(fit[0], h)
}

// fitting are the moves by which the contact can be wired, or all where it can be by none.
func (c *Contact) fitting(moves []Move) []Move {
	fit := slices.DeleteFunc(slices.Clone(moves), func(m Move) bool { return c.misfit(m) != "" })
	if len(fit) == 0 {
		return moves
	}
	role, _ := c.role()
	if plain := slices.DeleteFunc(slices.Clone(fit), func(m Move) bool { return m.Rest != role.ClosedAtRest() }); len(plain) > 0 {
		return plain // of a changeover contact the side that needs no inversion
	}
	return fit
}

// misfit says why a bench file can not take a bit that moved so.
func (c *Contact) misfit(m Move) string {
	role, _ := c.role()
	turned := *c
	turned.Bit, turned.Rest = m.Bit, m.Rest
	if turned.Channel("device").Validate() == nil {
		return ""
	}
	if role.ClosedAtRest() {
		return "it reads 0 while all is well, and 1 when pressed: a broken wire would read as well. Wire its normally closed contact; an input that the device turns round can not be used for it"
	}
	return "it reads 1 at rest, and 0 when pressed: a broken wire would read as pressed. Wire its normally open contact; an input that the device turns round can not be used for it"
}

// tell notes the contact's bit, and what moved with it.
func (c *Contact) tell(m Move, h heard) {
	c.Told, c.Bit, c.Rest, c.Misfit = true, m.Bit, m.Rest, c.misfit(m)
	for _, o := range h.moves {
		switch {
		case o.Bit == m.Bit:
		case o.Rest != m.Rest:
			c.Rivals = append(c.Rivals, Rival{o.Bit, "moved together with it, the other way round: the other side of a changeover contact?"})
		default:
			c.Rivals = append(c.Rivals, Rival{o.Bit, "moved together with it, in another table: the same contact seen twice, or an output that follows it"})
		}
	}
	if role, _ := c.role(); role == registers.Lid && c.Misfit == "" {
		c.Notes = append(c.Notes, c.lid())
	}
	if m.Bounced > 0 {
		c.Notes = append(c.Notes, fmt.Sprintf("It bounced %s: clean or replace the contact if it goes on.", times(m.Bounced)))
	}
	for _, o := range h.others {
		c.Notes = append(c.Notes, fmt.Sprintf("%s moved as well, %s.", capital(o.Bit.Short()), o.did()))
	}
}

// lid says what was taken for a lid that is on: nothing but a hand's word tells it from off.
func (c *Contact) lid() string {
	if c.Rest {
		return "1 was read while all was left alone, and is taken for the lid on, 0 for off. Was the lid off then, do it again with every lid on."
	}
	return "0 was read while all was left alone, and is taken for the lid on, 1 for off (invert: true). Was the lid off then, that is the wrong way round: do it again with every lid on."
}

// nothing says why no bit is the contact's.
func (h heard) nothing() string {
	switch {
	case len(h.others) > 0:
		var did []string
		for _, m := range h.others[:min(len(h.others), 3)] {
			did = append(did, fmt.Sprintf("%s moved %s", m.Bit.Short(), m.did()))
		}
		return strings.Join(did, ", ") + ", where three times were asked for. Hold each press for about two seconds; what latches has to be put back each time."
	case len(h.unsteady) > 0:
		return fmt.Sprintf("%s moved three times, but also while all was to be left alone: does it change by itself, or was it touched?", list(h.unsteady))
	}
	return "nothing moved: is it wired to this device, has the device its supply, and is its bit among those that are read?"
}

// did says how often a bit moved.
func (m Move) did() string {
	switch {
	case m.Away:
		return times(m.Times+1) + ", and stayed so"
	case m.Times == 0:
		return "too briefly to be a press"
	}
	return times(m.Times)
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func names(moves []Move) string {
	var all []Bit
	for _, m := range moves {
		all = append(all, m.Bit)
	}
	return list(all)
}

func list(all []Bit) (text string) {
	for i, b := range all {
		switch {
		case i == 0:
		case i == len(all)-1:
			text += " and "
		default:
			text += ", "
		}
		text += b.Short()
	}
	return text
}

func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }
