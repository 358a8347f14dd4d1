package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestMistakesBeforeRegistersAreRead are answered before any port is opened.
func TestMistakesBeforeRegistersAreRead(t *testing.T) {
	base := []string{"registers", "--port", "/dev/there-is-no-such-port", "--unit", "1"}
	for want, args := range map[string][]string{
		"--unit 0: write a number from 1 to 247":                       {"--unit", "0"},
		"--function 6: write 3 or 4, which read registers":             {"--function", "6"},
		"--count 65 registers: from 1 to 64 can be read at once":       {"--count", "65"},
		`--probe "melt": pot: a melt belongs to a pot; write the pot`:  {"--probe", "melt"},
		`--probe "mellt left": role: "mellt": not known; write melt, `: {"--probe", "mellt left"},
		`--probe "mould": given twice; name each once`:                 {"--probe", "mould", "--probe", "mould"},
		`--room "40 C": a hand warms a probe only in a room from 0`:    {"--room", "40 C"},
		`--contact "lamp": function: "2": does not go with role lamp`:  {"--contact", "lamp"},
		`--contact "stir-button": pot: a stir-button belongs to a pot`: {"--contact", "stir-button"},
		`--contact "enable": given twice; name each once`:              {"--contact", "enable", "--contact", "enable"},
		"--function 5: write 1, 2, 3 or 4, which read":                 {"--contact", "enable", "--function", "5"},
		"--probe and --contact: find the probes first":                 {"--contact", "enable", "--probe", "mould"},
		"does not exist: is the adapter plugged in":                    {},
	} {
		_, err := run(t.Context(), append(append([]string{}, base...), args...)...)
		assert.ErrorContains(t, err, want)
	}
}
