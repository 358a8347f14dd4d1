package quantity

import (
	"fmt"
	"slices"
	"strings"
)

// Volume is an amount of liquid vinyl, with what the maker typed.
type Volume struct {
	ML    float64 `json:"mL"`    // millilitres
	Typed string  `json:"typed"` // the text as typed
}

// A US gallon is 231 cubic inches and an inch is 25.4 mm, both exactly (NIST
// Handbook 44, appendix C): 3785.411784 mL, which is 16 cups or 128 fluid
// ounces. A metric cup is 250 mL (common practice, no source).
const (
	usGallonML    = 3785.411784
	usCupML       = usGallonML / 16
	usFluidOzML   = usGallonML / 128
	metricCupML   = 250
	cupQuestion   = "write \"%[1]s US cup\" (236.6 mL) or \"%[1]s metric cup\" (250 mL)"
	ounceQuestion = "write \"%s fl oz (US)\" (29.57 mL each), or the volume in mL"
)

var volumeUnits = []unit{
	{"mL", 1},
	{"L", 1000},
	{"US cup", usCupML},
	{"metric cup", metricCupML},
	{"fl oz (US)", usFluidOzML},
}

// ParseVolume reads a volume in mL, L, US cup, metric cup or fl oz (US). A bare
// "cup" or "fl oz" is refused, because it has more than one size.
func ParseVolume(text string) (Volume, error) {
	n, err := split(text)
	if err != nil {
		return Volume{}, err
	}
	switch strings.ToLower(n.unit) {
	case "cup", "cups":
		return Volume{}, &Fault{"cups differ", fmt.Sprintf(cupQuestion, n.digits)}
	case "oz", "fl oz":
		return Volume{}, &Fault{"ounces differ", fmt.Sprintf(ounceQuestion, n.digits)}
	}
	ml, err := n.in(volumeUnits)
	if err != nil {
		return Volume{}, err
	}
	return Volume{ml, strings.TrimSpace(text)}, nil
}

// spoonUnits are volumes too small for a pot. A metric spoon is 5 mL (common practice, no
// source).
var spoonUnits = []unit{
	{"tbsp (US)", usFluidOzML / 2},
	{"tsp (US)", usFluidOzML / 6},
	{"metric tsp", 5},
}

var amountUnits = []unit{{"drops", 1}, {"mL", 1}, {"g", 1}, {"pinch", 1}}

// Amount checks a text such as "12 drops", "3 mL", "2 g" or "1 pinch" and
// returns it as typed. It is never converted: a drop has no fixed volume.
func Amount(text string) (string, error) {
	if _, err := measure(text, amountUnits); err != nil {
		return "", err
	}
	return strings.TrimSpace(text), nil
}

var additiveUnits = slices.Concat(percentUnits, amountUnits, volumeUnits[1:], spoonUnits)

// Additive checks a text such as "10 %" of the base, "25 mL" or "1 fl oz (US)" and
// returns it as typed. It must be more than nothing, and a share less than the whole.
func Additive(text string) (string, error) {
	v, err := measure(text, additiveUnits)
	if err != nil {
		return "", err
	}
	if share, err := measure(text, percentUnits); v <= 0 || err == nil && share >= 1 {
		return "", &Fault{"hard to believe", "check number and unit: above 0, and a share below 100 %"}
	}
	return strings.TrimSpace(text), nil
}

// AmountML is what an amount comes to in millilitres, as far as it is one in mL: zero
// where it is not. Drops and grams are not converted.
func AmountML(text string) float64 {
	ml, err := measure(text, []unit{{"mL", 1}})
	if err != nil || ml < 0 {
		return 0
	}
	return ml
}
