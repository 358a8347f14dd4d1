package config

import (
	"errors"
	"strings"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/devices/registers"
)

// The most that a function code, a register address and a register can be.
const (
	maxFunction = 16
	maxRegister = 0xFFFF
)

func readChannel(m *strict.Map, src *strict.Source) registers.Channel {
	defer m.Done()
	c := registers.Channel{
		Role:         registers.Role(strict.Required(m, "role", name("melt"))),
		Pot:          strict.Optional(m, "pot", name("left"), ""),
		Device:       strict.Required(m, "device", name("thermocouples")),
		Function:     uint8(strict.Required(m, "function", whole("4", 1, maxFunction))),
		Address:      register(m, "address"),
		Type:         registers.Type(strict.Required(m, "type", name("int16"))),
		Scale:        strict.Optional(m, "scale", decimal("0.1"), defaultScale),
		Offset:       strict.Optional(m, "offset", decimal("0"), 0),
		Unit:         registers.Unit(strict.Optional(m, "unit", name("C"), "")),
		Sentinels:    sentinels(m),
		Invert:       strict.Optional(m, "invert", yesNo(), false),
		Mask:         uint16(strict.Optional(m, "mask", whole("0x0001", 0, maxRegister), 0)),
		Thermocouple: strict.Optional(m, "thermocouple", name("K"), ""),
		RestC:        strict.Optional(m, "rest", temperature("5 C", minRestC, maxRestC), 0),
		Senses:       registers.Sensed(strict.Optional(m, "senses", name("plate"), "")),
		CorrectionC:  strict.Optional(m, "correction", difference("-1.2 C", -maxCorrectionC, maxCorrectionC), 0),
	}
	c.Words, c.Bytes = orders(m, c.Type)
	if m.Has("short-press") {
		c.MarksShot = readShortPress(m, src, c.Role)
	}
	if m.Has("status") {
		c.Status = readStatus(m.Map("status"))
	}
	complainOfChannel(src, m.Path(""), c.Validate())
	return c
}

// readShortPress is what a short press of the pedal means beside silence.
func readShortPress(m *strict.Map, src *strict.Source, role registers.Role) bool {
	means := strict.Optional(m, "short-press", kind(func(typed string) (string, error) {
		if typed != "shot" {
			return "", &quantity.Fault{Wrong: "not what a short press can mean", Fix: "write shot, or leave it out: then any press silences"}
		}
		return typed, nil
	}, "shot"), "")
	if role != registers.Pedal {
		src.Complain(m.Path("short-press"), "only a pedal's press has two meanings", "leave it out")
	}
	return means != ""
}

// complainOfChannel gives the problems of a channel their place in the file.
func complainOfChannel(src *strict.Source, path string, err error) {
	var e *registers.Error
	if !errors.As(err, &e) {
		return
	}
	statusFailed := src.Failed(path + ".status") // then what it lacks is a consequence
	for _, p := range e.Problems {
		if !statusFailed || !strings.HasPrefix(p.Key, "status") {
			src.Complain(path+"."+p.Key, p.Wrong, p.Fix)
		}
	}
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
	usual := string(registers.HighFirst)
	if t == registers.Bit {
		usual = ""
	}
	order := name(string(registers.HighFirst))
	return registers.Order(strict.Optional(m, "words", order, usual)), registers.Order(strict.Optional(m, "bytes", order, usual))
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
