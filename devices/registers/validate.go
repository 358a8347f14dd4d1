package registers

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strconv"
	"strings"

	"meltwarden/devices/modbus"
	"meltwarden/devices/thermocouple"
)

// Problem is one thing wrong with a channel, in the words of the bench file.
type Problem struct {
	Key   string // such as function, or status.open
	Value string // as the file would have it, "" when there is none
	Wrong string
	Fix   string
}

// String returns the problem in one line.
func (p Problem) String() string {
	if p.Value == "" {
		return fmt.Sprintf("%s: %s; %s", p.Key, p.Wrong, p.Fix)
	}
	return fmt.Sprintf("%s: %q: %s; %s", p.Key, p.Value, p.Wrong, p.Fix)
}

// Error is everything that is wrong with a channel.
type Error struct{ Problems []Problem }

// Error returns one line for each problem.
func (e *Error) Error() string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// coarsest is the largest step of a heater's register, as a part of full power.
// Our estimate: with larger ones a pot swings. In practice they come from a
// forgotten scale.
const coarsest = 0.05

// Validate checks that the channel's parts make sense together. It can not see
// other channels: that a device in millivolts has a cold junction, or that no two
// channels write the same place, is for others to check. The error is an *Error.
func (c Channel) Validate() error {
	k := checker{Channel: c, kind: c.Role.kind()}
	if oneOf(&k, "role", k.Role, Roles(), "not known") {
		k.names()
		if oneOf(&k, "type", k.Type, k.kind.types(), fmt.Sprintf("role %s does not come so", k.Role)) {
			k.layout()
			k.number()
			k.extras()
		}
	}
	if len(k.problems) == 0 {
		return nil
	}
	return &Error{k.problems}
}

// checker collects the problems of a channel whose role is known.
type checker struct {
	Channel
	kind     kind
	problems []Problem
}

func (k *checker) wrong(key string, value any, wrong, fix string) {
	k.problems = append(k.problems, Problem{key, fmt.Sprint(value), wrong, fix})
}

// oneOf checks a value that must be one of a few, and reports whether it is. What
// is wrong with it otherwise is said for a value that is there.
func oneOf[T comparable](k *checker, key string, value T, allowed []T, wrong string) bool {
	if slices.Contains(allowed, value) {
		return true
	}
	var none T
	if value == none {
		wrong = "missing"
	}
	fix := "write " + list(allowed)
	if slices.Contains(allowed, none) {
		fix = "leave it out"
	}
	k.wrong(key, value, wrong, fix)
	return false
}

// list writes choices.
func list[T any](choices []T) string {
	words := make([]string, len(choices))
	for i, choice := range choices {
		words[i] = fmt.Sprint(choice)
	}
	if last := len(words) - 1; last > 0 {
		return strings.Join(words[:last], ", ") + " or " + words[last]
	}
	return words[0]
}

func (k *checker) names() {
	if k.Device == "" {
		k.wrong("device", "", "missing", "write the name of a device of the bench")
	}
	switch {
	case k.Role.ofPot() && k.Pot == "":
		k.wrong("pot", "", fmt.Sprintf("a %s belongs to a pot", k.Role), "write the pot's name")
	case !k.Role.ofPot() && !k.Role.mayBeOfPot() && k.Pot != "":
		k.wrong("pot", k.Pot, fmt.Sprintf("role %s belongs to no pot", k.Role), "leave it out")
	}
}

func (k *checker) layout() {
	misfit := fmt.Sprintf("does not go with role %s and type %s", k.Role, k.Type)
	oneOf(k, "function", k.Function, k.kind.functions(k.Type), misfit)
	oneOf(k, "unit", k.Unit, k.Role.units(k.Type), misfit)
	if int(k.Address)+k.Registers() > 1<<16 {
		k.wrong("address", k.Address, "the value's second register would be beyond 65535", "check the address")
	}
	orders, misfit := []Order{HighFirst, LowFirst}, "not known"
	if k.Type == Bit {
		orders, misfit = []Order{""}, "a bit has no order"
	}
	oneOf(k, "words", k.Words, orders, misfit)
	oneOf(k, "bytes", k.Bytes, orders, misfit)
}

// number checks how raw numbers become values.
func (k *checker) number() {
	switch {
	case !finite(k.Scale) || k.Scale == 0:
		k.wrong("scale", k.Scale, "every value would be lost", "write what one count is worth, such as 0.1")
	case !finite(k.Offset):
		k.wrong("offset", k.Offset, "not a finite number", "write what is added after scaling, such as 0")
	case k.Type == Bit && k.Scale != 1:
		k.wrong("scale", k.Scale, "a bit has no scale", "leave it out")
	case k.Type == Bit && k.Offset != 0:
		k.wrong("offset", k.Offset, "a bit has no offset", "leave it out")
	case k.kind == heater && k.Type != Bit && k.full() != 0:
		k.duty()
	case k.kind == target:
		k.target()
	}
}

// duty checks that a heater is off where its value is 0, also before anyone has
// written to it, and that full power can be written.
func (k *checker) duty() {
	coarse := fmt.Sprintf("steps of more than %g %% of full power", 100*coarsest)
	switch off, most := k.rawOff(), k.rawFull(); {
	case k.Scale < 0:
		k.wrong("scale", k.Scale, "a higher number must mean more heat", "write a scale above 0")
	case k.Offset > 0:
		k.wrong("offset", k.Offset, "a register that is still 0 would mean heat", "write 0 or less")
	case k.Type != Float32 && k.Scale > coarsest*k.full():
		k.wrong("scale", k.Scale, coarse, "write what one count is worth, such as 0.0001")
	case !k.Type.holds(off) || math.Abs(off*k.Scale+k.Offset) > nearlyWhole*k.full():
		k.wrong("offset", k.Offset, "no number of this type means exactly off", "write a whole multiple of the scale")
	case !k.Type.holds(most):
		k.wrong("scale", k.Scale, "full power does not fit into the type", "write a larger scale or type")
	case k.step()*k.Scale > coarsest*k.full(): // of a whole number it has been told
		k.wrong("offset", k.Offset, coarse, "write an offset nearer to 0")
	}
}

// extras checks what only some channels have.
func (k *checker) extras() {
	k.sentinels()
	k.status()
	k.inverted()
	k.mask()
	k.millivolts()
	k.correction()
	k.controller()
}

func (k *checker) sentinels() {
	for _, s := range k.Sentinels {
		value := strconv.FormatFloat(s, 'f', -1, 64)
		switch {
		case k.kind != temperature:
			k.wrong("sentinels", value, fmt.Sprintf("role %s has no measurement", k.Role), "leave it out")
		case !k.Type.holds(s):
			k.wrong("sentinels", value, fmt.Sprintf("%s never reads so", k.Type),
				"write the number as the type reads it, such as -32768 for 0x8000 in int16")
		}
	}
}

func (k *checker) correction() {
	switch {
	case !finite(k.CorrectionC):
		k.wrong("correction", k.CorrectionC, "not a finite number", "write a temperature difference, such as -1.2 C")
	case k.kind != temperature && k.CorrectionC != 0:
		k.wrong("correction", fmt.Sprintf("%g C", k.CorrectionC), fmt.Sprintf("role %s has no temperature", k.Role), "leave it out")
	case !finite(k.Calibrated.At(1)):
		k.wrong("calibration", k.Calibrated, "not a finite number", "calibrate again")
	case k.kind != temperature && k.Calibrated != Calibrated{}:
		k.wrong("calibration", k.Calibrated, fmt.Sprintf("role %s has no temperature", k.Role), "take it back")
	}
}

// inverted refuses an inversion where a coil that is 0 must mean off: that is
// what a device starts with, and what it falls back to when nobody writes. It
// refuses one as well where an input that reads 0 must not let heat flow: so does
// a broken wire.
func (k *checker) inverted() {
	if !k.Invert {
		return
	}
	switch {
	case k.Type != Bit:
		k.wrong("invert", k.Invert, "only a bit can be inverted", "leave it out")
	case k.kind == heater || k.Role == Contactor:
		k.wrong("invert", k.Invert, "a coil that is still 0 would mean heat", "leave it out, and wire the coil so that 0 is off")
	case k.Role == Enable:
		k.wrong("invert", k.Invert, "a broken wire would read as pressed", "leave it out, and wire the button normally open")
	case k.Role == EStop || k.Role == CutOut || k.Role == Fan:
		k.wrong("invert", k.Invert, "a broken wire would read as healthy", "leave it out, and wire the contact normally closed")
	}
}

// mask checks that a contact in a register is one of its bits, and that nothing else is.
func (k *checker) mask() {
	inRegister := k.kind == contact && (k.Function == modbus.ReadHolding || k.Function == modbus.ReadInput)
	value := fmt.Sprintf("0x%04X", k.Mask)
	switch {
	case inRegister && k.Mask == 0:
		k.wrong("mask", "", "a register has 16 bits", "write which of them is the contact, such as 0x0001 for the lowest")
	case inRegister && bits.OnesCount16(k.Mask) > 1:
		k.wrong("mask", value, "more than one bit", "write one of 0x0001, 0x0002, 0x0004, 0x0008, 0x0010 and so on")
	case !inRegister && k.Mask != 0:
		k.wrong("mask", value, "only a contact that is read by function 3 or 4 is a bit of a register", "leave it out")
	}
}

func (k *checker) millivolts() {
	if k.Unit != Millivolt {
		if k.Thermocouple != "" {
			k.wrong("thermocouple", k.Thermocouple, "only millivolts are converted here", "leave it out, and set the type on the device")
		}
		return
	}
	if _, err := thermocouple.Parse(k.Thermocouple); err != nil {
		k.wrong("thermocouple", k.Thermocouple, "millivolts need the type of their thermocouple", "write "+list(thermocouple.Types()))
	}
}

func (k *checker) status() {
	s := k.Status
	if s == nil {
		return
	}
	if k.kind != temperature {
		k.wrong("status", "", fmt.Sprintf("role %s has no measurement", k.Role), "leave it out")
		return
	}
	oneOf(k, "status.function", s.Function, temperature.functions(Uint16), "a status is read from a register")
	if s.Open|s.Shorted|s.Fault == 0 {
		k.wrong("status", "", "no bit of it means anything", "write a mask for open, shorted or fault, such as 0x0001")
	}
}
