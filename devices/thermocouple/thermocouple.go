// Package thermocouple turns the voltage of a thermocouple into the temperature
// of its measuring junction and back, by the reference functions of ITS-90 for
// the letter-designated types B, E, J, K, N, R, S and T (NIST Monograph 175,
// 1993; IEC 60584-1:2013). Both directions use the same function, the inverse by
// solving it, so that they agree over the whole range of a type, also where no
// inverse function is published. Nothing is extrapolated: what lies outside the
// range is an error.
//
// Temperatures are in degrees Celsius, voltages in millivolts.
package thermocouple

import (
	"errors"
	"fmt"
)

// Type is the letter of a thermocouple type.
type Type byte

// The types that have a reference function.
const (
	B Type = 'B'
	E Type = 'E'
	J Type = 'J'
	K Type = 'K'
	N Type = 'N'
	R Type = 'R'
	S Type = 'S'
	T Type = 'T'
)

// Types returns every type, in the order of the alphabet.
func Types() []Type { return []Type{B, E, J, K, N, R, S, T} }

// Parse reads a type from its letter, a capital.
func Parse(letter string) (Type, error) {
	if len(letter) == 1 && curveOf(Type(letter[0])) != nil {
		return Type(letter[0]), nil
	}
	return 0, fmt.Errorf("thermocouple type %q is not known, write one of B, E, J, K, N, R, S, T", letter)
}

// String returns the letter.
func (t Type) String() string { return string(rune(t)) }

// Range returns the temperatures between which the reference function of the
// type is defined, in °C; both are zero for an unknown type.
func (t Type) Range() (lowC, highC float64) {
	c := curveOf(t)
	if c == nil {
		return 0, 0
	}
	return c.lowC(), c.highC()
}

// OutsideError is a temperature or a voltage, possibly not a number, for which
// the type has no value.
type OutsideError struct {
	Type      Type
	Value     float64
	Low, High float64
	Unit      string // of all three, "°C" or "mV"
}

// Error names type, value and range.
func (e *OutsideError) Error() string {
	return fmt.Sprintf("%.6g %s is outside the table of thermocouple type %v, which goes from %.6g to %.6g %s",
		e.Value, e.Unit, e.Type, e.Low, e.High, e.Unit)
}

// ErrColdJunction says that the temperature of the reference junction is to
// blame, not the measured voltage.
var ErrColdJunction = errors.New("reference junction")

// EMF returns the voltage in mV of a thermocouple whose measuring junction is at
// the given temperature in °C and whose reference junction is at 0 °C (NIST
// Monograph 175). The error is an *OutsideError, or says that the type is unknown.
func EMF(t Type, celsius float64) (mV float64, err error) {
	c := curveOf(t)
	if c == nil {
		return 0, unknown(t)
	}
	if !(celsius >= c.lowC() && celsius <= c.highC()) {
		return 0, &OutsideError{Type: t, Value: celsius, Low: c.lowC(), High: c.highC(), Unit: "°C"}
	}
	mV, _ = c.at(celsius).emf(celsius)
	return mV, nil
}

// Temperature returns the temperature in °C of a measuring junction that gives
// the voltage in mV while the reference junction is at 0 °C. It solves EMF, to
// far below a thousandth of a degree.
//
// Type B has its lowest voltage, -0.0026 mV, at 21.02 °C and gives every voltage
// below 0 mV at two temperatures. The answer is then the higher of the two: a
// type B below 42 °C can not be told from one at the mirrored temperature, and
// nobody measures there.
//
// The error is an *OutsideError, or says that the type is unknown.
func Temperature(t Type, mV float64) (celsius float64, err error) {
	c := curveOf(t)
	if c == nil {
		return 0, unknown(t)
	}
	if !(mV >= c.lowMV() && mV <= c.highMV()) {
		return 0, &OutsideError{Type: t, Value: mV, Low: c.lowMV(), High: c.highMV(), Unit: "mV"}
	}
	return c.solve(mV), nil
}

// Compensate returns the temperature in °C of a measuring junction from the
// voltage in mV measured at terminals that are themselves at coldJunctionC. It
// adds voltages, since adding temperatures is wrong wherever the thermocouple is
// not linear: E(hot) = measured + E(cold junction). The error is an
// *OutsideError, which ErrColdJunction wraps when the terminals are to blame, or
// says that the type is unknown.
func Compensate(t Type, measuredMV, coldJunctionC float64) (celsius float64, err error) {
	reference, err := EMF(t, coldJunctionC)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", ErrColdJunction, err)
	}
	return Temperature(t, measuredMV+reference)
}

// Misread returns what an input set to one type shows, in °C, of a thermocouple of
// another whose measuring junction is at celsius, with the terminals of both at
// coldJunctionC: E_input(shown) − E_input(cold junction) = E_probe(hot) − E_probe(cold
// junction). The error is as of Compensate.
func Misread(probe, input Type, celsius, coldJunctionC float64) (float64, error) {
	hot, err := EMF(probe, celsius)
	if err != nil {
		return 0, err
	}
	terminals, err := EMF(probe, coldJunctionC)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", ErrColdJunction, err)
	}
	return Compensate(input, hot-terminals, coldJunctionC)
}

func unknown(t Type) error { return fmt.Errorf("thermocouple type %q is not known", byte(t)) }
