package registers

import "meltwarden/devices/modbus"

// kind is what roles have in common: how they are wired.
type kind uint8

const (
	unknownKind kind = iota
	temperature      // a number that is read
	contact          // a bit that is read
	heater           // a duty, or a bit, that is written
	target           // a temperature that is written
	relay            // a bit that is written
)

// Roles returns every role there is.
func Roles() []Role {
	return []Role{
		Melt, Plate, Injector, Mould, Room, ColdJunction, EStop, CutOut, Fan, Pedal, Enable,
		StirButton, DrawButton, ShotButton, Lid,
		Heater, Setpoint, SetpointRead, ProcessValue, Lamp, Buzzer, Contactor,
	}
}

func (r Role) kind() kind {
	switch r {
	case Melt, Plate, Injector, Mould, Room, ColdJunction, SetpointRead, ProcessValue:
		return temperature
	case EStop, CutOut, Fan, Pedal, Enable, StirButton, DrawButton, ShotButton, Lid:
		return contact
	case Heater:
		return heater
	case Setpoint:
		return target
	case Lamp, Buzzer, Contactor:
		return relay
	}
	return unknownKind
}

// Read reports whether such a channel is read, rather than written.
func (r Role) Read() bool { return r.kind() == temperature || r.kind() == contact }

// ClosedAtRest reports whether the contact is closed while all is well and nobody touches
// it. Any other is open until somebody presses it.
func (r Role) ClosedAtRest() bool { return r == EStop || r == CutOut || r == Fan || r == Lid }

// ofPot reports whether there is one such channel for each pot.
func (r Role) ofPot() bool {
	switch r {
	case Melt, Plate, Injector, Heater, Setpoint, SetpointRead, ProcessValue, StirButton, DrawButton:
		return true
	}
	return false
}

// mayBeOfPot reports whether such a channel is of a pot or of the whole bench, as it says.
func (r Role) mayBeOfPot() bool { return r == Lid }

// types returns how a value of this kind may be laid out.
func (k kind) types() []Type {
	numbers := []Type{Int16, Uint16, Int32, Uint32, Float32}
	switch k {
	case temperature, target:
		return numbers
	case heater:
		return append([]Type{Bit}, numbers...)
	}
	return []Type{Bit}
}

// functions returns the functions by which a channel of this kind and type is
// read or written.
func (k kind) functions(t Type) []uint8 {
	switch {
	case k == temperature:
		return []uint8{modbus.ReadHolding, modbus.ReadInput}
	case k == contact:
		return []uint8{modbus.ReadCoils, modbus.ReadInputs, modbus.ReadHolding, modbus.ReadInput}
	case t == Bit:
		return []uint8{modbus.WriteCoil, modbus.WriteCoils}
	case (Channel{Type: t}).Registers() == 2: // function 6 writes one register
		return []uint8{modbus.WriteRegisters}
	}
	return []uint8{modbus.WriteRegister, modbus.WriteRegisters}
}

// units returns the units a channel of this role and type may have.
func (r Role) units(t Type) []Unit {
	switch {
	case r == ColdJunction, r == SetpointRead, r == ProcessValue, r == Setpoint:
		return []Unit{Celsius, Fahrenheit}
	case r.kind() == temperature:
		return []Unit{Celsius, Fahrenheit, Millivolt}
	case r.kind() == heater && t != Bit:
		return []Unit{Fraction, Percent}
	}
	return []Unit{NoUnit}
}

func reads(function uint8) bool {
	return function >= modbus.ReadCoils && function <= modbus.ReadInput
}

func writes(function uint8) bool { return writesBits(function) || writesRegisters(function) }

func writesBits(function uint8) bool {
	return function == modbus.WriteCoil || function == modbus.WriteCoils
}

func writesRegisters(function uint8) bool {
	return function == modbus.WriteRegister || function == modbus.WriteRegisters
}

// mostAtOnce returns how many bits or registers one request may carry
// (application protocol specification V1.1b3, section 6).
func mostAtOnce(function uint8) int {
	switch function {
	case modbus.ReadCoils, modbus.ReadInputs:
		return 2000
	case modbus.ReadHolding, modbus.ReadInput:
		return 125
	case modbus.WriteCoils:
		return 1968
	case modbus.WriteRegisters:
		return 123
	}
	return 1
}
