package config

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
)

// Deviation is what was changed at the bench during a run: the set-point of a
// pot, an addition to it, or both.
type Deviation struct {
	Pot       string    // the pot's name on the bench
	SetpointC float64   // degrees Celsius; NaN when it was left as it was
	Addition  Colourant // as typed; empty when nothing was added
}

// Promote returns the text of a new version of a recipe: the one typed, with
// what was changed at the bench written in. A pot's last set-point replaces the
// typed one in the scale that was typed, to a thousandth of a degree Celsius.
// Additions follow that colour's colourants, each as typed and as an entry of
// its own. All else stays as it was, byte for byte.
//
// The error is a *strict.Error: about the recipe, about the deviations, that
// they leave the recipe as it was, or that its layout has no safe place for
// them.
func Promote(typed []byte, deviations []Deviation) ([]byte, error) {
	r, err := ParseRecipe("recipe", typed)
	if err != nil {
		return nil, err
	}
	if problems := problemsOf(deviations, r); len(problems) > 0 {
		return nil, &strict.Error{Problems: problems}
	}
	if err := inUTF8(typed); err != nil {
		return nil, err
	}
	d := newDraft(string(typed))
	wanted := *r
	wanted.Colours = slices.Clone(r.Colours)
	for i := range wanted.Colours {
		d.promote(i, &wanted.Colours[i], deviations)
	}
	if wanted.Fingerprint() == r.Fingerprint() {
		return nil, alone(unchanged("the deviations leave the recipe as it was"))
	}
	return d.finish(r, &wanted)
}

// inUTF8 refuses what the YAML parser reads and a draft can not.
func inUTF8(typed []byte) error {
	if utf8.Valid(typed) {
		return nil
	}
	return alone(strict.Problem{File: "recipe", Wrong: "not written in UTF-8", Fix: "save it in UTF-8 first"})
}

// promote drafts the edits of one colour and changes it to what they must lead
// to.
func (d *draft) promote(i int, c *Colour, deviations []Deviation) {
	setpointC, added := c.deviated(deviations)
	if thousandth(setpointC) != thousandth(c.SetpointC) {
		c.SetpointC = d.setpoint(d.colour(i), setpointC)
	}
	if len(added) > 0 {
		d.colourants(d.colour(i), added)
		c.Colourants = slices.Concat(c.Colourants, added)
	}
}

// deviated returns a colour's last set-point and what was added to its pot.
func (c Colour) deviated(deviations []Deviation) (setpointC float64, added []Colourant) {
	setpointC = c.SetpointC
	for _, v := range deviations {
		if v.Pot != c.Pot {
			continue
		}
		if v.hasSetpoint() {
			setpointC = v.SetpointC
		}
		if v.hasAddition() {
			a := v.Addition
			added = append(added, Colourant{strings.TrimSpace(a.Name), strings.TrimSpace(a.Amount)})
		}
	}
	return setpointC, added
}

func (v Deviation) hasSetpoint() bool { return !math.IsNaN(v.SetpointC) }
func (v Deviation) hasAddition() bool { return v.Addition != Colourant{} }

// finish makes the edits and reads the result again: whatever an odd layout led
// astray, a text that is returned says what is wanted.
func (d *draft) finish(old, wanted *Recipe) ([]byte, error) {
	text := []byte(d.edited())
	got, err := ParseRecipe("recipe", text)
	if err == nil && got.Fingerprint() == wanted.Fingerprint() {
		return text, nil
	}
	return nil, alone(byHand("", strings.Join(Differences(old, wanted), "; ")))
}

// byHand is the problem of a layout that no edit is sure of.
func byHand(key, what string) strict.Problem {
	return strict.Problem{
		File: "recipe", Key: key, Wrong: "laid out in a way that only a person can change", Fix: "write in by hand: " + what,
	}
}

func unchanged(wrong string) strict.Problem {
	return strict.Problem{File: "run", Wrong: wrong, Fix: "use the recipe's own version"}
}

// problemsOf returns what is wrong with deviations, in their order.
func problemsOf(deviations []Deviation, r *Recipe) []strict.Problem {
	if len(deviations) == 0 {
		return []strict.Problem{unchanged("no deviations: nothing was changed at the bench")}
	}
	pots := names(r.Colours, func(c Colour) string { return c.Pot })
	var problems []strict.Problem
	for i, v := range deviations {
		for _, p := range v.problems(pots) {
			p.File, p.Key = "run", fmt.Sprintf("deviations[%d].%s", i+1, p.Key)
			problems = append(problems, p)
		}
	}
	return problems
}

func (v Deviation) problems(pots []string) []strict.Problem {
	var problems []strict.Problem
	check := func(key, value string, err error) {
		if err != nil {
			problems = append(problems, inWordsOf(err, strict.Problem{Key: key, Value: value}))
		}
	}
	_, err := oneOf(pots...).Parse(v.Pot)
	check("pot", v.Pot, err)
	if v.hasSetpoint() {
		shown := inUnit("C")(thousandth(v.SetpointC))
		_, err = setpoint().Parse(shown)
		check("setpoint", shown, err)
	}
	if v.hasAddition() {
		check("addition.name", v.Addition.Name, checkName(v.Addition.Name))
		_, err = quantity.Amount(v.Addition.Amount)
		check("addition.amount", v.Addition.Amount, err)
	}
	return problems
}

// checkName asks of an added colourant's name what a recipe asks.
func checkName(typed string) error {
	if strings.TrimSpace(typed) == "" {
		return &quantity.Fault{Wrong: "value missing", Fix: "write what was added, like \"dark grey\""}
	}
	_, err := text("").Parse(strings.TrimSpace(typed))
	return err
}

// retyped writes a temperature in the scale of a typed one, in as few digits as
// read back to the same thousandth of a degree Celsius. It returns the digits
// and what they read back to.
func retyped(celsius float64, typed string) (digits string, readC float64) {
	scale, value := "C", celsius
	if strings.HasSuffix(strings.TrimSpace(typed), "F") {
		scale, value = "F", celsius*9/5+32 // NIST SP 811, appendix B.8
	}
	const most = 3 // a thousandth of a degree Fahrenheit is the finer one
	for places := 0; places <= most; places++ {
		digits = strconv.FormatFloat(value, 'f', places, 64)
		readC, _ = quantity.Temperature(digits + scale) // digits and a scale always read
		if thousandth(readC) == thousandth(celsius) {
			break
		}
	}
	return digits, readC
}
