package plot

import (
	"bytes"
	"fmt"
	"image/color"
	"strings"
)

// Inline draws the run as SVG for a page that it stands in, which gives it its colours by
// the names that InlineColours lists; where the page has none it is light. The style's
// Format and Dark count for nothing. It fails as Draw does.
func Inline(r Run, s Style) (string, error) {
	s.Format, s.Dark = SVG, false
	var out bytes.Buffer
	if err := Draw(&out, r, s); err != nil {
		return "", err
	}
	var pairs []string
	for _, c := range named(light) {
		pairs = append(pairs, c.code(), fmt.Sprintf("var(%s,%s)", c.name, c.code()))
	}
	// Inside a page the name space goes without saying.
	pairs = append(pairs, ` xmlns="http://www.w3.org/2000/svg"`, "")
	return strings.NewReplacer(pairs...).Replace(out.String()), nil
}

// InlineColours are the colours of a theme as a page's style declares them.
func InlineColours(dark bool) string {
	var css strings.Builder
	for _, c := range named(paletteOf(Style{Dark: dark})) {
		fmt.Fprintf(&css, "%s:%s;", c.name, c.code())
	}
	return css.String()
}

type namedColour struct {
	name string
	color.NRGBA
}

// code is the colour as SVG spells it.
func (c namedColour) code() string { return fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B) }

func named(p palette) []namedColour {
	return []namedColour{
		{"--plot-ground", p.ground}, {"--plot-ink", p.ink}, {"--plot-dim", p.dim}, {"--plot-rule", p.rule}, {"--plot-band", p.band},
		{"--plot-edge", p.edge}, {"--plot-duty", p.duty}, {"--plot-duty-peak", p.dutyPeak},
		{"--plot-shot", p.shot}, {"--plot-spoiled", p.spoiled}, {"--plot-trip", p.trip},
	}
}
