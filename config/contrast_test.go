package config_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
)

// contrastOf changes the demo's colours, which are invented, and compares the neighbours.
func contrastOf(t *testing.T, old, new string) []config.Contrast {
	typed := string(config.DemoRecipe().Typed)
	require.Contains(t, typed, old)
	r, err := config.ParseRecipe("recipe", []byte(strings.ReplaceAll(typed, old, new)))
	require.NoError(t, err)
	return config.Contrasts(r)
}

func TestNeighboursThatReadAsOne(t *testing.T) {
	for _, c := range config.Contrasts(config.DemoRecipe()) {
		assert.Empty(t, c.Warning(), c.Words())
		assert.Greater(t, c.Beside.Difference, c.Over.Difference, "what shows through brings them nearer")
	}
	near := contrastOf(t, "#a4573a", "#e6dcc4")[1] // rust beside ivory
	assert.True(t, near.ReadAsOne)
	assert.Less(t, near.Over.Difference, near.Beside.Difference)
	assert.Equal(t, "ivory and rust would read as one: a colour difference of 0.7, below the least contrast of 5", near.Warning())
	assert.False(t, contrastOf(t, "#e9e0c8", "#ffffff")[0].ReadAsOne)

	// The same two greys pass or not by what the recipe asks for.
	dull := func(least string) config.Contrast {
		return contrastOf(t, "name: slate eel\n", "name: slate eel\nleast-contrast: "+least+"\n")[0]
	}
	assert.False(t, dull("5").ReadAsOne)
	assert.True(t, dull("50").ReadAsOne)
}

// Of red on green only hue and lightness of the two published checks count: red is
// 53.2408 80.0925 67.2032, green 87.7347 -86.1827 83.1793 (testdata/colour/srgb.csv), and
// their lightness 34.4939 apart. Half-way to black, light is halved: L* 53.585 is that of
// 128 128 128, whose light is 0.2159; that of half of white is 0.5, L* 76.0693 by hand.
func TestContrastByHand(t *testing.T) {
	typed := strings.NewReplacer("#4f5d68", "#ff0000", "#e9e0c8", "#00ff00", "    opacity: 90 %\n", "", "    opacity: 80 %\n", "",
		"#a4573a", "#FFFFFF", "opacity: 70 %", "opacity: 50 %").Replace(string(config.DemoRecipe().Typed))
	r, err := config.ParseRecipe("recipe", []byte(typed))
	require.NoError(t, err)
	all := config.Contrasts(r)
	assert.InDelta(t, 34.4939, all[0].Beside.Lightness, 0.001)
	assert.Equal(t, *all[0].Beside, *all[0].Over, "both hide all")
	assert.Equal(t, []string{"slate", "ivory"}, all[0].Opaque)
	assert.Contains(t, all[0].Words(), "a lightness difference of 34; opacity not recorded, taken to hide all: slate, ivory")
	assert.Equal(t, "rust", all[1].Front)

	typed = strings.Replace(typed, "#00ff00", "#000000", 1)
	r, err = config.ParseRecipe("recipe", []byte(typed))
	require.NoError(t, err)
	over := config.Contrasts(r)[1].Over // half of white over black
	assert.InDelta(t, 76.0693, over.Lightness, 0.001)
}

func TestNoContrastWithoutSwatches(t *testing.T) {
	all := contrastOf(t, "    swatch: \"#e9e0c8\"\n", "")
	assert.Nil(t, all[0].Beside)
	assert.False(t, all[0].ReadAsOne)
	assert.Equal(t, "not recorded: no swatch of ivory", all[0].Words())
	assert.Empty(t, all[0].Warning())
	assert.Empty(t, config.SwatchNote(all), "ivory lies between the others")
	assert.Contains(t, config.SwatchNote(config.Contrasts(config.DemoRecipe())), "they measure no bait")
}

// Neighbours go by the words back, core and belly, and by the file where there are others.
func TestNeighboursByPosition(t *testing.T) {
	neighbours := func(all []config.Contrast) string {
		var names []string
		for _, c := range all {
			names = append(names, c.Colour+"-"+c.Neighbour)
		}
		return strings.Join(names, " ")
	}
	assert.Equal(t, "slate-ivory ivory-rust", neighbours(config.Contrasts(config.DemoRecipe())))
	r := config.DemoRecipe()
	r.Colours[0], r.Colours[1] = r.Colours[1], r.Colours[0]
	assert.Equal(t, "slate-ivory ivory-rust", neighbours(config.Contrasts(r)))
	r.Colours[0].Position = "rings"
	assert.Equal(t, "ivory-slate slate-rust", neighbours(config.Contrasts(r)))
	r.Colours = r.Colours[:1]
	assert.Empty(t, config.Contrasts(r))
}
