package config

import (
	"fmt"
	"slices"
	"strings"

	"meltwarden/config/strict"
	"meltwarden/control/circuit"
	"meltwarden/control/reading"
	"meltwarden/devices/ports"
	"meltwarden/devices/registers"
)

// check looks at what no value can be blamed for by itself: names that are
// given twice or stand for nothing, and channels that are missing.
func (b *Bench) check() {
	pots := names(b.Pots, func(p Pot) string { return p.Name })
	lines := names(b.Lines, func(l Line) string { return l.Name })
	devices := names(b.Devices, func(d Device) string { return d.Name })
	unique(b.src, "pots[%d].name", pots)
	unique(b.src, "lines[%d].name", lines)
	unique(b.src, "lines[%d].port", names(b.Lines, func(l Line) string { return l.Port }))
	unique(b.src, "lines[%d].adapter", names(b.Lines, adapterName))
	unique(b.src, "devices[%d].name", devices)
	b.checkDevices(lines)
	for i, c := range b.Channels {
		refer(b.src, fmt.Sprintf("channels[%d].device", i+1), "device", c.Device, devices)
		if c.Pot != "" {
			refer(b.src, fmt.Sprintf("channels[%d].pot", i+1), "pot", c.Pot, pots)
		}
	}
	b.checkRoles()
	b.checkAddresses()
	if !b.src.Failed("channels") {
		b.checkWiring()
		b.checkControllers()
		b.checkHeaters()
	}
}

// adapterName is empty for a line that is named by its port.
func adapterName(l Line) string {
	if l.Adapter == (ports.Wanted{}) {
		return ""
	}
	return l.Adapter.String()
}

func names[T any](list []T, name func(T) string) []string {
	var all []string
	for _, v := range list {
		all = append(all, name(v))
	}
	return all
}

// unique complains about every name after the first of its kind. Names that
// differ in letter case only are the same to the eye, and so to the file.
func unique(src *strict.Source, path string, names []string) {
	for i, n := range names {
		first := slices.IndexFunc(names, func(o string) bool { return strings.EqualFold(o, n) })
		if n != "" && first < i {
			at := fmt.Sprintf(path, first+1)
			src.Complain(fmt.Sprintf(path, i+1), "the same as "+at, "give each its own")
		}
	}
}

// refer complains about a name that stands for nothing.
func refer(src *strict.Source, path, what, name string, known []string) {
	if name == "" || slices.Contains(known, name) {
		return
	}
	src.Complain(path, "no "+what+" has this name", choose(name, known))
}

func (b *Bench) checkDevices(lines []string) {
	first := map[string]int{}
	for i, d := range b.Devices {
		path := fmt.Sprintf("devices[%d]", i+1)
		refer(b.src, path+".line", "line", d.Line, lines)
		place := fmt.Sprint(d.Unit, d.Line)
		if other, taken := first[place]; taken && d.Unit > 0 {
			b.src.Complain(path+".unit", fmt.Sprintf("devices[%d] has this unit on the same line", other), "give each device its own address")
			continue
		}
		first[place] = i + 1
	}
}

// checkRoles complains about two channels for one thing.
func (b *Bench) checkRoles() {
	first := map[string]int{}
	for i, c := range b.Channels {
		if c.Role == "" {
			continue
		}
		of := c.Pot
		if c.Role == registers.ColdJunction {
			of = c.Device // every device has its own
		}
		place := string(c.Role) + "\n" + of
		if other, taken := first[place]; taken {
			b.src.Complain(fmt.Sprintf("channels[%d].role", i+1),
				fmt.Sprintf("channels[%d] is the same thing", other), "keep one of them, or change role or pot")
			continue
		}
		first[place] = i + 1
	}
}

// checkAddresses complains about two channels in one place: two heaters on one
// register would heat each other's pot.
func (b *Bench) checkAddresses() {
	for i, c := range b.Channels {
		other := slices.IndexFunc(b.Channels[:i], func(o registers.Channel) bool { return overlap(o, c) })
		if other >= 0 {
			b.src.Complain(fmt.Sprintf("channels[%d].address", i+1),
				fmt.Sprintf("channels[%d] is in the same place", other+1), "give each its own address")
		}
	}
}

// overlap reports whether two channels share a place; two bits of one register do not.
func overlap(a, b registers.Channel) bool {
	if a.Mask != 0 && b.Mask != 0 && a.Mask&b.Mask == 0 {
		return false
	}
	return a.Device != "" && a.Device == b.Device && table(a.Function) == table(b.Function) &&
		int(a.Address) < int(b.Address)+b.Registers() && int(b.Address) < int(a.Address)+a.Registers()
}

// table returns the function that reads what a function writes: the same table
// of the device (Modbus application protocol V1.1b3, 4.3 and 6).
func table(function uint8) uint8 {
	switch function {
	case 5, 15:
		return 1
	case 6, 16:
		return 3
	}
	return function
}

// checkWiring complains about pots that could not be read or heated, and about
// millivolts that could not be turned into degrees.
func (b *Bench) checkWiring() {
	for i := range b.Pots {
		b.checkPot(&b.Pots[i], fmt.Sprintf("pots[%d]", i+1))
	}
	for i, c := range b.Channels {
		sameDevice := func(o registers.Channel) bool { return o.Device == c.Device }
		if c.Unit == registers.Millivolt && !b.has(registers.ColdJunction, sameDevice) {
			b.src.Complain(fmt.Sprintf("channels[%d].unit", i+1), "millivolts need a reference temperature",
				"add a channel with role: cold-junction on the same device")
		}
	}
}

// checkPot settles which probes a pot has: one of them will do, with limits of its own.
func (b *Bench) checkPot(p *Pot, path string) {
	if p.Name == "" {
		return
	}
	has := func(role registers.Role) bool {
		return b.has(role, func(c registers.Channel) bool { return c.Pot == p.Name })
	}
	switch melt, plate := has(registers.Melt), has(registers.Plate); {
	case !melt && !plate:
		b.src.Complain(path, fmt.Sprintf("pot %q has neither a melt nor a plate channel", p.Name),
			fmt.Sprintf("add both under channels, or one of them, with role: melt or role: plate, and pot: %s", p.Name))
	case !melt:
		p.Probes = reading.PlateOnly
	case !plate:
		p.Probes = reading.MeltOnly
	}
	switch heater, setpoint := has(registers.Heater), has(registers.Setpoint); {
	case !heater && !setpoint:
		b.src.Complain(path, fmt.Sprintf("pot %q has no heater channel", p.Name),
			fmt.Sprintf("add one under channels, with role: heater, or role: setpoint where a controller closes the loop, and pot: %s", p.Name))
	case heater && setpoint:
		b.src.Complain(path, fmt.Sprintf("pot %q is heated by two: its heater channel and its set-point", p.Name),
			"keep the one that its heater is wired to")
	}
	if p.HandWithin > 0 && p.Probes.HasMelt() {
		b.src.Complain(path+".hand-reading-within", "the pot has a melt probe, so nobody has to read its melt by hand", "leave it out")
	}
	if p.MostW > 0 && p.Probes.HasPlate() {
		b.src.Complain(path+".most-power", "the pot has a plate probe, and its plate limit bounds its power", "leave it out")
	}
}

// checkHeaters settles what a heater draws by its channel: a bit is switched in a
// window of ours, a number is what its device makes of it.
func (b *Bench) checkHeaters() {
	for _, c := range b.Channels {
		i := slices.IndexFunc(b.Pots, func(p Pot) bool { return c.Role == registers.Heater && p.Name == c.Pot })
		if i < 0 {
			continue
		}
		p, path := &b.Pots[i], fmt.Sprintf("pots[%d].heater", i+1)
		switch {
		case c.Type == registers.Bit && p.output != "":
			b.src.Complain(path+".output", "the heater's channel is a bit, which is on or off",
				"write window: 20 s in its place for a mechanical relay, or nothing")
		case c.Type == registers.Bit:
			b.checkSwitching(p, path)
		default:
			b.checkNotSwitched(p, path, "the heater's channel is a number, and its device switches by itself",
				"leave it out, or give the heater a channel with type: bit")
			if p.output != smooth {
				p.Output = circuit.Hidden
			}
		}
	}
}

// has reports whether a channel of a role fits.
func (b *Bench) has(role registers.Role, fits func(registers.Channel) bool) bool {
	return slices.ContainsFunc(b.Channels, func(c registers.Channel) bool { return c.Role == role && fits(c) })
}

// wired reports whether the bench has a channel of a role.
func (b *Bench) wired(role registers.Role) bool {
	return b.has(role, func(registers.Channel) bool { return true })
}
