package config_test

import (
	"math"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/config/quantity"
)

func TestDifferencesInWords(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*config.Recipe)
		want   []string
	}{
		"nothing": {func(*config.Recipe) {}, nil},
		"order of colours": {func(r *config.Recipe) {
			r.Colours[0], r.Colours[2] = r.Colours[2], r.Colours[0]
		}, nil},
		"texts": {func(r *config.Recipe) {
			r.Name, r.Note = "slate worm", ""
			r.Colours[2].Salt, r.Colours[2].Pearl = "20 g", "1 pinch"
		}, []string{
			"name slate eel → slate worm",
			"note an eel-shaped bait, dark above and warm below → not recorded",
			"rust: pearl not recorded → 1 pinch",
			"rust: salt 15 g → 20 g",
		}},
		"pots": {func(r *config.Recipe) {
			r.Colours[0].Pot, r.Colours[1].Pot = "middle", "left"
		}, []string{"slate: moved from pot left to pot middle", "ivory: moved from pot middle to pot left"}},
		"degrees": {func(r *config.Recipe) {
			c := &r.Colours[0]
			c.SetpointC, c.BandC, c.CureC, c.Dwell = 166, 2.02, 172+1e-12, 95*time.Second
		}, []string{
			"slate: set-point 168 °C → 166 °C", "slate: band 2 °C → 2.02 °C",
			"slate: cure 172 °C → 172.000000000001 °C", "slate: dwell 90 s → 95 s",
		}},
		"volume": {func(r *config.Recipe) {
			r.Colours[0].Volume = quantity.Volume{ML: 260, Typed: "0.26 L"}
			r.Colours[1].Volume.ML = 221
		}, []string{"slate: volume 260 mL → 0.26 L", "ivory: volume 220 mL = 220 mL → 220 mL = 221 mL"}},
		"colours": {func(r *config.Recipe) {
			teal := config.Colour{Name: "teal", Pot: "right", Position: "belly", SetpointC: 165, Volume: quantity.Volume{ML: 180, Typed: "180 mL"}}
			r.Colours = append(r.Colours[:2:2], teal)
		}, []string{"colour rust left out", "colour teal new: pot right, belly, 180 mL, set-point 165 °C"}},
		"limits and ready": {func(r *config.Recipe) {
			r.Limits = config.RecipeLimits{MeltTripC: 185, PlateLimitC: 220}
			r.SteadyFor, r.StirWithin = 30*time.Second, 2*time.Minute+time.Nanosecond
		}, []string{
			"limits: melt trip the bench's → 185 °C", "limits: plate limit the bench's → 220 °C",
			"ready: steady for 20 s → 30 s", "ready: stir within 2m0s → 2m0.000000001s",
		}},
	} {
		t.Run(name, func(t *testing.T) {
			r := config.DemoRecipe()
			c.change(r)
			require.Equal(t, c.want, config.Differences(config.DemoRecipe(), r))
		})
	}
}

func TestColourantsDifferByName(t *testing.T) {
	for name, c := range map[string]struct {
		old, new string // a letter a name, a digit its drops
		want     []string
	}{
		"last":             {"w9 y1", "w9 y1 b6", []string{"colourant b 6 drops added (last)"}},
		"two":              {"w9", "w9 b1 b1", []string{"colourant b 1 drops added (after w)", "colourant b 1 drops added (last)"}},
		"first":            {"w9", "b1 w9", []string{"colourant b 1 drops added (first)"}},
		"only":             {"", "b1", []string{"colourant b 1 drops added (last)"}},
		"none left":        {"b1", "", []string{"colourant b 1 drops left out"}},
		"another amount":   {"w9 y1", "w8 y1", []string{"colourant w 9 drops → 8 drops"}},
		"same again":       {"b3", "b3 b3", []string{"colourant b 3 drops added (last)"}},
		"order is content": {"a1 b1", "b1 a1", []string{"colourant a 1 drops left out", "colourant a 1 drops added (last)"}},
	} {
		t.Run(name, func(t *testing.T) {
			var want []string
			for _, line := range c.want {
				want = append(want, "slate: "+line)
			}
			require.Equal(t, want, config.Differences(withColourants(c.old), withColourants(c.new)))
		})
	}
}

func withColourants(short string) *config.Recipe {
	r := config.DemoRecipe()
	r.Colours[0].Colourants = nil
	for _, word := range strings.Fields(short) {
		r.Colours[0].Colourants = append(r.Colours[0].Colourants, config.Colourant{Name: word[:1], Amount: word[1:] + " drops"})
	}
	return r
}

// The textbook pair ABCBDAB and BDCABA has four letters in common in the same
// order, no more (T. H. Cormen et al., Introduction to Algorithms, chapter on
// dynamic programming; from memory). So three are left out and two added.
func TestDifferencesAreTheFewest(t *testing.T) {
	lines := strings.Join(config.Differences(withColourants("A1 B1 C1 B1 D1 A1 B1"), withColourants("B1 D1 C1 A1 B1 A1")), "\n")
	require.Equal(t, 3, strings.Count(lines, "left out"), lines)
	require.Equal(t, 2, strings.Count(lines, "added"), lines)
}

// Any field of a recipe that is changed by the least there is must lead to a
// line, and to one that shows a change: so none is forgotten that is added later.
func TestEveryFieldMakesADifference(t *testing.T) {
	old, changed := everyKey(t), everyKey(t)
	require.Empty(t, config.Differences(old, changed))
	fields := 0
	eachField(t, reflect.ValueOf(changed).Elem(), "recipe", func(path string) {
		fields++
		require.NotEqual(t, old.Fingerprint(), changed.Fingerprint(), path)
		for _, lines := range [][]string{config.Differences(old, changed), config.Differences(changed, old)} {
			require.NotEmpty(t, lines, path)
			for _, line := range lines {
				before, after, arrow := strings.Cut(line, " → ")
				require.False(t, arrow && strings.HasSuffix(before, " "+after), "%s: %s", path, line)
			}
		}
	})
	require.Empty(t, config.Differences(old, changed), "every change was taken back")
	t.Logf("%d fields, nested ones counted each", fields)
}

func everyKey(t *testing.T) *config.Recipe {
	r, err := config.LoadRecipe(fixtures + "/recipe-every-key.good.yaml")
	require.NoError(t, err)
	return r
}

// eachField changes every field of a recipe's content in turn, calls check and
// takes the change back.
func eachField(t *testing.T, v reflect.Value, path string, check func(path string)) {
	before := reflect.ValueOf(v.Interface())
	switch v.Kind() {
	case reflect.Struct:
		for i, f := range reflect.VisibleFields(v.Type()) {
			if f.IsExported() && f.Tag.Get("json") != "-" { // what Canonical leaves out is no content
				eachField(t, v.Field(i), path+"."+f.Name, check)
			}
		}
		return
	case reflect.Slice:
		require.NotZero(t, v.Len(), "%s: the file with every key has one", path)
		for i := range v.Len() {
			eachField(t, v.Index(i), path+"[]", check)
		}
		v.Set(v.Slice(0, v.Len()-1))
	case reflect.String:
		v.SetString(v.String() + "x")
	case reflect.Float64:
		v.SetFloat(math.Nextafter(v.Float(), math.Inf(1)))
	case reflect.Int64:
		v.SetInt(v.Int() + 1)
	default:
		require.Fail(t, "teach this test a field of another kind", "%s is a %s", path, v.Kind())
	}
	check(path)
	v.Set(before)
}

func TestDifferencesOfFiles(t *testing.T) {
	text, err := os.ReadFile("demo/recipe.yaml")
	require.NoError(t, err)
	edited := strings.NewReplacer("setpoint: 168 C", "setpoint: 330 F", "amount: 3 drops", "amount: 4 drops").Replace(string(text))
	r, err := config.ParseRecipe("recipe.yaml", []byte(edited))
	require.NoError(t, err)
	require.Equal(t, []string{"slate: colourant black 3 drops → 4 drops", "slate: set-point 168 °C → 165.6 °C"}, // 330 °F = 165.56 °C
		config.Differences(config.DemoRecipe(), r))
}
