package press

import (
	"fmt"

	"meltwarden/devices/guess"
	"meltwarden/devices/registers"
)

// Lines are the lines of a bench file for the contacts that were told and fit, on a device
// of a name.
func (r Result) Lines(device string) (lines []string) {
	for _, c := range r.Contacts {
		if !c.Told || c.Misfit != "" {
			continue
		}
		channel := c.Channel(device)
		line := fmt.Sprintf("  - {role: %s", channel.Role)
		if channel.Pot != "" {
			line += ", pot: " + channel.Pot
		}
		lines = append(lines, fmt.Sprintf("%s, device: %s, %s} # %s", line, device, guess.Written(channel), c.Reads()))
	}
	return lines
}

// Reads says what the contact reads, at rest and pressed; a lid on and off.
func (c Contact) Reads() string {
	role, _ := c.role()
	switch {
	case role == registers.Lid && c.Rest:
		return "1 with the lid on, 0 with it off"
	case role == registers.Lid:
		return "0 with the lid on, 1 with it off"
	case c.Rest:
		return "1 at rest, 0 when pressed"
	}
	return "0 at rest, 1 when pressed"
}

// Numbering says what follows where the contacts begin one before the address that a maker
// took from a manual; nothing otherwise.
func (r Result) Numbering(from uint16) string {
	var lowest *Bit
	for _, c := range r.Contacts {
		if c.Told && (lowest == nil || c.Bit.Address < lowest.Address) {
			lowest = &c.Bit
		}
	}
	if lowest == nil || from == 0 || lowest.Address != from-1 {
		return ""
	}
	return fmt.Sprintf("You asked from %d on, and %s is before it: your manual counts from 1. Take 1 off every address in it.", from, lowest.Short())
}
