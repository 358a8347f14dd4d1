package plot

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// overRun is an invented run of an hour with another over it.
func overRun() Run {
	var p Pot
	for i := range 61 {
		at := time.Duration(i) * time.Minute
		p.Points = append(p.Points, Point{At: at, MeltC: 100 + float64(i), PlateC: 200, TargetC: 170, Duty: .5})
		p.Other = append(p.Other, Point{At: at, MeltC: 110 + float64(i)})
	}
	p.Name, p.Colour, p.SetpointC, p.BandC = "left", "slate", 150, 2
	return Run{Title: "run 7, and dashed run 5", Pots: []Pot{p}, Over: [2]string{"run 7", "run 5"}, Zero: 40 * time.Minute}
}

// TestTwoRunsAreToldApart by dashes and by their names, on an axis that counts from what
// they have in common; plates and duties are left out.
func TestTwoRunsAreToldApart(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, Draw(&out, overRun(), Style{Width: 900, Height: 400}))
	svg := out.String()
	for _, text := range []string{">run 7<", ">run 5<", ">−0:40<", ">0:00<", ">0:20<", "stroke-dasharray"} {
		assert.Contains(t, svg, text)
	}
	for _, text := range []string{">plate<", ">heater<", ">melt<", ">target<"} {
		assert.NotContains(t, svg, text)
	}
}

// TestInlineTakesThePagesColours: no colour is left that a page could not change, both
// themes have all of them, and nothing leads outside.
func TestInlineTakesThePagesColours(t *testing.T) {
	svg, err := Inline(overRun(), Style{Width: 900, Height: 400, Dark: true, Format: PDF})
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(svg, "<svg "))
	assert.NotContains(t, svg, "http")
	for _, c := range regexp.MustCompile(`.{0,14}#[0-9A-Fa-f]{6}`).FindAllString(svg, -1) {
		assert.Regexp(t, `--plot-|-[a-z]+,#`, c)
	}
	for _, name := range regexp.MustCompile(`var\((--[a-z-]+),`).FindAllStringSubmatch(svg, -1) {
		assert.Contains(t, InlineColours(false), name[1]+":#")
		assert.Contains(t, InlineColours(true), name[1]+":#")
	}
	_, err = Inline(Run{}, Style{Width: 900, Height: 400})
	assert.ErrorContains(t, err, "no pot to draw")
}
