package assemble

import (
	"fmt"
	"slices"
	"strings"
)

// probe is a thermocouple of a pot.
type probe struct{ key, role, pot string }

// name is what it is called, as meltwarden registers has it.
func (p probe) name() string { return p.role + " " + p.pot }

// probeList are the probes that the pots are to have.
func (a Answers) probeList() (all []probe) {
	for i, name := range a.pots() {
		for _, role := range []string{"melt", "plate"} {
			if has := a[potKey(i, "probes")]; has == "both" || has == role {
				all = append(all, probe{potKey(i, role), role, name})
			}
		}
	}
	return all
}

// hold has probes held in the hand.
const hold = "hold"

// probes asks where each probe is read.
func (s *script) probes() bool {
	list := s.a.probeList()
	var keys, names []string
	for _, p := range list {
		keys, names = append(keys, p.key), append(names, p.name())
	}
	s.on(TheProbes, "probes", "Which device reads the probes?", keys, names, keys...)
	if !s.known() {
		return false
	}
	for _, p := range list {
		q := Question{Key: p.key, Step: TheProbes, Ask: fmt.Sprintf("Where is %s read?", p.name()), Open: true, Numeric: true, Usual: hold, Do: ShowProbe,
			Among: []Choice{{hold, "hold the probes in your hand, one after another: that shows it"}},
			Help: "Or type it from the manual: function, address from 0, type, scale and unit, such as: 4 0 int16 0.1 C. " +
				"The address alone will do where one before it on the device is known. It is read and shown before it counts.",
			Check: func(typed string) (string, error) { return s.layout(p, typed) }}
		if s.ask(q) == "" {
			return false
		}
	}
	for _, u := range s.a.units() {
		s.withoutProbe(u)
	}
	return s.known()
}

// withoutProbe asks what an input reads that has no probe, of a device that reads any: what
// is taken for a temperature there would be heated by.
func (s *script) withoutProbe(u unit) {
	at, is := s.a.probeOn(u)
	if !is {
		return
	}
	s.ask(Question{Key: u.key("open"), Step: TheProbes, Ask: fmt.Sprintf("What does an input of %s read without a probe?", u.name), Usual: seen, Open: true, Numeric: true, Do: TakeOff,
		Help: "That number means no measurement, and must never be taken for a temperature. Or type it from the manual, such as: 0x7FFF.",
		Among: []Choice{{seen, fmt.Sprintf("take a wire of %s off, and see", at.name())},
			{none, "it sends no such number, or I can not say; then only what can be no temperature is seen"}},
		Check: func(typed string) (string, error) {
			if typed == seen || typed == none {
				return typed, nil
			}
			return typed, fits(channel{role: at.role, pot: "x", layout: s.a[at.key] + ", sentinels: [" + typed + "]"}, typed)
		}})
}

// seen has a probe taken off.
const seen = "see"

// probeOn is the first probe that a device reads.
func (a Answers) probeOn(u unit) (probe, bool) {
	for _, p := range a.probeList() {
		if a.deviceOf(p.key) == u.name {
			return p, true
		}
	}
	return probe{}, false
}

// layoutNear is the layout of another probe on the same device, or "".
func (a Answers) layoutNear(key string) string {
	for _, p := range a.probeList() {
		if p.key != key && a.deviceOf(p.key) == a.deviceOf(key) && strings.HasPrefix(a[p.key], "function:") {
			return a[p.key]
		}
	}
	return ""
}

// layout is where a probe is read as a bench file has it, of what was typed.
func (s *script) layout(p probe, typed string) (string, error) {
	words, near := strings.Fields(typed), s.a.layoutNear(p.key)
	if err := fromSheet(words); err != nil {
		return "", err
	}
	layout := typed
	switch {
	case typed == hold:
		return hold, nil
	case strings.HasPrefix(typed, "function:"):
	case len(words) == 1 && near != "":
		layout = withAddress(near, words[0])
	case len(words) == 5 || len(words) == 6:
		layout = fmt.Sprintf("function: %s, address: %s, type: %s, scale: %s, unit: %s", words[0], words[1], words[2], words[3], words[4])
		if len(words) == 6 {
			layout += ", words: " + words[5]
		}
	default:
		return "", fmt.Errorf("%q: write function, address, type, scale and unit, such as: 4 0 int16 0.1 C", typed)
	}
	for _, o := range s.a.probeList() {
		if o.key != p.key && s.a.deviceOf(o.key) == s.a.deviceOf(p.key) && s.a[o.key] == layout {
			return "", fmt.Errorf("%q: that is where %s is read; each probe has its own address", typed, o.name())
		}
	}
	return layout, fits(channel{role: p.role, pot: "x", layout: layout}, typed)
}

// fromSheet asks about an address that was typed short and looks like a sheet's number. One that
// is meant can be written as a bench file has it.
func fromSheet(words []string) error {
	at := min(1, max(0, len(words)-1))
	if len(words) == 0 || strings.HasPrefix(words[0], "function:") {
		return nil
	}
	return notOfSheet(words[at], fmt.Sprintf("all of it as: function: 3, address: %s, and so on", words[at]))
}

// withAddress is a layout at another address.
func withAddress(layout, address string) string {
	parts := strings.Split(layout, ", ")
	for i := range parts {
		if strings.HasPrefix(parts[i], "address:") {
			parts[i] = "address: " + address
		}
	}
	return strings.Join(parts, ", ")
}

// fits says what is wrong with a channel by itself.
func fits(c channel, typed string) error {
	if _, err := c.read(); err != nil {
		return fmt.Errorf("%q: %w", typed, err)
	}
	return nil
}

// contact is a switch, a button or an interlock's second contact.
type contact struct{ key, role, pot string }

// name is what it is called, as meltwarden registers has it.
func (c contact) name() string {
	if c.pot == "" {
		return c.role
	}
	return c.role + " " + c.pot
}

// needed are the contacts without which nothing is heated.
var needed = []contact{{contactKey("e-stop"), "e-stop", ""}, {contactKey("cut-out"), "cut-out", ""}, {contactKey("enable"), "enable", ""}}

func contactKey(name string) string { return "contact-" + strings.ReplaceAll(name, " ", "-") }

// contactList are the contacts that the bench has.
func (a Answers) contactList() []contact {
	all := slices.Clone(needed)
	if a["contacts-have"] == none {
		return all
	}
	for _, name := range strings.Split(a["contacts-have"], ",") {
		if role, pot, _ := strings.Cut(strings.TrimSpace(name), " "); role != "" {
			all = append(all, contact{contactKey(role + " " + pot), role, pot})
		}
	}
	return all
}

const (
	none = "none"
	// push has contacts pressed.
	push = "press"
)

// contacts asks where each contact is read.
func (s *script) contacts() bool {
	have := Question{Key: "contacts-have", Step: TheContacts, Ask: "Which contacts are wired besides emergency stop, cut-out and enable button?", Usual: none,
		Help: "With commas between, of: fan, pedal, shot-button, lid, and for a pot stir-button left, draw-button left, lid left. Such as: fan, pedal.", Check: s.further}
	if s.ask(have) == "" {
		return false
	}
	list := s.a.contactList()
	var keys, names []string
	for _, c := range list {
		keys, names = append(keys, c.key), append(names, c.name())
	}
	s.on(TheContacts, "contacts", "Which device reads the contacts: emergency stop, cut-out, buttons?", keys, names, keys...)
	if !s.known() {
		return false
	}
	for _, c := range list {
		if s.ask(Question{Key: c.key, Step: TheContacts, Ask: fmt.Sprintf("Where is the contact %s read?", c.name()), Open: true, Numeric: true, Usual: push, Do: ShowContact,
			Among: []Choice{{push, "press the contacts, one after another: that shows it"}},
			Help: "Or type it from the manual: function (2 for a discrete input, 1 for a coil) and address from 0, such as: 2 0. Of a register also the bit's mask: 4 10 0x0001. " +
				"The address alone will do where one before it is known. It is read and shown before it counts.",
			Check: func(typed string) (string, error) { return s.bit(c, typed) }}) == "" {
			return false
		}
	}
	return s.known()
}

// further are contacts by role and pot, with commas between.
func (s *script) further(typed string) (string, error) {
	if strings.EqualFold(typed, none) {
		return none, nil
	}
	var all []string
	for _, name := range strings.Split(typed, ",") {
		role, pot, _ := strings.Cut(strings.Join(strings.Fields(name), " "), " ")
		c := contact{contactKey(role + " " + pot), role, pot}
		if slices.ContainsFunc(needed, func(o contact) bool { return o.role == role }) || slices.Contains(all, c.name()) {
			return "", fmt.Errorf("%q: is there already; name what the bench has besides", name)
		}
		if pot != "" && !slices.Contains(s.a.pots(), pot) {
			return "", fmt.Errorf("%q: no pot is called %q; the pots are %s", typed, pot, s.a["pots"])
		}
		if err := fits(channel{role: role, pot: pot, layout: "function: 2, address: 65535, type: bit"}, role); err != nil {
			return "", err
		}
		all = append(all, c.name())
	}
	return strings.Join(all, ", "), nil
}

// bit is where a contact is read, of what was typed.
func (s *script) bit(c contact, typed string) (string, error) {
	words := strings.Fields(typed)
	if err := fromSheet(words); err != nil {
		return "", err
	}
	layout := typed
	here := func(o contact) bool { return o.key != c.key && s.a.deviceOf(o.key) == s.a.deviceOf(c.key) }
	switch {
	case typed == push:
		return push, nil
	case strings.HasPrefix(typed, "function:"):
	case len(words) == 1:
		near := "function: 2, address: 0, type: bit"
		for _, o := range s.a.contactList() {
			if at := s.a[o.key]; here(o) && strings.HasPrefix(at, "function:") {
				near = at
			}
		}
		layout = withAddress(near, words[0])
	case len(words) == 2 || len(words) == 3:
		layout = fmt.Sprintf("function: %s, address: %s, type: bit", words[0], words[1])
		if len(words) == 3 {
			layout += ", mask: " + words[2]
		}
	default:
		return "", fmt.Errorf("%q: write function and address, such as: 2 0", typed)
	}
	for _, o := range s.a.contactList() {
		if here(o) && s.a[o.key] == layout {
			return "", fmt.Errorf("%q: that is where %s is read; each contact has its own address", typed, o.name())
		}
	}
	return layout, fits(channel{role: c.role, pot: c.pot, layout: layout}, typed)
}

// deviceOf is the name of the device that something is on, by its key.
func (a Answers) deviceOf(key string) string {
	all := a.units()
	if len(all) == 1 {
		return all[0].name
	}
	group := "heaters"
	switch {
	case key == "contactor":
		group = "contactor"
	case strings.HasPrefix(key, "contact-"):
		group = "contacts"
	case slices.ContainsFunc(a.probeList(), func(p probe) bool { return p.key == key }):
		group = "probes"
	}
	if name := a[group+"-on"]; name != each {
		return name
	}
	return a[strings.Replace(key, "-process", "-heater", 1)+"-on"]
}
