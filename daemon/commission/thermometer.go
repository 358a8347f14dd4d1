package commission

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"meltwarden/config/quantity"
	"meltwarden/daemon/boiling"
	"meltwarden/devices/thermocouple"
)

// mixUps are those that a bench is likely to have: most probes are type K, some are
// type J (from memory).
var mixUps = []thermocouple.MixUp{{Probe: thermocouple.K, Input: thermocouple.J}, {Probe: thermocouple.J, Input: thermocouple.K}}

// reference is what the water that a probe is in has, in degrees Celsius, and how far the
// probe may be from that.
type reference struct {
	celsius, within float64
	boiling         string // as typed, "" for a thermometer in the same cup
}

const askThermometer = "  What does a thermometer in the same cup say? Such as 57 C or 134 F. It is needed: with a wrong thermocouple type vinyl that reads 170 °C may have 217.\n" +
	"  If you have none, put the tip into water that boils in an open pan on a cooker (not onto its bottom), wait for half a minute, and type how high you are above the sea, or the air's pressure there (not the one reduced to sea level): boiling at 300 m, or: boiling at 985 hPa\n" +
	"  STEAM BURNS AND IS NOT SEEN: gauntlet on, hold the cable from the side, face and arm not over the pan.\n"

// compare asks what the water in the same cup has, and holds the probe against it. The
// terminals count as being as cold as the probes were.
func (d *dipping) compare(ctx context.Context, found *Dip) error {
	terminalsC := mean(slices.Concat(d.plates, d.melts))
	d.say(askThermometer)
	for {
		words, err := d.line(ctx)
		if err != nil {
			return err
		}
		water, err := waterOf(words, terminalsC)
		if err == nil && water.boiling != "" {
			if err := d.settle(ctx); err != nil {
				return err
			}
		}
		if err == nil {
			err = d.wrong
		}
		shownC := math.Round(10*d.w.melts[d.pot].mean()) / 10
		if err == nil && water.boiling != "" && water.celsius-shownC > mostMixUpC {
			err = fmt.Errorf("the tip shows %.1f °C, which is no boiling water: put it there, wait for half a minute and type it again", shownC)
		}
		if err != nil {
			d.say("   Not accepted: %v.\n", err)
			continue
		}
		found.ThermometerC, found.ShownC, found.Boiling = &water.celsius, &shownC, water.boiling
		found.Result, found.Fits = suits(water, shownC, terminalsC)
		return nil
	}
}

// waterOf reads what a person says of the water.
func waterOf(words string, terminalsC float64) (reference, error) {
	if water, is, err := boiling.Said(words); is {
		return reference{water.C, boilingC + classC, words}, err
	}
	if plain(words) == "none" {
		return reference{}, errors.New("then take boiling water")
	}
	c, err := cup(words, terminalsC)
	return reference{celsius: c, within: thermometerC + classC}, err
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
		if math.Abs(m.Shows(c, terminalsC)-c) <= thermometerC+classC {
			return 0, fmt.Errorf("in water of %.0f °C a wrong type would not show: take hotter water, wait for half a minute and type again", c)
		}
	}
	return c, nil
}

// suits reports whether a probe may show what it shows in water: as far from it as may
// be, and nearer to it than to what a mix-up of types would show. Where a mix-up fits, it
// is named.
func suits(water reference, shownC, terminalsC float64) (result Result, fits string) {
	nearest := math.Abs(shownC - water.celsius)
	for _, m := range mixUps {
		if o := math.Abs(shownC - m.Shows(water.celsius, terminalsC)); o < nearest {
			nearest, fits = o, m.String()
		}
	}
	switch {
	case nearest > water.within:
		return Differs, ""
	case fits != "":
		return Differs, fits
	}
	return Right, ""
}

const notCompared = "not compared with a thermometer or boiling water, so that a wrong thermocouple type is not excluded"

// compared says how the probe was held against a thermometer.
func (d *Dip) compared() string {
	switch {
	case d.ThermometerC == nil:
		return notCompared
	case d.Boiling != "":
		return fmt.Sprintf("shows %.1f °C where water boils at %.1f °C (%s)", *d.ShownC, *d.ThermometerC, d.Boiling)
	}
	return fmt.Sprintf("shows %.1f °C where a thermometer said %.1f °C", *d.ShownC, *d.ThermometerC)
}

// differs says what may be wrong with a probe that is not what the water is.
func (d *Dip) differs() string {
	if d.Fits == "" {
		return fmt.Sprintf("the melt probe of pot %s %s, too far apart. Type K for J, or J for K, does not explain that: try again with another thermometer or boiling water, and check probe, input and channel",
			d.Pot, d.compared())
	}
	return fmt.Sprintf("the melt probe of pot %s %s, as %s does. If that is so of the water: %sset the input to the type of its probe (or thermocouple in the bench file, for millivolts), or change the probe", d.Pot, d.compared(), d.Fits, electrician)
}
