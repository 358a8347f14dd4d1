package config_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config"
)

// The built-in ceilings, written out here a second time on purpose.
const mostMeltTripC, mostPlateLimitC, mostPlateTripC = 200.0, 260.0, 275.0

// Whatever is typed, in whatever order, letter case and number: a limit that is
// taken lies under the one above it.
func TestNoFileGetsPastACeiling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		again := ""
		if seldom(t, 1) == 1 {
			again = section(t, "ceiling", limitKeys)
		}
		b, err := config.ParseBench("bench.yaml", []byte(
			section(t, "ceiling", limitKeys)+pot(t)+benchWithoutPots+again), nil)
		if err != nil {
			b = demoBench(t)
		}
		require.LessOrEqual(t, b.Ceiling.MeltTripC, mostMeltTripC)
		require.LessOrEqual(t, b.Ceiling.PlateLimitC, mostPlateLimitC)
		require.LessOrEqual(t, b.Ceiling.PlateTripC, mostPlateTripC)
		for _, p := range b.Pots {
			require.LessOrEqual(t, p.PlateLimitC, b.Ceiling.PlateLimitC)
		}
		if err != nil {
			return
		}
		r, err := config.ParseRecipe("recipe.yaml", []byte(section(t, "limits", limitKeys[:2])+colours(t)))
		if err != nil {
			return
		}
		s, err := config.Settings(b, r)
		if err != nil {
			return
		}
		require.LessOrEqual(t, s.Limits.MeltTripC, b.Ceiling.MeltTripC)
		require.LessOrEqual(t, s.Limits.PlateTripC, b.Ceiling.PlateTripC)
		require.Less(t, s.Limits.MeltWarnC, s.Limits.MeltTripC)
		require.False(t, s.Limits.HeatersProven)
		for i, p := range s.Pots {
			require.LessOrEqual(t, p.PlateLimitC, b.Pots[i].PlateLimitC)
			require.Less(t, max(p.SetpointC, p.CureC), s.Limits.MeltWarnC)
		}
	})
}

func TestTheCeilingsThemselves(t *testing.T) {
	for _, c := range []struct {
		format string
		mostC  float64
	}{
		{"{melt-trip: %.1f C}", mostMeltTripC},
		{"{plate-trip: 275 C, plate-limit: %.1f C}", mostPlateLimitC},
		{"{plate-trip: %.1f C}", mostPlateTripC},
	} {
		parse := func(atC float64) error {
			_, err := config.ParseBench("bench.yaml", []byte(
				"ceiling: "+fmt.Sprintf(c.format, atC)+"\n"+onePot+"\n"+benchWithoutPots), nil)
			return err
		}
		require.NoError(t, parse(c.mostC), c.format)
		require.ErrorContains(t, parse(c.mostC+0.1), "above the built-in ceiling", c.format)
	}
}

// The trial above must also let good files through, or it would prove nothing.
func TestTheTrialOfCeilingsReachesTheEnd(t *testing.T) {
	b, err := config.ParseBench("bench.yaml", []byte(
		"ceiling: {melt-trip: 185 C}\n"+onePot+"\n"+benchWithoutPots), nil)
	require.NoError(t, err)
	r, err := config.ParseRecipe("recipe.yaml", []byte("limits: {melt-trip: 180 C}\n"+oneColour+"}\n    setpoint: 165 C\n"))
	require.NoError(t, err)
	s, err := config.Settings(b, r)
	require.NoError(t, err)
	require.InDelta(t, 180, s.Limits.MeltTripC, 0)
}

var limitKeys = []string{"melt-trip", "plate-limit", "plate-trip"}

// section draws a section with some of the keys, now and then twice or in
// another spelling, or no section at all.
func section(t *rapid.T, name string, keys []string) string {
	if rapid.Bool().Draw(t, "absent") {
		return ""
	}
	var entries []string
	for _, key := range rapid.SliceOfN(rapid.SampledFrom(keys), 0, 2).Draw(t, "keys") {
		entries = append(entries, fmt.Sprintf("%s: %s", spelt(t, key), temperature(t, key)))
	}
	return fmt.Sprintf("%s: {%s}\n", spelt(t, name), strings.Join(entries, ", "))
}

// seldom draws a number that is mostly zero. Small numbers are drawn more often
// than large ones, so it is the large ones that count.
func seldom(t *rapid.T, most int) int {
	return max(0, rapid.IntRange(0, 10*most).Draw(t, "seldom")-9*most)
}

func spelt(t *rapid.T, key string) string {
	return []string{
		key, strings.ToUpper(key), strings.ReplaceAll(key, "-", "_"), `"` + key + `"`, "!!str " + key, key + " ",
	}[seldom(t, 5)]
}

// temperature draws mostly what a limit may be, and somewhat more.
func temperature(t *rapid.T, key string) string {
	usual := map[string][2]float64{
		"melt-trip": {176, mostMeltTripC + 4}, "plate-limit": {190, mostPlateLimitC + 4}, "plate-trip": {240, mostPlateTripC + 4},
	}[key]
	v := rapid.Float64Range(usual[0], usual[1]).Draw(t, "temperature")
	if seldom(t, 1) == 1 {
		v = rapid.Float64().Draw(t, "any number")
	}
	return fmt.Sprintf([]string{"%.1f C", "%.1f F", "%.1f°C", "%g C", "%.1f", `"%.1f F"`, "!!float %.1f C"}[seldom(t, 6)], v)
}

const onePot = "pots:\n  - name: only\n    heater: {power: 1000 W}"

func pot(t *rapid.T) string {
	text := onePot
	for range seldom(t, 2) {
		text += fmt.Sprintf("\n    %s: %s", spelt(t, "plate-limit"), temperature(t, "plate-limit"))
	}
	return text + "\n"
}

const oneColour = "name: trial\ncolours:\n  - name: moss\n    pot: only\n    position: whole\n    base: invented\n" +
	"    volume: 250 mL\n    cure: {temperature: 170 C"

func colours(t *rapid.T) string {
	return oneColour + fmt.Sprintf("}\n    setpoint: %s\n", rapid.SampledFrom([]string{"165 C", "171 C", "350 F", "360 F", "190 C"}).Draw(t, "setpoint"))
}

// benchWithoutPots is the small bench less its pots.
var benchWithoutPots = strings.Join([]string{
	"name: trial", "recipe: trial.yaml", "supply: {voltage: 120 V, breaker: 15 A}",
	"protection: {cut-out: invented, fuse: invented, e-stop: invented, earth: invented}",
	"lines: [{name: a, port: invented}]", "devices: [{name: module, line: a, unit: 1}]", "channels:",
	"  - {role: melt, pot: only, device: module, function: 4, address: 0, type: int16, scale: 0.1, unit: C}",
	"  - {role: plate, pot: only, device: module, function: 4, address: 1, type: int16, scale: 0.1, unit: C}",
	"  - {role: heater, pot: only, device: module, function: 5, address: 0, type: bit}", "",
}, "\n")
