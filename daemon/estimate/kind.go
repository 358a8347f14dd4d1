package estimate

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"meltwarden/config/quantity"
	"meltwarden/control/melt"
)

// kind is how a typed value is read, and what it must lie between to be believed (E: what
// is beyond is a slip of the pen or of the unit).
type kind struct {
	parse     func(string) (float64, error)
	low, high float64
	bounds    string // in words
}

var (
	meltTemperature  = kind{quantity.Temperature, 110, 200, "110 C to 200 C"}
	otherTemperature = kind{quantity.Temperature, 0, 200, "0 C to 200 C"}
	difference       = kind{quantity.Difference, 0, 60, "0 C to 60 C, as a difference"}
	bore             = kind{quantity.Length, 0.005, 0.06, "5 mm to 60 mm"}
	thickness        = kind{quantity.Length, 0.0005, 0.06, "0.5 mm to 60 mm"}
	shotMass         = kind{quantity.Mass, 0.001, 1, "1 g to 1 kg"}
	mouldMass        = kind{quantity.Mass, 0.05, 30, "50 g to 30 kg"}
	shortTime        = kind{inSeconds, 0, 300, "0 s to 5 min"}
	longTime         = kind{inSeconds, 1, 7200, "1 s to 2 h"}
	count            = kind{inShots, 1, 100, "1 to 100"}
	metal            = kind{parse: metalIndex, high: math.Inf(1)}
)

func (k kind) read(text string) (float64, *quantity.Fault) {
	v, err := k.parse(text)
	var fault *quantity.Fault
	switch {
	case errors.As(err, &fault):
		return 0, fault
	case !(v >= k.low && v <= k.high):
		return 0, &quantity.Fault{Wrong: "hard to believe", Fix: "check number and unit: " + k.bounds}
	}
	return v, nil
}

func inSeconds(text string) (float64, error) {
	d, err := quantity.Duration(text)
	return time.Duration(d).Seconds(), err
}

func inShots(text string) (float64, error) {
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0, &quantity.Fault{Wrong: "not a whole number", Fix: "write it like 10"}
	}
	return float64(n), nil
}

// metalIndex is which of melt.Metals a word is.
func metalIndex(text string) (float64, error) {
	i := slices.Index(metals(), text)
	if i < 0 {
		return 0, &quantity.Fault{Wrong: "not known", Fix: "write " + strings.Join(metals(), " or ")}
	}
	return float64(i), nil
}

// metals are the names of melt.Metals.
func metals() (names []string) {
	for _, s := range melt.Metals() {
		names = append(names, s.Name)
	}
	return names
}

func (g given) metal() melt.Stuff { return melt.Metals()[int(g["metal"])] }
