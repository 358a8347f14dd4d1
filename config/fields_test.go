package config_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
)

// retyped edits the demo's recipe as a form does that sends every field it has.
func retyped(t *testing.T, over map[string]string) ([]byte, error) {
	groups, err := config.Fields(config.DemoRecipe().Typed)
	require.NoError(t, err)
	now := map[string]string{}
	for _, g := range groups {
		for _, f := range g.Fields {
			now[f.Path] = f.Value
		}
		for _, c := range append(g.Colourants, g.NewColourant) {
			now[c.Name.Path], now[c.Amount.Path] = c.Name.Value, c.Amount.Value
		}
	}
	for path, value := range over {
		require.Contains(t, now, path)
		now[path] = value
	}
	changes := config.Retyped(groups, func(path string) (string, bool) { v, ok := now[path]; return v, ok })
	return config.Edit(config.DemoRecipe().Typed, changes)
}

func TestFieldsAreWhatIsTyped(t *testing.T) {
	groups, err := config.Fields(config.DemoRecipe().Typed)
	require.NoError(t, err)
	require.Len(t, groups, 4)
	assert.Equal(t, config.Field{Path: "pour.draw-within", Key: "pour.draw-within", Value: "30 s", Example: "30 s"}, groups[0].Fields[2])
	assert.Equal(t, "ivory", groups[2].Colour)
	assert.Equal(t, config.Field{Path: "colours[2].setpoint", Key: "setpoint", Value: "171 C", Example: "168 C"}, groups[2].Fields[0])
	assert.Equal(t, "10 drops", groups[2].Colourants[0].Amount.Value)
	assert.Empty(t, groups[2].NewColourant.Name.Value)
	text, err := retyped(t, nil)
	require.NoError(t, err)
	assert.Equal(t, string(config.DemoRecipe().Typed), string(text))
	_, err = config.Fields([]byte("name: x"))
	assert.Error(t, err)

	// Every key there is can be typed, but for the list of colours and sections.
	every, err := config.Fields(everyKey(t).Typed)
	require.NoError(t, err)
	for _, f := range append(every[0].Fields, every[1].Fields...) {
		assert.NotEmpty(t, f.Value, f.Path)
	}
}

func TestRetyped(t *testing.T) {
	text, err := retyped(t, map[string]string{
		"colours[2].setpoint": "169 C", "colours[3].salt": "", "note": "", "pour.held-at-most": "40 min", "colours[1].flake.size": "0.3 mm",
		"colours[1].colourants[1].name": "", "colours[1].colourants[1].amount": "",
		"colours[2].colourants[2].amount": "2 drops", "colours[2].colourants[new].name": "red: deep", "colours[2].colourants[new].amount": "1 drop",
	})
	require.NoError(t, err)
	r, err := config.ParseRecipe("recipe", text)
	require.NoError(t, err)
	assert.Equal(t, []string{
		"note an eel-shaped bait, dark above and warm below → not recorded",
		"slate: colourant blue grey 18 drops left out", "slate: flake's size 0.2 mm → 0.3 mm",
		"ivory: colourant yellow 1 drop → 2 drops", "ivory: colourant red: deep 1 drop added (last)", "ivory: set-point 171 °C → 169 °C",
		"rust: salt 15 g → not recorded", "pour: held at most no aim → 2400 s",
	}, config.Differences(config.DemoRecipe(), r))

	// All colourants of a colour, from the last to the first.
	text, err = retyped(t, map[string]string{
		"colours[1].colourants[1].name": "", "colours[1].colourants[1].amount": "", "colours[1].colourants[2].name": "", "colours[1].colourants[2].amount": "",
	})
	require.NoError(t, err)
	r, err = config.ParseRecipe("recipe", text)
	require.NoError(t, err)
	assert.Empty(t, r.Colours[0].Colourants)

	for want, over := range map[string]map[string]string{
		`a colourant of this name is there already`:                                          {"colours[2].colourants[new].name": "white", "colours[2].colourants[new].amount": "1 drop"},
		`recipe: colours[2].colourants[name=]: "1 g": name missing; write what it is called`: {"colours[2].colourants[new].amount": "1 g"},
		`colourants[name=red]: value missing`:                                                {"colours[2].colourants[new].name": "red"},
		`colours[1].name: missing`:                                                           {"colours[1].name": ""},
		`"-3 C": hard to believe`:                                                            {"colours[1].band": "-3 C"},
	} {
		_, err := retyped(t, over)
		assert.ErrorContains(t, err, want)
	}
}
