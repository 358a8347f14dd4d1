package scale_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config"
	"meltwarden/config/scale"
	"meltwarden/config/strict"
)

func demoPots(t require.TestingT) []config.Pot {
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	return b.Pots
}

// rows are what changes, a line for each amount.
func rows(s *scale.Scaling) []string {
	var lines []string
	for _, c := range s.Colours {
		for _, r := range c.Rows {
			lines = append(lines, strings.TrimSpace(fmt.Sprintf("%s %s: %s → %s %s", c.Name, r.What, r.From, r.To, r.Flag)))
		}
	}
	return lines
}

// Worked out by hand from the demo's amounts, which are invented.
func TestTimesAHalfMore(t *testing.T) {
	s, err := scale.Of(config.DemoRecipe(), demoPots(t), scale.Want{Times: "1.5"})
	require.NoError(t, err)
	assert.Equal(t, []string{
		"slate volume: 260 mL → 390 mL",
		"slate blue grey: 18 drops → 27 drops",
		"slate black: 3 drops → 5 drops 4.5 before rounding, so +11 %: weigh it, or choose a volume that comes out even",
		"slate flake: 1 pinch → 1 pinch a pinch can not be scaled: by eye",
		"ivory volume: 220 mL → 330 mL",
		"ivory white: 10 drops → 15 drops",
		"ivory yellow: 1 drop → 2 drops 1.5 before rounding, so +33 %: weigh it, or choose a volume that comes out even",
		"ivory pearl: 1 pinch → 1 pinch a pinch can not be scaled: by eye",
		"rust volume: 180 mL → 270 mL",
		"rust red brown: 1.5 mL → 2.25 mL",
		"rust salt: 15 g → 22.5 g",
		"rust scent: 2 mL, oil-based → 3 mL, oil-based",
	}, rows(s))
	assert.Equal(t, "least fill that covers the probe: 90 mL; most: 450 mL", s.Colours[0].Fill)
	cups := demoPots(t)
	cups[0].LeastFillML = 236.5882365
	inCups, err := scale.Of(config.DemoRecipe(), cups, scale.Want{Times: "1.5"})
	require.NoError(t, err)
	assert.Contains(t, inCups.Colours[0].Fill, "probe: 236.6 mL;")
	require.Len(t, s.Notes, 2)
	assert.Contains(t, s.Notes[0], "Heating time does not follow the volume")
	assert.Contains(t, s.Notes[1], "±20 % at the least")
	r, err := config.ParseRecipe("recipe", s.Text)
	require.NoError(t, err)
	differences := config.Differences(config.DemoRecipe(), r)
	assert.Len(t, differences, 10, "every row but the two pinches")
	assert.Equal(t, strings.Count(string(config.DemoRecipe().Typed), "#"), strings.Count(string(s.Text), "#"))
}

func TestOneVolume(t *testing.T) {
	s, err := scale.Of(config.DemoRecipe(), nil, scale.Want{Volumes: []scale.Named{{Colour: "ivory", Volume: "1 US cup"}}})
	require.NoError(t, err)
	assert.Equal(t, []string{
		"ivory volume: 220 mL → 1 US cup",
		"ivory white: 10 drops → 11 drops", // 236.588 / 220 = 1.0754: 10.75 drops
		"ivory yellow: 1 drop → 1 drop 1.08 before rounding, so -7 %: weigh it, or choose a volume that comes out even",
		"ivory pearl: 1 pinch → 1 pinch a pinch can not be scaled: by eye",
	}, rows(s))
	assert.InDelta(t, 236.5882365, s.Colours[0].ML, 1e-9) // testdata/measures, which names the source
	assert.Equal(t, "not recorded how full the pot may be: no bench file is known here", s.Colours[0].Fill)
}

// 12 × 18 mL and the 90 mL that cover the probe are 306 mL.
func TestShots(t *testing.T) {
	want := scale.Want{Shots: "12", PerShot: []scale.Named{{Volume: "18 mL"}, {Colour: "rust", Volume: "0.5 fl oz (US)"}}}
	s, err := scale.Of(config.DemoRecipe(), demoPots(t), want)
	require.NoError(t, err)
	assert.Equal(t, "slate volume: 260 mL → 306 mL", rows(s)[0])
	assert.Equal(t, "12 shots of 18 mL, and 90 mL that stays in the pot and covers its probe", s.Colours[0].Why)
	assert.InDelta(t, 267, s.Colours[2].ML, 0) // 12 × 14.79 + 90 = 267.4, to three digits
	assert.Contains(t, s.Notes[2], "runner, sprue and spill")

	want.Stays = []scale.Named{{Colour: "slate", Volume: "20 mL"}}
	s, err = scale.Of(config.DemoRecipe(), demoPots(t), want)
	require.NoError(t, err)
	assert.Equal(t, "slate volume: 260 mL → 236 mL", rows(s)[0])
	assert.Equal(t, "12 shots of 18 mL, and 20 mL that stays in the pot; that is less than covers its probe (90 mL): it reads too low in the last shots", s.Colours[0].Why)

	s, err = scale.Of(config.DemoRecipe(), nil, scale.Want{Shots: "12", PerShot: []scale.Named{{Volume: "18 mL"}}})
	require.NoError(t, err)
	assert.Equal(t, "slate volume: 260 mL → 216 mL", rows(s)[0])
	assert.Contains(t, s.Colours[0].Why, "what has to stay in the pot is not recorded, and nothing was added for it")
}

// The unit that was typed is kept, of the potful and of what goes into it.
func TestUnitsStay(t *testing.T) {
	typed := strings.NewReplacer("260 mL", "1 metric cup", "220 mL", "8 fl oz (US)", "15 g", "0.5g",
		"    pearl:", "    softener: 1 tsp (US)\n    hardener: 10 %\n    pearl:").Replace(string(config.DemoRecipe().Typed))
	r, err := config.ParseRecipe("recipe", []byte(typed))
	require.NoError(t, err)
	s, err := scale.Of(r, nil, scale.Want{Times: "1.5"})
	require.NoError(t, err)
	lines := strings.Join(rows(s), "\n")
	for _, want := range []string{
		"slate volume: 1 metric cup → 1.5 metric cup\n", "ivory volume: 8 fl oz (US) → 12 fl oz (US)\n", "rust salt: 0.5g → 0.75g",
		"ivory softener: 1 tsp (US) → 1.5 tsp (US)\n", "ivory hardener: 10 % → 10 % a share of the base stays\n",
	} {
		assert.Contains(t, lines, want)
	}
	assert.InDelta(t, 12*29.5735295625, s.Colours[1].ML, 1e-9) // testdata/measures
}

func TestScalingRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		want scale.Want
		err  string
	}{
		"nothing":      {scale.Want{}, "scaling: not clear how much is wanted; give one of times, a volume, or shots with the volume of one"},
		"two":          {scale.Want{Times: "2", Shots: "3"}, "scaling: not clear how much is wanted; give one of times, a volume, or shots with the volume of one"},
		"no number":    {scale.Want{Times: "twice"}, `scaling: times: "twice": no number to multiply by; write one from 0.01 to 100, such as 1.5`},
		"zero":         {scale.Want{Times: "0"}, `scaling: times: "0": no number to multiply by; write one from 0.01 to 100, such as 1.5`},
		"too full":     {scale.Want{Times: "2"}, `scaling: slate.volume: "520 mL": more than pot "left" holds; write at most 450 mL`},
		"bare probe":   {scale.Want{Volumes: []scale.Named{{"rust", "80 mL"}}}, `scaling: rust.volume: "80 mL": too little to cover the probe of pot "right"; write at least 90 mL`},
		"no colour":    {scale.Want{Volumes: []scale.Named{{"ivry", "80 mL"}}}, `scaling: volume: "ivry": no colour has this name; did you mean "ivory"?`},
		"no unit":      {scale.Want{Volumes: []scale.Named{{"rust", "300"}}}, `scaling: rust.volume: "300": unit missing; write "300 mL"`},
		"a cup":        {scale.Want{Volumes: []scale.Named{{"rust", "1 cup"}}}, `scaling: rust.volume: "1 cup": cups differ; write "1 US cup" (236.6 mL) or "1 metric cup" (250 mL)`},
		"half a shot":  {scale.Want{Shots: "2.5", PerShot: []scale.Named{{"", "18 mL"}}}, `scaling: shots: "2.5": no whole number`},
		"of nothing":   {scale.Want{Shots: "2"}, "scaling: per-shot: nothing for slate; say how much one shot takes of it, such as 18 mL"},
		"of no volume": {scale.Want{Shots: "2", PerShot: []scale.Named{{"", "18 g"}}}, `scaling: per-shot: "18 g": unit "g" unknown; write "18 mL" or`},
		"of less":      {scale.Want{Shots: "2", PerShot: []scale.Named{{"", "18 mL"}}, Stays: []scale.Named{{"", "-5 mL"}}}, `scaling: stays: "-5 mL": too little; write at least 0 mL`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := scale.Of(config.DemoRecipe(), demoPots(t), c.want)
			require.ErrorContains(t, err, strings.Replace(c.err, "no whole number", "no number of shots; write a whole number from 1 to 10000", 1))
			require.IsType(t, &strict.Error{}, err)
		})
	}
	_, err := scale.Of(config.DemoRecipe(), nil, scale.Want{Times: "50"})
	require.ErrorContains(t, err, `colours[1].volume: "13000 mL": hard to believe; check number and unit: 20 mL to 5000 mL`)
}

// Twice and then half of it is the recipe again, but for drops that were odd. Nothing
// but volumes and amounts is touched, and no drop becomes a volume.
func TestScalingIsOnlyOfAmounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		old := config.DemoRecipe()
		times := float64(rapid.IntRange(12, 400).Draw(t, "hundredths")) / 100
		s, err := scale.Of(old, nil, scale.Want{Times: fmt.Sprint(times)})
		require.NoError(t, err)
		r, err := config.ParseRecipe("recipe", s.Text)
		require.NoError(t, err)
		for i, c := range r.Colours {
			o := old.Colours[i]
			require.InDelta(t, times, c.Volume.ML/o.Volume.ML, 0.01*times)
			for k := range c.Colourants {
				require.Equal(t, strings.HasSuffix(o.Colourants[k].Amount, "mL"), strings.HasSuffix(c.Colourants[k].Amount, "mL"))
				require.Equal(t, strings.Contains(o.Colourants[k].Amount, "drop"), strings.Contains(c.Colourants[k].Amount, "drop"))
			}
			c.Volume, c.Colourants, c.Salt, c.Scent = o.Volume, o.Colourants, o.Salt, o.Scent
			require.Equal(t, o, c)
		}
		for _, c := range s.Colours {
			for _, row := range c.Rows {
				require.False(t, strings.HasSuffix(row.To, "drops") && strings.Contains(row.To, "."), row.To)
			}
		}
	})
}

func TestScalingAsJSON(t *testing.T) {
	s, err := scale.Of(config.DemoRecipe(), nil, scale.Want{Times: "2"})
	require.NoError(t, err)
	text, err := json.Marshal(s)
	require.NoError(t, err)
	assert.Contains(t, string(text), `{"name":"slate","pot":"left","times":2,"mL":520,`)
	assert.NotContains(t, string(text), "Text")
}
