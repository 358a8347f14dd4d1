package estimate

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/injector"
	"meltwarden/control/melt"
)

func ask(t *testing.T, name string, typed map[string]string, u Unit) Answer {
	t.Helper()
	q, ok := Of(name)
	require.True(t, ok)
	a, err := q.Answer(typed, u)
	require.NoError(t, err)
	return a
}

// TestEveryQuestionHasAnAnswer, by its defaults and with a low, a high and what it takes for
// granted.
func TestEveryQuestionHasAnAnswer(t *testing.T) {
	for _, q := range Questions() {
		a := ask(t, q.Name, nil, Celsius)
		require.NotEmpty(t, a.Figures, q.Name)
		assert.NotEmpty(t, a.Assumes, q.Name)
		assert.Len(t, a.Given, len(q.Inputs), q.Name)
		for _, f := range a.Figures {
			assert.Less(t, float64(f.Low), float64(f.High), "%s: %s", q.Name, f.What)
			assert.NotEmpty(t, f.Shown)
		}
	}
	_, ok := Of("nothing")
	assert.False(t, ok)
}

// TestAnInjectorInWords, in both units, beside the loss that the trade reckons with: 21 °C in
// 10 s (an estimate without a source).
func TestAnInjectorInWords(t *testing.T) {
	a := ask(t, "injector", map[string]string{"melt": "170 C"}, Celsius)
	assert.Equal(t, "colder in the mean, 10 s after the draw", a.Figures[0].What)
	assert.Equal(t, "≈ 21 °C (15 to 29)", a.Figures[0].Shown)
	assert.Equal(t, "≈ 9 s (5 to 21)", a.Figures[3].Shown)
	a = ask(t, "injector", map[string]string{"melt": "338 F", "after": " 10 s "}, Fahrenheit)
	assert.Equal(t, "≈ 38 °F (27 to 51)", a.Figures[0].Shown)
	assert.InDelta(t, 20.9, float64(a.Figures[0].Mid), 0.05, "figures stay in degrees Celsius")
	assert.Equal(t, "until the mean is below 302 °F", a.Figures[3].What)
	a = ask(t, "injector", map[string]string{"preheat": "150 C"}, Celsius)
	assert.Equal(t, "more than 5 min", a.Figures[3].Shown)
	text, err := json.Marshal(a.Figures[3])
	require.NoError(t, err)
	assert.JSONEq(t, `{"what":"until the mean is below 150 °C","unit":"s","low":null,"mid":null,"high":null,"shown":"more than 5 min"}`, string(text))
}

// TestMouldsInWords: what never comes is said to.
func TestMouldsInWords(t *testing.T) {
	assert.Equal(t, "never in a mould so warm", ask(t, "seam", map[string]string{"mould": "120 C"}, Celsius).Figures[2].Shown)
	assert.Len(t, ask(t, "warming", map[string]string{"shots": "4"}, Celsius).Figures, 4)
	assert.Equal(t, "1.21 to 1.51 times as thick", ask(t, "flow", nil, Celsius).Figures[0].Shown)
	assert.Equal(t, "≈ 14 min (9 to 27)", ask(t, "mould", map[string]string{"thickness": "30 mm"}, Celsius).Figures[2].Shown)
}

// TestWhatCanNotBeIsRefused, all of it at once, with the fix.
func TestWhatCanNotBeIsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		typed map[string]string
		want  []string
	}{
		"injector": {map[string]string{"bore": "25", "preheat": "400 C", "after": "soon"}, []string{
			`injector: bore: "25": unit missing; write "25 mm"`,
			`injector: preheat: "400 C": hard to believe; check number and unit: 0 C to 200 C`,
			`injector: after: "soon": does not begin with a number; write digits, a point where needed, then the unit`,
		}},
		"contact": {map[string]string{"metal": "wood"}, []string{`contact: metal: "wood": not known; write aluminium or steel`}},
		"warming": {map[string]string{"closed": "10 min"}, []string{`warming: closed: "10 min": longer than from push to push; write at most what stands for every`}},
		"mould":   {map[string]string{"mould": "195 C"}, []string{`mould: mould: "195 C": not colder than the melt; check number and unit of both`}},
		"seam":    {map[string]string{"melt": "120 C", "mould": "120 C"}, []string{`seam: mould: "120 C": not colder than the melt; check number and unit of both`}},
		"flow":    {map[string]string{"apart": "-3 C"}, []string{`flow: apart: "-3 C": hard to believe; check number and unit: 0 C to 60 C, as a difference`}},
	} {
		q, _ := Of(name)
		_, err := q.Answer(c.typed, Celsius)
		require.Error(t, err)
		assert.ElementsMatch(t, c.want, strings.Split(err.Error(), "\n"))
	}
	q, _ := Of("warming")
	_, err := q.Answer(map[string]string{"shots": "2.5"}, Celsius)
	assert.EqualError(t, err, `warming: shots: "2.5": not a whole number; write it like 10`)
}

// TestADrawCountsDown, and says by what it knows the injector's wall.
func TestADrawCountsDown(t *testing.T) {
	nan := math.NaN()
	d := OfDraw(injector.Injector{}, 170, nan, nan, 4)
	left, between := d.Countdown()
	assert.Equal(t, "injector ≈ 5 s", left)
	assert.Equal(t, "until 150 °C (302 °F); 1 to 17 s, estimated", between)
	assert.Equal(t, "≈ 156 °C (152 to 160) by now, lowest to push 150 °C; estimated for an assumed bore of 25 mm whose wall was at 25 °C at the draw, assumed", d.Words(Celsius))
	left, between = OfDraw(injector.Injector{}, 170, nan, nan, 30).Countdown()
	assert.Equal(t, "injector ≈ 0 s", left)
	assert.Equal(t, "too cold to push by now, estimated", between)

	for want, d := range map[string]Draw{
		"for a bore of 20 mm whose wall was at 176 °F at the draw, by the bench file": OfDraw(injector.Injector{BoreM: 0.02, PreheatC: 80}, 170, nan, 22, 4),
		"for a bore of 20 mm whose wall was at 72 °F at the draw, as the room":        OfDraw(injector.Injector{BoreM: 0.02}, 170, nan, 22, 4),
		"for a bore of 20 mm whose wall was at 140 °F at the draw, by its probe":      OfDraw(injector.Injector{BoreM: 0.02, PreheatC: 80}, 170, 60, 22, 4),
	} {
		assert.Equal(t, want, d.Assumes(Fahrenheit))
	}
	warm := OfDraw(injector.Injector{PreheatC: 135}, 170, nan, nan, 4)
	left, _ = warm.Countdown()
	assert.Empty(t, left, "it stays warm enough for longer than anybody waits")
	_, between = OfDraw(injector.Injector{PreheatC: 120}, 170, nan, nan, 4).Countdown()
	assert.Equal(t, "until 150 °C (302 °F); 42 s to more than 5 min, estimated", between)
}

// TestDefaultsOfABench: what its file says of the injector stands for what nobody typed.
func TestDefaultsOfABench(t *testing.T) {
	q, _ := Of("injector")
	d := q.Defaults(injector.Injector{BoreM: 0.02, PreheatC: 80, LowestC: 145})
	assert.Equal(t, "20 mm", d["bore"])
	assert.Equal(t, "80 C", d["preheat"])
	assert.Equal(t, "145 C", d["lowest"])
	assert.Equal(t, "168 C", d["melt"])
	q, _ = Of("seam")
	assert.NotContains(t, q.Defaults(injector.Injector{BoreM: 0.02}), "bore")
}

// TestTimesAreNoFinerThanTheyDeserve.
func TestTimesAreNoFinerThanTheyDeserve(t *testing.T) {
	inf := math.Inf(1)
	for want, r := range map[string]melt.Range{
		"≈ 0.07 s (0.05 to 0.13)":             {Low: 0.0512, Mid: 0.068, High: 0.134},
		"≈ 130 s (87 to 240)":                 {Low: 86.6, Mid: 128, High: 241},
		"more than 5 min (76 s at the least)": {Low: 76, Mid: inf, High: inf},
		"≈ 60 s (30 to more than 5 min)":      {Low: 30, Mid: 60, High: inf},
	} {
		assert.Equal(t, want, Celsius.Words(Time, r))
	}
}
