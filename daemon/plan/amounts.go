package plan

import (
	"strings"

	"meltwarden/config"
)

// Amounts are what goes into a colour's pot, as typed, in the order it goes in: what is
// mixed cold, then the colourants as the recipe lists them, then what is stirred in dry
// (C: common practice).
func Amounts(c config.Colour) []string {
	all := []string{join(", ", c.Base, c.Hardness, c.Lot) + ": " + c.Volume.Typed}
	add := func(what, amount string) {
		if amount != "" {
			all = append(all, what+": "+amount)
		}
	}
	add("softener", c.Softener)
	add("hardener", c.Hardener)
	for _, k := range c.Colourants {
		add(k.Name, k.Amount)
	}
	add("pearl", c.Pearl)
	add("flake", join(", ", c.Flake, c.FlakeCut))
	add("salt", c.Salt)
	add("scent", c.Scent)
	return all
}

// join puts what was recorded into one text.
func join(between string, texts ...string) string {
	var said []string
	for _, t := range texts {
		if t != "" {
			said = append(said, t)
		}
	}
	return strings.Join(said, between)
}
