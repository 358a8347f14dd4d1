package thermocouple

import (
	"fmt"
	"math"
)

// MixUp is a thermocouple of one type on an input that is set to another, or one whose two
// wires are swapped.
type MixUp struct {
	Probe, Input Type
	Swapped      bool // and then both are of the probe's type
}

// String says what is mixed up.
func (m MixUp) String() string {
	if m.Swapped {
		return fmt.Sprintf("a type %v probe whose two wires are swapped", m.Probe)
	}
	return fmt.Sprintf("a type %v probe on an input set to type %v", m.Probe, m.Input)
}

// Shows is what the input shows of the probe at celsius, with the terminals of both at
// terminalsC, in °C; not a number where a type has no such temperature.
func (m MixUp) Shows(celsius, terminalsC float64) float64 {
	shown, err := Misread(m.Probe, m.Input, celsius, terminalsC)
	if m.Swapped {
		shown, err = swapped(m.Probe, celsius, terminalsC)
	}
	if err != nil {
		return math.NaN()
	}
	return shown
}

// swapped is what a thermocouple shows whose voltage comes the other way round.
func swapped(t Type, celsius, terminalsC float64) (float64, error) {
	hot, err := EMF(t, celsius)
	if err != nil {
		return 0, err
	}
	cold, err := EMF(t, terminalsC)
	if err != nil {
		return 0, err
	}
	return Temperature(t, 2*cold-hot)
}
