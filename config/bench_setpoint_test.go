package config_test

import (
	"bytes"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/config/strict"
	"meltwarden/control"
	"meltwarden/control/guard"
)

// Degrees Fahrenheit by NIST SP 811, appendix B.8: 338 °F is 170 °C exactly.
func TestSetpointAtBench(t *testing.T) {
	s := control.Settings{
		Limits: guard.Limits{MeltTripC: 190},
		Pots:   []control.PotSettings{{Name: "left", PlateLimitC: 230}, {Name: "cool", PlateLimitC: 181}},
	}
	for _, c := range []struct {
		pot   int
		typed string
		wantC float64
		err   string
	}{
		{0, "170 C", 170, ""},
		{0, " 338 F ", 170, ""},
		{0, "337°F", 169.444, ""},
		{0, "140 C", 140, ""},
		{0, "182 C", 182, ""},
		{0, "182.0004 C", 182, ""},
		{1, "171 C", 171, ""},
		{0, "182.1 C", 0, `pot left: setpoint: "182.1 C": too near the melt trip of 190 °C; write at most 182 °C`},
		{1, "172 C", 0, `pot cool: setpoint: "172 C": plate limit of 181 °C too low to bring pot "cool" to 172 °C; write at most 171 °C`},
		{1, "185 C", 0, `pot cool: setpoint: "185 C": plate limit of 181 °C too low to bring pot "cool" to 185 °C; write at most 171 °C`},
		{0, "170", 0, `pot left: setpoint: "170": unit missing; write "170 C" or "170 F", whichever it is`},
		{0, "325 C", 0, `pot left: setpoint: "325 C": hard to believe; did you mean 325 F (163 °C)?`},
		{0, "139.9 C", 0, `pot left: setpoint: "139.9 C": hard to believe; check number and unit: 140 °C to 190 °C`},
		{0, "191 C", 0, `pot left: setpoint: "191 C": hard to believe; check number and unit: 140 °C to 190 °C`},
		{0, "hot", 0, `pot left: setpoint: "hot": does not begin with a number; write digits, a point where needed, then the unit`},
		{0, "", 0, `pot left: setpoint: does not begin with a number; write digits, a point where needed, then the unit`},
		{2, "170 C", 0, `pot 3: setpoint: "170 C": no such pot; choose a pot from 1 to 2`},
		{-1, "170 C", 0, `pot 0: setpoint: "170 C": no such pot; choose a pot from 1 to 2`},
	} {
		celsius, err := config.SetpointAtBench(s, c.pot, c.typed)
		if c.err != "" {
			require.EqualError(t, err, c.err)
			require.IsType(t, &strict.Error{}, err)
		} else {
			require.NoError(t, err)
		}
		require.InDelta(t, c.wantC, celsius, 0, c.typed)
	}
}

func TestNoSetpointWithoutLimits(t *testing.T) {
	for _, limitC := range []float64{0, math.NaN(), math.Inf(-1)} {
		for _, s := range []control.Settings{
			{Limits: guard.Limits{MeltTripC: limitC}, Pots: []control.PotSettings{{PlateLimitC: 230}}},
			{Limits: guard.Limits{MeltTripC: 190}, Pots: []control.PotSettings{{PlateLimitC: limitC}}},
		} {
			_, err := config.SetpointAtBench(s, 0, "165 C")
			require.Error(t, err)
		}
	}
}

// What a recipe may ask of a bench may be asked at it, and nothing more.
func TestBenchAndRecipeAgree(t *testing.T) {
	text, err := os.ReadFile("demo/recipe.yaml")
	require.NoError(t, err)
	text = append(text, "limits: {melt-trip: 182 C, plate-limit: 183.5 C}\n"...)
	atRest, err := config.ParseRecipe("recipe.yaml", text)
	require.NoError(t, err)
	s, err := config.Settings(demoBench(t), atRest)
	require.NoError(t, err)
	for _, typed := range []string{"171 C", "173.5 C", "173.6 C", "174.1 C", "343 F", "345 F", "171", "325 C"} {
		_, benchErr := config.SetpointAtBench(s, 0, typed)
		r, err := config.ParseRecipe("recipe.yaml", bytes.Replace(text, []byte("setpoint: 168 C"), []byte("setpoint: "+typed), 1))
		if err == nil {
			_, err = config.Settings(demoBench(t), r)
		}
		require.Equal(t, err == nil, benchErr == nil, "%s: %v, %v", typed, err, benchErr)
	}
}
