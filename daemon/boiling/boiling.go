// Package boiling says at how many degrees water boils where the bench stands, by the
// standard atmosphere (ISO 2533) and the steam tables (IAPWS-IF97, region 4), and how far
// the water in an open pan may be from that. It promises nothing of water with salt in it.
package boiling

import (
	"fmt"
	"math"
	"strings"

	"meltwarden/config/quantity"
)

// The pressures of places where people live and of their weather, in kilopascals (E).
const leastKPa, mostKPa = 60.0, 110.0

// How far boiling water in an open pan may be from where it boils, in degrees Celsius: PanC
// where the air's pressure is known, and by the weather more where only the height is.
const (
	PanC     = 0.3 // E: minerals of tap water, and a few centimetres of depth
	weatherC = 0.8 // weather moves the air's pressure by 3 kPa either way (C), at 0.277 K a kPa
)

// Water is water that boils.
type Water struct {
	C float64 // where it boils, degrees Celsius
	// WithinC is how far it may be from that, in degrees Celsius: more where only the height
	// was said, which knows nothing of the weather.
	WithinC float64
}

// Said reads where a person says that water boils, such as "boiling at 300 m" or
// "boiling at 985 hPa". is is false for words about something else.
func Said(words string) (w Water, is bool, err error) {
	fields := strings.Fields(strings.TrimRight(words, ". "))
	if len(fields) == 0 || !strings.HasPrefix(strings.ToLower(fields[0]), "boil") {
		return Water{}, false, nil
	}
	place := strings.TrimPrefix(strings.Join(fields[1:], " "), "at ")
	w.WithinC = PanC
	kPa, err := quantity.Pressure(place)
	if err != nil {
		var m float64
		if m, err = quantity.Height(place); err != nil {
			return Water{}, true, fmt.Errorf("write how high the bench is above the sea, such as \"boiling at 300 m\", or the air's pressure there, such as \"boiling at 985 hPa\" (%w)", err)
		}
		kPa, w.WithinC = Pressure(m), math.Hypot(PanC, weatherC)
	}
	if !(kPa >= leastKPa && kPa <= mostKPa) {
		return Water{}, true, fmt.Errorf("%.0f hPa is no pressure that a bench stands in: type it again, with its unit", 10*kPa)
	}
	w.C = Point(kPa)
	return w, true, nil
}

// Pressure is the air's pressure in kilopascals at a height above the sea in metres, by
// the standard atmosphere (ISO 2533). Weather moves it by 3 kPa either way.
func Pressure(m float64) float64 { return 101.325 * math.Pow(1-0.0065*m/288.15, 5.25588) }

// Point is where water boils at a pressure in kilopascals, in degrees Celsius
// (IAPWS-IF97, region 4, equation 31).
func Point(kPa float64) float64 {
	beta := math.Pow(kPa/1000, 0.25)
	e := beta*beta - 0.17073846940092e2*beta + 0.14915108613530e2
	f := 0.11670521452767e4*beta*beta + 0.12020824702470e5*beta - 0.48232657361591e4
	g := -0.72421316703206e6*beta*beta - 0.32325550322333e7*beta + 0.40511340542057e6
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	const n9, n10 = -0.23855557567849, 0.65017534844798e3
	kelvin := (n10 + d - math.Sqrt((n10+d)*(n10+d)-4*(n9+n10*d))) / 2
	return kelvin - 273.15
}
