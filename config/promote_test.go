package config_test

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config"
	"meltwarden/config/strict"
)

func setTo(pot string, celsius float64) config.Deviation {
	return config.Deviation{Pot: pot, SetpointC: celsius}
}

func added(pot, name, amount string) config.Deviation {
	return config.Deviation{Pot: pot, SetpointC: math.NaN(), Addition: config.Colourant{Name: name, Amount: amount}}
}

// Both files tell the same recipe in other layouts. What they must become was
// written by hand, not by this program; 169.444 °C is 337 °F (NIST SP 811,
// appendix B.8).
func TestPromoteKeepsTheLayout(t *testing.T) {
	deviations := []config.Deviation{
		setTo("one", 171), added("one", "black", "1 drop"), added("two", "pale: #7, {fine}", ".5 g"),
		{Pot: "three", SetpointC: 166.1251, Addition: config.Colourant{Name: "no", Amount: "1 drop"}},
		added("four", "white", "1 drop"), added("five", "white", "1 drop"), setTo("one", 169.444),
		added("one", " black", "1 drop "), added("five", "black", "1 drop"), added("three", "12", "2 mL"),
		setTo("five", 168),
	}
	for _, layout := range []string{"lines", "braces"} {
		typed, err := os.ReadFile(fixtures + "/promote-" + layout + ".good.yaml")
		require.NoError(t, err)
		want, err := os.ReadFile(fixtures + "/promote-" + layout + ".new.yaml")
		require.NoError(t, err)
		for name, as := range map[string]func(string) string{
			"as it is":            func(s string) string { return s },
			"CRLF":                func(s string) string { return strings.ReplaceAll(s, "\n", "\r\n") },
			"no line break last":  func(s string) string { return strings.TrimSuffix(s, "\n") },
			"byte order mark":     func(s string) string { return "\ufeff" + s },
			"a document's begin":  func(s string) string { return "--- # one\n" + s },
			"separators of lines": func(s string) string { return "# a\u2028# b\u0085# c\u2029# d\r" + s },
		} {
			t.Run(layout+" "+name, func(t *testing.T) {
				got, err := config.Promote([]byte(as(string(typed))), deviations)
				require.NoError(t, err)
				require.Equal(t, as(string(want)), string(got))
			})
		}
	}
}

const oneOfEach = `name: plain
colours:
  - name: moss
    pot: only
    position: whole
    base: invented base
    volume: 250 mL
    setpoint: 165 C
    cure: {temperature: 170 C}
`

func TestPromoteLayouts(t *testing.T) {
	both := []config.Deviation{{Pot: "only", SetpointC: 166.5, Addition: config.Colourant{Name: "red", Amount: "2 drops"}}}
	const volume, setpoint = "    volume: 250 mL\n", "    setpoint: 165 C\n"
	const list = "    colourants:\n      - {name: red, amount: 2 drops}\n"
	for old, want := range map[string]string{
		volume + setpoint:                                                                volume + list + "    setpoint: 166.5 C\n",
		volume + "    setpoint: '165°C' # firm\n":                                        volume + list + "    setpoint: '166.5°C' # firm\n",
		volume + "    setpoint: +329.0 F\n":                                              volume + list + "    setpoint: 331.7 F\n",
		volume + "    setpoint: !!str 165 C\n":                                           volume + list + "    setpoint: !!str 166.5 C\n",
		volume + "    setpoint: &hot  \"165 C\"\n":                                       volume + list + "    setpoint: &hot  \"166.5 C\"\n",
		volume + "    setpoint:\n      165\n      C\n":                                   volume + list + "    setpoint:\n      166.5\n      C\n",
		volume + "    setpoint: |-\n      165 C\n":                                       volume + list + "    setpoint: |-\n      166.5 C\n",
		"    volume: >\n      250\n      mL\n" + setpoint:                                "    volume: >\n      250\n      mL\n" + list + "    setpoint: 166.5 C\n",
		"    volume: \"250\n\n      mL\"\n" + setpoint:                                   "    volume: \"250\n\n      mL\"\n" + list + "    setpoint: 166.5 C\n",
		"    colourants: []\n" + volume + setpoint:                                       "    colourants: [{name: red, amount: 2 drops}]\n" + volume + "    setpoint: 166.5 C\n",
		"    colourants: null\n" + volume + setpoint:                                     "    colourants: [{name: red, amount: 2 drops}]\n" + volume + "    setpoint: 166.5 C\n",
		"    colourants: !!seq [ ]\n" + volume + setpoint:                                "    colourants: !!seq [{name: red, amount: 2 drops} ]\n" + volume + "    setpoint: 166.5 C\n",
		"    colourants:\n    -\n      name: a\n      amount: 1 g\n" + volume + setpoint: "    colourants:\n    -\n      name: a\n      amount: 1 g\n    - name: red\n      amount: 2 drops\n" + volume + "    setpoint: 166.5 C\n",
	} {
		text := strings.Replace(oneOfEach, volume+setpoint, old, 1)
		got, err := config.Promote([]byte(text), both)
		require.NoError(t, err, old)
		require.Equal(t, strings.Replace(oneOfEach, volume+setpoint, want, 1), string(got))
	}
}

func TestPromoteARecipeInOneLine(t *testing.T) {
	const inOneLine = "\ufeff--- {name: é ü, colours: [{pot: only, name: moss, position: whole, base: invented base, " +
		"volume: 250 mL, colourants: [], setpoint: 165 C, cure: {temperature: 170 C}}]}"
	got, err := config.Promote([]byte(inOneLine), []config.Deviation{added("only", "red", "2 drops"), setTo("only", 166)})
	require.NoError(t, err)
	require.Equal(t, strings.NewReplacer("[]", "[{name: red, amount: 2 drops}]", "165", "166").Replace(inOneLine), string(got))
}

// A layout that nobody writes is not edited by guesswork.
func TestPromoteRefusesOddLayouts(t *testing.T) {
	for _, odd := range []string{
		"    setpoint: \"\\x3165 C\"\n",
		"    setpoint: !<tag:yaml.org,2002:str>\n      # why\n      165 C\n",
	} {
		_, err := config.Promote([]byte(strings.Replace(oneOfEach, "    setpoint: 165 C\n", odd, 1)), []config.Deviation{setTo("only", 166)})
		require.EqualError(t, err, "recipe: laid out in a way that only a person can change; "+
			"write in by hand: moss: set-point 165 °C → 166 °C", odd)
	}
	list := "    colourants: &all\n      - {name: a, amount: 1 g}\n    setpoint: 165 C\n"
	_, err := config.Promote([]byte(strings.Replace(oneOfEach, "    setpoint: 165 C\n", list, 1)), []config.Deviation{added("only", "red", "2 drops")})
	require.EqualError(t, err, "recipe: laid out in a way that only a person can change; "+
		"write in by hand: moss: colourant red 2 drops added (last)")
}

func TestPromoteRefuses(t *testing.T) {
	const useOld = "; use the recipe's own version"
	for name, c := range map[string]struct {
		deviations []config.Deviation
		want       string
	}{
		"nothing":       {nil, "run: no deviations: nothing was changed at the bench" + useOld},
		"no change":     {[]config.Deviation{setTo("left", math.NaN())}, "run: the deviations leave the recipe as it was" + useOld},
		"and back":      {[]config.Deviation{setTo("left", 166), setTo("left", 168.0004)}, "run: the deviations leave the recipe as it was" + useOld},
		"unknown pot":   {[]config.Deviation{setTo("lefd", 166)}, `run: deviations[1].pot: "lefd": not known; did you mean "left"?`},
		"no pot":        {[]config.Deviation{setTo("", 166)}, `run: deviations[1].pot: not known; write one of left, middle, right`},
		"cold":          {[]config.Deviation{setTo("left", 166), setTo("left", 0)}, `run: deviations[2].setpoint: "0 C": hard to believe; check number and unit: 140 °C to 190 °C`},
		"no number":     {[]config.Deviation{setTo("left", math.Inf(1))}, `run: deviations[1].setpoint: "+Inf C": does not begin with a number; write digits, a point where needed, then the unit`},
		"no amount":     {[]config.Deviation{added("left", "red", "")}, `run: deviations[1].addition.amount: does not begin with a number; write digits, a point where needed, then the unit`},
		"no unit":       {[]config.Deviation{added("left", "red", "12")}, `run: deviations[1].addition.amount: "12": unit missing; write "12 drops"`},
		"no name":       {[]config.Deviation{added("left", " ", "1 g")}, `run: deviations[1].addition.name: " ": value missing; write what was added, like "dark grey"`},
		"two lines":     {[]config.Deviation{added("left", "a\nb", "1 g")}, "run: deviations[1].addition.name: \"a\\nb\": has a line break or a control character; write it in one line"},
		"more than one": {[]config.Deviation{added("up", "red", "1")}, "run: deviations[1].pot: \"up\": not known; write one of left, middle, right\nrun: deviations[1].addition.amount: \"1\": unit missing; write \"1 drops\""},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := config.Promote(config.DemoRecipe().Typed, c.deviations)
			require.EqualError(t, err, c.want)
			require.IsType(t, &strict.Error{}, err)
		})
	}
	_, err := config.Promote([]byte("name: plain\n"), []config.Deviation{setTo("left", 166)})
	require.EqualError(t, err, `recipe:1: colours: missing; write "colours: [{name: slate, pot: left, …}], one entry for each pot"`)
	wide := "\xff\xfe"
	for _, b := range []byte(oneOfEach) {
		wide += string([]byte{b, 0})
	}
	_, err = config.Promote([]byte(wide), []config.Deviation{setTo("only", 166)})
	require.EqualError(t, err, "recipe: not written in UTF-8; save it in UTF-8 first")
}

// The fingerprint of the demo with "setpoint: 166.5 C" for its 168 C and an
// entry "{name: black, amount: 2 drops}" written in by hand, as another program
// makes it: Python 3's hashlib over the JSON written by its json module from
// PyYAML's reading of the file.
func TestPromotedFingerprintAsMadeElsewhere(t *testing.T) {
	text, err := config.Promote(config.DemoRecipe().Typed, []config.Deviation{setTo("left", 166.5), added("left", "black", "2 drops")})
	require.NoError(t, err)
	r, err := config.ParseRecipe("recipe.yaml", text)
	require.NoError(t, err)
	require.Equal(t, "3cde4f4a81e9", r.Fingerprint())
}

// Whatever is done at the bench, the new version differs by exactly that, and
// no other line of the file is touched.
func TestPromoteWritesExactlyTheDeviations(t *testing.T) {
	files := []string{"demo/recipe.yaml", fixtures + "/recipe-every-key.good.yaml", fixtures + "/recipe-small.good.yaml"}
	rapid.Check(t, func(t *rapid.T) {
		old, err := config.LoadRecipe(rapid.SampledFrom(files).Draw(t, "file"))
		require.NoError(t, err)
		deviations := rapid.SliceOfN(deviation(old), 1, 8).Draw(t, "deviations")
		text, err := config.Promote(old.Typed, deviations)
		want, setpoints, lines := expected(old, deviations)
		if len(want) == 0 {
			require.ErrorContains(t, err, "leave the recipe as it was")
			return
		}
		require.NoError(t, err)
		promoted, err := config.ParseRecipe("recipe.yaml", text)
		require.NoError(t, err)
		require.NotEqual(t, old.Fingerprint(), promoted.Fingerprint())
		require.Equal(t, want, withoutDegrees(config.Differences(old, promoted)))
		for i, c := range promoted.Colours {
			require.InDelta(t, setpoints[i], c.SetpointC, 0.0005001)
		}
		require.Equal(t, lines, untouched(t, string(old.Typed), string(text)))
	})
}

// deviation draws one that is right by itself.
func deviation(r *config.Recipe) *rapid.Generator[config.Deviation] {
	return rapid.Custom(func(t *rapid.T) config.Deviation {
		v := setTo(rapid.SampledFrom(r.Colours).Draw(t, "colour").Pot, math.NaN())
		if rapid.Bool().Draw(t, "set-point") {
			v.SetpointC = float64(rapid.IntRange(160_000, 175_000).Draw(t, "thousandths")) / 1000
		}
		if rapid.Bool().Draw(t, "addition") {
			v.Addition.Name = rapid.OneOf(
				rapid.SampledFrom([]string{"red", "black", "no", "~", "12", "a: b", "a #b", "- a", "it's \"x\"", "{a}", "[a", "é", "!a", "a\u2028b", "a,", "|"}),
				rapid.StringMatching(`[^\pC\pZ]([^\pC]{0,60}[^\pC\pZ])?`),
			).Draw(t, "name")
			v.Addition.Amount = fmt.Sprint(rapid.IntRange(1, 99).Draw(t, "number"), rapid.SampledFrom([]string{" drops", "mL", " g", " pinch"}).Draw(t, "unit"))
		}
		return v
	})
}

// expected works out what the deviations must lead to: the differences without
// the degrees, the set-points, and how many lines are changed and put in.
func expected(r *config.Recipe, deviations []config.Deviation) (differences []string, setpoints []float64, lines [2]int) {
	for _, c := range r.Colours {
		celsius, all := atTheEnd(c, deviations)
		for i := len(c.Colourants); i < len(all); i++ {
			when := "last"
			if i < len(all)-1 {
				when = "after " + all[max(i, 1)-1].Name
			}
			if i == 0 && len(all) > 1 {
				when = "first"
			}
			differences = append(differences, fmt.Sprintf("%s: colourant %s %s added (%s)", c.Name, all[i].Name, all[i].Amount, when))
			lines[1]++
		}
		if len(c.Colourants) == 0 && len(all) > 0 {
			lines[1]++ // the key
		}
		if math.Abs(celsius-c.SetpointC) > 0.0005 {
			differences = append(differences, c.Name+": set-point")
			lines[0]++
		}
		setpoints = append(setpoints, celsius)
	}
	return differences, setpoints, lines
}

// atTheEnd returns a colour's set-point and colourants after all deviations.
func atTheEnd(c config.Colour, deviations []config.Deviation) (celsius float64, all []config.Colourant) {
	celsius, all = c.SetpointC, slices.Clip(c.Colourants)
	for _, v := range deviations {
		if v.Pot == c.Pot && !math.IsNaN(v.SetpointC) {
			celsius = v.SetpointC
		}
		if v.Pot == c.Pot && v.Addition.Name != "" {
			all = append(all, v.Addition)
		}
	}
	return celsius, all
}

// withoutDegrees cuts the degrees off lines about set-points.
func withoutDegrees(lines []string) []string {
	for i, line := range lines {
		if colour, _, found := strings.Cut(line, ": set-point "); found && strings.HasSuffix(line, " °C") {
			lines[i] = colour + ": set-point"
		}
	}
	return lines
}

// untouched returns how many lines were changed, all of them set-points, and how
// many were put in. All others must be the same and in the same order.
func untouched(t require.TestingT, old, text string) (lines [2]int) {
	rest := strings.SplitAfter(text, "\n")
	for _, line := range strings.SplitAfter(old, "\n") {
		i := slices.Index(rest, line)
		if i < 0 {
			require.Contains(t, line, "setpoint: ")
			lines[0]++
			i = slices.IndexFunc(rest, func(s string) bool { return strings.Contains(s, "    setpoint: ") })
		}
		lines[1] += i
		rest = rest[i+1:]
	}
	require.Empty(t, rest)
	return lines
}

func FuzzPromote(f *testing.F) {
	for _, file := range []string{"demo/recipe.yaml", fixtures + "/recipe-every-key.good.yaml", fixtures + "/promote-lines.good.yaml", fixtures + "/promote-braces.good.yaml"} {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(text, "red", "1 drop", 166.5)
	}
	f.Fuzz(func(t *testing.T, text []byte, name, amount string, celsius float64) {
		old, err := config.ParseRecipe("recipe", text)
		if err != nil {
			return
		}
		last := old.Colours[len(old.Colours)-1].Pot
		promoted, err := config.Promote(text, []config.Deviation{
			{Pot: last, SetpointC: celsius, Addition: config.Colourant{Name: name, Amount: amount}},
			added(old.Colours[0].Pot, "white", "2 g"),
		})
		if err != nil {
			return
		}
		r, err := config.ParseRecipe("recipe", promoted)
		require.NoError(t, err)
		require.NotEmpty(t, config.Differences(old, r))
	})
}
