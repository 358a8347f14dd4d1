package commission

import (
	"fmt"
	"math"
	"strings"

	"meltwarden/config/quantity"
)

// The pressures of places where people live and of their weather, in kilopascals (E).
const leastKPa, mostKPa = 60.0, 110.0

// boiling reads where a person says that water boils, such as "boiling at 300 m" or
// "boiling at 985 hPa", and returns at how many degrees Celsius it does. is is false for
// words about something else.
func boiling(words string) (celsius float64, is bool, err error) {
	fields := strings.Fields(strings.TrimRight(words, ". "))
	if len(fields) == 0 || !strings.HasPrefix(strings.ToLower(fields[0]), "boil") {
		return 0, false, nil
	}
	place := strings.TrimPrefix(strings.Join(fields[1:], " "), "at ")
	kPa, err := quantity.Pressure(place)
	if err != nil {
		var m float64
		if m, err = quantity.Height(place); err != nil {
			return 0, true, fmt.Errorf("write how high the bench is above the sea, such as \"boiling at 300 m\", or the air's pressure there, such as \"boiling at 985 hPa\" (%w)", err)
		}
		kPa = pressureAt(m)
	}
	if !(kPa >= leastKPa && kPa <= mostKPa) {
		return 0, true, fmt.Errorf("%.0f hPa is no pressure that a bench stands in: type it again, with its unit", 10*kPa)
	}
	return boilsAt(kPa), true, nil
}

// pressureAt is the air's pressure in kilopascals at a height above the sea in metres, by
// the standard atmosphere (ISO 2533). Weather moves it by 3 kPa either way.
func pressureAt(m float64) float64 { return 101.325 * math.Pow(1-0.0065*m/288.15, 5.25588) }

// boilsAt is where water boils at a pressure in kilopascals, in degrees Celsius
// (IAPWS-IF97, region 4, equation 31).
func boilsAt(kPa float64) float64 {
	beta := math.Pow(kPa/1000, 0.25)
	e := beta*beta - 0.17073846940092e2*beta + 0.14915108613530e2
	f := 0.11670521452767e4*beta*beta + 0.12020824702470e5*beta - 0.48232657361591e4
	g := -0.72421316703206e6*beta*beta - 0.32325550322333e7*beta + 0.40511340542057e6
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	const n9, n10 = -0.23855557567849, 0.65017534844798e3
	kelvin := (n10 + d - math.Sqrt((n10+d)*(n10+d)-4*(n9+n10*d))) / 2
	return kelvin - 273.15
}
