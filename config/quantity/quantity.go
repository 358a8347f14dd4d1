// Package quantity reads what a maker types, such as "165 C", "2 min" or
// "1 US cup", into one number in a fixed unit. A bare number is never guessed
// at: every quantity carries its unit. It does not judge whether a value makes
// sense; that is for those who know what the value is for.
package quantity

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Fault says what is wrong with a typed text and what to write instead. Every
// error of this package is one.
type Fault struct{ Wrong, Fix string }

// Error returns both halves in one line.
func (f *Fault) Error() string { return f.Wrong + "; " + f.Fix }

// unit is one way to write a quantity: value = number × factor.
type unit struct {
	name   string
	factor float64
}

// In every list the unit to suggest comes first.
var (
	powerUnits    = []unit{{"W", 1}, {"kW", 1000}}
	voltageUnits  = []unit{{"V", 1}}
	currentUnits  = []unit{{"A", 1}}
	durationUnits = []unit{
		{"s", float64(time.Second)},
		{"min", float64(time.Minute)},
		{"h", float64(time.Hour)},
		{"ms", float64(time.Millisecond)},
	}
	dayUnits = []unit{{"days", float64(24 * time.Hour)}}
	// The scale has no zero point here: a difference of 9 F is one of 5 C.
	differenceUnits = []unit{{"C", 1}, {"F", 5.0 / 9}}
	percentUnits    = []unit{{"%", 0.01}}
	// Of a foot and a bar, exact: NIST SP 811, appendix B.8.
	heightUnits = []unit{{"m", 1}, {"ft", 0.3048}}
	// Of a thermochemical calorie, exact: NIST SP 811, appendix B.8.
	molarUnits    = []unit{{"kJ/mol", 1}, {"J/mol", 0.001}, {"kcal/mol", 4.184}}
	pressureUnits = []unit{{"hPa", 0.1}, {"kPa", 1}, {"mbar", 0.1}}
)

// spellings are other ways to write a unit.
var spellings = map[string]string{
	"°C": "C", "°F": "F", "ml": "mL", "l": "L",
	"US cups": "US cup", "metric cups": "metric cup", "US fl oz": "fl oz (US)",
	"drop": "drops", "pinches": "pinch", "day": "days", "d": "days",
}

// Power reads watts from a text in W or kW.
func Power(text string) (float64, error) { return measure(text, powerUnits) }

// Voltage reads volts from a text in V.
func Voltage(text string) (float64, error) { return measure(text, voltageUnits) }

// Current reads amperes from a text in A.
func Current(text string) (float64, error) { return measure(text, currentUnits) }

// Height reads metres from a text in m or ft.
func Height(text string) (float64, error) { return measure(text, heightUnits) }

// Pressure reads kilopascals from a text in hPa, kPa or mbar.
func Pressure(text string) (float64, error) { return measure(text, pressureUnits) }

// MolarEnergy reads kilojoules a mole from a text in kJ/mol, J/mol or kcal/mol.
func MolarEnergy(text string) (float64, error) { return measure(text, molarUnits) }

// Difference reads a temperature difference in kelvins from a text in C or F:
// "2 C" is 2 and "9 F" is 5. It is not a temperature: see Temperature.
func Difference(text string) (float64, error) { return measure(text, differenceUnits) }

// Duration reads a time span from a text in ms, s, min or h.
func Duration(text string) (time.Duration, error) { return span(text, durationUnits, "90 s") }

// Days reads a time span from a text in days, of 24 hours each: what is kept is kept for
// longer than anything is heated.
func Days(text string) (time.Duration, error) { return span(text, dayUnits, "365 days") }

func span(text string, units []unit, example string) (time.Duration, error) {
	ns, err := measure(text, units)
	if err != nil {
		return 0, err
	}
	if math.Abs(ns) >= math.MaxInt64 {
		return 0, &Fault{"far too long", fmt.Sprintf("write a time such as %q", example)}
	}
	return time.Duration(math.Round(ns)), nil
}

// Temperature reads degrees Celsius from a text in C or F, with or without a
// degree sign. °C = (°F − 32) × 5/9 (exact: NIST SP 811, appendix B.8).
func Temperature(text string) (float64, error) {
	n, err := split(text)
	if err != nil {
		return 0, err
	}
	switch n.unit {
	case "C":
		return n.value, nil
	case "F":
		return (n.value - 32) * 5 / 9, nil
	case "":
		return 0, &Fault{"unit missing", fmt.Sprintf("write \"%s C\" or \"%[1]s F\", whichever it is", n.digits)}
	}
	return 0, n.unknownUnit(differenceUnits)
}

// OtherScale reads the text as if its C were an F, or its F a C. It returns the
// text so changed and its degrees Celsius: the guide for a "did you mean".
func OtherScale(text string) (swapped string, celsius float64, err error) {
	switch {
	case strings.HasSuffix(text, "C"):
		swapped = strings.TrimSuffix(text, "C") + "F"
	case strings.HasSuffix(text, "F"):
		swapped = strings.TrimSuffix(text, "F") + "C"
	default:
		swapped = text
	}
	celsius, err = Temperature(swapped)
	return swapped, celsius, err
}

// Fraction reads a share from 0 to 1: "80 %" and "0.8" are the same.
func Fraction(text string) (float64, error) {
	n, err := split(text)
	if err != nil {
		return 0, err
	}
	if n.unit == "" && n.value > 1 {
		return 0, &Fault{"more than the whole", fmt.Sprintf("write \"%s %%\" if a percentage is meant", n.digits)}
	}
	f := n.value
	if n.unit != "" {
		if f, err = n.in(percentUnits); err != nil {
			return 0, err
		}
	}
	if f < 0 || f > 1 {
		return 0, &Fault{"not a share of a whole", "write 0 % to 100 %"}
	}
	return f, nil
}

// number is a typed quantity taken apart.
type number struct {
	value  float64
	digits string // the number as typed
	unit   string // what follows it, "" for nothing
}

var leadingNumber = regexp.MustCompile(`^[+-]?(\d+(\.\d*)?|\.\d+)`)

func split(text string) (number, error) {
	text = strings.TrimSpace(text)
	digits := leadingNumber.FindString(text)
	if digits == "" {
		return number{}, &Fault{"does not begin with a number", "write digits, a point where needed, then the unit"}
	}
	rest := strings.Join(strings.Fields(text[len(digits):]), " ")
	if strings.HasPrefix(rest, ",") {
		return number{}, &Fault{"comma in the number", "write a decimal point, and no mark between thousands"}
	}
	if strings.HasPrefix(rest, "/") {
		return number{}, &Fault{"written as a fraction", "write it with a decimal point: 0.5 for 1/2"}
	}
	value, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return number{}, tooLarge()
	}
	if name, ok := spellings[rest]; ok {
		rest = name
	}
	return number{value, digits, rest}, nil
}

func measure(text string, units []unit) (float64, error) {
	n, err := split(text)
	if err != nil {
		return 0, err
	}
	return n.in(units)
}

// in returns the value in the unit that all factors refer to.
func (n number) in(units []unit) (float64, error) {
	for _, u := range units {
		if n.unit != u.name {
			continue
		}
		if v := n.value * u.factor; !math.IsInf(v, 0) {
			return v, nil
		}
		return 0, tooLarge()
	}
	if n.unit == "" {
		return 0, &Fault{"unit missing", fmt.Sprintf("write \"%s %s\"", n.digits, units[0].name)}
	}
	return 0, n.unknownUnit(units)
}

func (n number) unknownUnit(units []unit) error {
	wrong := fmt.Sprintf("unit %q unknown", n.unit)
	names := make([]string, len(units))
	for i, u := range units {
		names[i] = fmt.Sprintf("%q", n.digits+" "+u.name)
		if strings.EqualFold(u.name, n.unit) {
			return &Fault{wrong, "write " + names[i]}
		}
	}
	return &Fault{wrong, "write " + strings.Join(names, " or ")}
}

func tooLarge() error { return &Fault{"number too large", "write a number that fits the bench"} }
