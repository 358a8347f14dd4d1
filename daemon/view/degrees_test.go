package view

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/guard"
)

// TestTheGuardsTextsInBothUnits: °F = 1.8 °C + 32, a difference without the 32 (the
// definition; NIST SP 811, B.9).
func TestTheGuardsTextsInBothUnits(t *testing.T) {
	for c, f := range map[string]string{
		"below 50 °C for 8 min":                          "below 122 °F for 8 min",
		"Below -20 °C, above 400 °C, or":                 "Below -4 °F, above 752 °F, or",
		"a step of more than 30 °C a second":             "a step of more than 54 °F a second",
		"at 5 °C above the melt trip":                    "at 9 °F above the melt trip",
		"read less than 50 °C":                           "read less than 122 °F",
		"(E: 20 to 40 °C in 1080 simulated plates)":      "(E: 36 to 72 °F in 1080 simulated plates)",
		"a fall from 50 °C and more":                     "a fall from 122 °F and more",
		"From 4 °C on it counts as unusable":             "From 7.2 °F on it counts as unusable",
		"no more than 5 °C lower than":                   "no more than 9 °F lower than",
		"the two ways are 1.5 °C and 0.45 °C apart":      "the two ways are 2.7 °F and 0.81 °F apart",
		"Faster than 0.5 °C a second (4 °C a minute)":    "Faster than 0.9 °F a second (7.2 °F a minute)",
		"differ by more than 3 °C (C); named is":         "differ by more than 5.4 °F (C); named is",
		"at 50 °C (C) or more when last seen; 40 °C (E)": "at 122 °F (C) or more when last seen; 104 °F (E)",
	} {
		assert.Equal(t, f, InUnits(c).F)
	}
	// Every temperature that the guard's texts have, and every difference of 10 °C and more: a
	// new one is looked at here.
	temperatures, differences := map[string]bool{}, map[string]bool{}
	for _, c := range guard.Codes() {
		for _, text := range []string{c.Title(), c.Instruction(), c.Rule().Cause, c.Rule().Detection} {
			both := InUnits(text)
			assert.NotContains(t, both.F, "°C")
			assert.Equal(t, strings.Count(text, "°C"), strings.Count(both.F, "°F"))
			for _, m := range degrees.FindAllStringIndex(text, -1) {
				figure := text[m[0]:m[1]]
				if atOne.MatchString(text[:m[0]]) && !ofTwo.MatchString(text[m[1]:]) {
					temperatures[figure] = true
				} else if len(figure) > len("9 °C") && !strings.Contains(figure, ".") {
					differences[figure] = true
				}
			}
		}
	}
	assert.Equal(t, "-20 °C; 12 °C; 140 °C; 20 °C; 40 °C; 400 °C; 50 °C; 80 °C", strings.Join(slices.Sorted(maps.Keys(temperatures)), "; "))
	assert.Equal(t, "10 °C; 12 °C; 15 °C; 20 to 40 °C; 25 °C; 30 °C; 40 °C; 60 °C", strings.Join(slices.Sorted(maps.Keys(differences)), "; "))
}
