package config

import (
	"cmp"
	"fmt"
	"slices"

	"meltwarden/config/quantity"
	"meltwarden/control/circuit"
	"meltwarden/control/reading"
	"meltwarden/devices/registers"
)

// checkControllers settles what controllers are told, and refuses a bench on which they
// could not be stopped: one that hears nothing more goes on heating to the last set-point
// that it was told, so a contactor that lets go by itself has to be on another device.
func (b *Bench) checkControllers() {
	b.checkBesideSetpoints()
	sumW := 0.0
	for i, c := range b.Channels {
		at := slices.IndexFunc(b.Pots, func(p Pot) bool { return c.Role == registers.Setpoint && p.Name == c.Pot })
		if at < 0 {
			continue
		}
		p := &b.Pots[at]
		p.Controller.RestC, p.Controller.Every = c.RestC, cmp.Or(p.Controller.Every, defaultWriteEvery)
		p.Output = circuit.Hidden
		sumW += p.HeaterW
		b.checkController(p, fmt.Sprintf("pots[%d]", at+1))
		b.checkLetsGo(c, fmt.Sprintf("channels[%d]", i+1), sumW == p.HeaterW)
	}
	if sumW > b.Supply.ContinuousW && b.Supply.ContinuousW > 0 {
		b.src.Complain("supply.breaker",
			fmt.Sprintf("controllers heat when they want to, and all %s of their heaters at once are more than the %s that may flow all the time",
				quantity.FormatPower(sumW), quantity.FormatPower(b.Supply.ContinuousW)),
			"use smaller heaters, or a circuit that carries all of them")
	}
	for i, p := range b.Pots {
		switch {
		case p.Controller.RestC == 0 && p.Controller.Every > 0:
			b.src.Complain(fmt.Sprintf("pots[%d].heater.write-every", i+1), "the pot has no set-point to be written", "leave it out")
		case p.Controller.RestC == 0 && sumW > 0:
			b.src.Complain(fmt.Sprintf("pots[%d]", i+1), "other pots of the bench are heated by set-point, and both ways do not share one circuit",
				"heat all pots by set-point, or none")
		}
	}
}

// checkController says what does not go with a pot whose plate is held by a controller.
func (b *Bench) checkController(p *Pot, path string) {
	if p.Probes != reading.BothProbes {
		b.src.Complain(path, fmt.Sprintf("pot %q is heated by set-point, and has one probe only", p.Name),
			"add the other: nobody else can see whether the controller does what it is told")
	}
	if p.output != "" {
		b.src.Complain(path+".heater.output", "the controller switches by itself", "leave it out")
	}
	b.checkNotSwitched(p, path+".heater", "the controller switches by itself, and how often is not seen here", "leave it out")
}

// checkLetsGo sees to a contactor on another device than any controller, of which first is the
// first.
func (b *Bench) checkLetsGo(c registers.Channel, path string, first bool) {
	const why = "a controller that hears nothing more goes on heating to the last set-point that it was told"
	const fix = "add a channel with role: contactor on another device, such as a relay module, that lets go by itself when nobody writes for 1.5 s"
	switch {
	case !b.wired(registers.Contactor) && !first: // said once
	case !b.wired(registers.Contactor):
		b.src.Complain(path+".role", why+", and the bench has no contactor", fix)
	case b.has(registers.Contactor, func(o registers.Channel) bool { return o.Device == c.Device }):
		b.src.Complain(path+".device", why+", and the contactor is on the same device", fix)
	}
}

// checkBesideSetpoints complains about what belongs to a controller and is not with one.
func (b *Bench) checkBesideSetpoints() {
	for i, c := range b.Channels {
		if c.Role != registers.SetpointRead && c.Role != registers.ProcessValue {
			continue
		}
		if !b.has(registers.Setpoint, func(o registers.Channel) bool { return o.Pot == c.Pot && o.Device == c.Device }) {
			b.src.Complain(fmt.Sprintf("channels[%d].role", i+1), fmt.Sprintf("pot %q has no set-point on this device", c.Pot),
				"leave it out, or add a channel with role: setpoint")
		}
	}
}
