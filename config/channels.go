package config

import (
	"meltwarden/config/strict"
	"meltwarden/devices/registers"
)

var roles = []registers.Role{
	registers.Melt, registers.Plate, registers.Injector, registers.Mould, registers.Room,
	registers.ColdJunction, registers.EStop, registers.CutOut, registers.Fan, registers.Pedal,
	registers.Enable, registers.Heater, registers.Lamp, registers.Buzzer, registers.Contactor,
}

// The most that a function code, a register address and a register can be.
const (
	maxFunction = 16
	maxRegister = 0xFFFF
)

func readChannel(m *strict.Map, src *strict.Source) registers.Channel {
	defer m.Done()
	c := registers.Channel{
		Role:     strict.Required(m, "role", oneOf(roles...)),
		Pot:      strict.Optional(m, "pot", name("left"), ""),
		Device:   strict.Required(m, "device", name("thermocouples")),
		Function: uint8(strict.Required(m, "function", whole("4", 1, maxFunction))),
		Address:  register(m, "address"),
		Type: strict.Required(m, "type", oneOf(registers.Int16, registers.Bit, registers.Uint16,
			registers.Int32, registers.Uint32, registers.Float32)),
		Scale:  strict.Optional(m, "scale", decimal("0.1"), defaultScale),
		Offset: strict.Optional(m, "offset", decimal("0"), 0),
		Unit: strict.Optional(m, "unit", oneOf(registers.Celsius, registers.Fahrenheit, registers.Millivolt,
			registers.Fraction, registers.Percent), registers.NoUnit),
		Sentinels:    sentinels(m),
		Invert:       strict.Optional(m, "invert", yesNo(), false),
		Thermocouple: strict.Optional(m, "thermocouple", text("K"), ""),
		CorrectionC:  strict.Optional(m, "correction", difference("-1.2 C", -maxCorrectionC, maxCorrectionC), 0),
	}
	c.Words, c.Bytes = orders(m, c.Type)
	if m.Has("status") {
		c.Status = readStatus(m.Map("status"))
	}
	return c
}

// register is a number of 16 bits: an address or a mask.
func register(m *strict.Map, key string) uint16 {
	return uint16(strict.Required(m, key, whole("0", 0, maxRegister)))
}

func sentinels(m *strict.Map) []float64 {
	var list []float64
	for _, raw := range strict.Values(m, "sentinels", whole("0x7FFF", -1<<31, 1<<32-1)) {
		list = append(list, float64(raw))
	}
	return list
}

// orders returns the order of words and bytes. The open standard sends the high
// part first (P: Modbus application protocol V1.1b3, 4.2); a bit has no order.
func orders(m *strict.Map, t registers.Type) (words, bytes registers.Order) {
	usual := registers.HighFirst
	if t == registers.Bit {
		usual = ""
	}
	order := oneOf(registers.HighFirst, registers.LowFirst)
	return strict.Optional(m, "words", order, usual), strict.Optional(m, "bytes", order, usual)
}

func readStatus(m *strict.Map) *registers.Status {
	defer m.Done()
	mask := whole("0x0001", 0, maxRegister)
	return &registers.Status{
		Function: uint8(strict.Required(m, "function", whole("4", 1, maxFunction))),
		Address:  register(m, "address"),
		Open:     uint16(strict.Optional(m, "open", mask, 0)),
		Shorted:  uint16(strict.Optional(m, "shorted", mask, 0)),
		Fault:    uint16(strict.Optional(m, "fault", mask, 0)),
	}
}
