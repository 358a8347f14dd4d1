package commission

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"meltwarden/config/quantity"
	"meltwarden/devices/thermocouple"
)

// mixUp is a thermocouple of one type on an input set to another.
type mixUp struct{ probe, input thermocouple.Type }

// mixUps are those that a bench is likely to have: most probes are type K, some are
// type J (from memory).
var mixUps = []mixUp{{thermocouple.K, thermocouple.J}, {thermocouple.J, thermocouple.K}}

func (m mixUp) String() string {
	return fmt.Sprintf("a type %v probe on an input set to type %v", m.probe, m.input)
}

// shows is what the input shows of the probe at celsius, not a number where a type has
// no such temperature.
func (m mixUp) shows(celsius, terminalsC float64) float64 {
	shown, err := thermocouple.Misread(m.probe, m.input, celsius, terminalsC)
	if err != nil {
		return math.NaN()
	}
	return shown
}

// compare asks what a thermometer in the same cup says, and holds the probe against it.
// The terminals count as being as cold as the probes were. That there is none has to be
// said: a key that was hit too early must not pass for it.
func (d *dipping) compare(ctx context.Context, found *Dip) error {
	terminalsC := mean(slices.Concat(d.plates, d.melts))
	d.say("  What does a thermometer in the same cup say? Such as 57 C or 134 F. If there is none,\n" +
		"  type: none. A wrong thermocouple type is then not excluded: vinyl that reads 170 °C may have 210.\n")
	for {
		words, err := d.line(ctx)
		if err != nil || plain(words) == "none" {
			return err
		}
		cupC, err := cup(words, terminalsC)
		if err == nil {
			err = d.wrong
		}
		if err != nil {
			d.say("   Not accepted: %v.\n", err)
			continue
		}
		shownC := math.Round(10*d.w.melts[d.pot].mean()) / 10
		found.ThermometerC, found.ShownC = &cupC, &shownC
		found.Result, found.Fits = suits(cupC, shownC, terminalsC)
		return nil
	}
}

// cup reads what a thermometer says, in degrees Celsius. It refuses what is no hot
// water, and water that is too cool to tell one type from another.
func cup(words string, terminalsC float64) (float64, error) {
	c, err := quantity.Temperature(strings.TrimRight(words, ". "))
	if err != nil {
		return 0, err
	}
	if !(c >= cupLowC && c <= cupHighC) {
		return 0, fmt.Errorf("%.0f °C is no hot tap water, which has %.0f to %.0f °C: type it again, with its unit", c, cupLowC, cupHighC)
	}
	for _, m := range mixUps {
		if math.Abs(m.shows(c, terminalsC)-c) <= differC {
			return 0, fmt.Errorf("in water of %.0f °C a wrong type would not show: take hotter water, wait for half a minute and type again, or type: none", c)
		}
	}
	return c, nil
}

// suits reports whether a probe may show what it shows in water at cupC: at most
// differC from it, and nearer to it than to what a mix-up of types would show. Where
// a mix-up fits, it is named.
func suits(cupC, shownC, terminalsC float64) (result Result, fits string) {
	off := math.Abs(shownC - cupC)
	nearest := off
	for _, m := range mixUps {
		if o := math.Abs(shownC - m.shows(cupC, terminalsC)); o < nearest {
			nearest, fits = o, m.String()
		}
	}
	switch {
	case nearest > differC:
		return Differs, ""
	case fits != "":
		return Differs, fits
	}
	return Right, ""
}

const notCompared = "not compared with a thermometer, so that a wrong thermocouple type is not excluded"

// compared says how the probe was held against a thermometer.
func (d *Dip) compared() string {
	if d.ThermometerC == nil {
		return notCompared
	}
	return fmt.Sprintf("shows %.1f °C where a thermometer said %.1f °C", *d.ShownC, *d.ThermometerC)
}

// differs says what may be wrong with a probe that is not what a thermometer says.
func (d *Dip) differs() string {
	if d.Fits == "" {
		return fmt.Sprintf("the melt probe of pot %s %s; at most %.1f °C apart is right. Type K for J, or J for K, does not explain that: try again with another thermometer, and check probe, input and channel",
			d.Pot, d.compared(), differC)
	}
	return fmt.Sprintf("the melt probe of pot %s %s, as %s does. If the thermometer is right: %sset the input to the type of its probe (or thermocouple in the bench file, for millivolts), or change the probe", d.Pot, d.compared(), d.Fits, electrician)
}
