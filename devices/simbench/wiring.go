package simbench

import "meltwarden/devices/registers"

// The unit addresses on the line.
const (
	UnitThermocouples uint8 = iota + 1
	UnitPower
	UnitContacts
)

// Device is one unit on the line.
type Device struct {
	Name string
	Unit uint8
	// TimeoutRegister is the holding register of the communication time-out, in
	// milliseconds (100 to 60000), where HasTimeout.
	TimeoutRegister uint16
	HasTimeout      bool
}

// The names of the devices.
const (
	thermocouples = "thermocouples"
	powerUnit     = "power"
	contactUnit   = "contacts"
)

// Devices lists the units on the line.
func (b *Bench) Devices() []Device {
	list := []Device{
		{Name: thermocouples, Unit: UnitThermocouples},
		{Name: powerUnit, Unit: UnitPower, TimeoutRegister: uint16(len(b.pots)), HasTimeout: true},
		{Name: contactUnit, Unit: UnitContacts},
	}
	for i, p := range b.pots {
		if p.controller != nil {
			list = append(list, Device{Name: controllerOf(b.config.Pots[i].Name), Unit: UnitController(i)})
		}
	}
	return list
}

// Channels is the register map of the bench: melt and plate of each pot, mould
// and room in unit 1 (function 4, 0.1 °C a count, a status register each);
// duties and contactor in unit 2; contacts, lamp and buzzer in unit 3.
func (b *Bench) Channels() []registers.Channel {
	var all []registers.Channel
	inputs := uint16(2*len(b.pots) + 2)
	temperature := func(role registers.Role, pot string, address int) {
		a := uint16(address)
		all = append(all, registers.Channel{
			Role: role, Pot: pot, Device: thermocouples,
			Function: 4, Address: a, Type: registers.Int16,
			Words: registers.HighFirst, Bytes: registers.HighFirst,
			Scale: 1.0 / countsPerC, Unit: registers.Celsius,
			Sentinels: []float64{noReading},
			Status:    &registers.Status{Function: 4, Address: inputs + a, Open: statusOpen, Shorted: statusGround},
		})
	}
	bit := func(role registers.Role, device string, function uint8, address uint16) {
		all = append(all, registers.Channel{
			Role: role, Device: device, Function: function, Address: address, Type: registers.Bit, Scale: 1,
			MarksShot: role == registers.Pedal,
		})
	}
	for i, p := range b.config.Pots {
		temperature(registers.Melt, p.Name, 2*i)
		temperature(registers.Plate, p.Name, 2*i+1)
	}
	temperature(registers.Mould, "", 2*len(b.pots))
	temperature(registers.Room, "", 2*len(b.pots)+1)
	for i, p := range b.config.Pots {
		if b.config.Controllers {
			all = append(all, controllerChannels(p.Name)...)
			continue
		}
		all = append(all, registers.Channel{
			Role: registers.Heater, Pot: p.Name, Device: powerUnit,
			Function: 16, Address: uint16(i), Type: registers.Uint16,
			Words: registers.HighFirst, Bytes: registers.HighFirst,
			Scale: 1.0 / fullDuty, Unit: registers.Fraction,
		})
	}
	bit(registers.Contactor, powerUnit, 5, 0)
	for i, role := range []registers.Role{
		registers.EStop, registers.CutOut, registers.Fan, registers.Pedal, registers.Enable,
	} {
		bit(role, contactUnit, 2, uint16(i))
	}
	bit(registers.Lamp, contactUnit, 5, 0)
	bit(registers.Buzzer, contactUnit, 5, 1)
	return all
}
