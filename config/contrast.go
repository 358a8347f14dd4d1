package config

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"meltwarden/config/swatch"
)

// SwatchNote is said wherever contrasts are shown, "" where none is known.
func SwatchNote(all []Contrast) string {
	if !slices.ContainsFunc(all, func(c Contrast) bool { return c.Beside != nil }) {
		return ""
	}
	return "Colour differences are CIEDE2000, estimated from swatches that were typed or picked on a screen: they measure no bait, " +
		"and a photograph without a grey card does not either. Below 1 is hardly seen, 1 to 2 on a close look (common practice)."
}

// Contrast is how two neighbours of the bait differ, by their swatches. Numbers that are
// not known are nil.
type Contrast struct {
	Colour    string `json:"colour"`
	Neighbour string `json:"neighbour"`
	// Swatches are theirs as typed, "" where none was recorded.
	Swatches [2]string `json:"swatches"`
	// Side by side, and where one lies over the other and lets it through, the worse
	// of both ways.
	Beside *Apart `json:"beside"`
	Over   *Apart `json:"over"`
	// Front is the colour that lies over the other in Over.
	Front string `json:"front,omitempty"`
	// Opaque are the colours whose opacity was not recorded: they were taken to hide all.
	Opaque []string `json:"taken_as_opaque,omitempty"`
	// AtLeast is the difference below which two colours are said to read as one.
	AtLeast   float64 `json:"at_least"`
	ReadAsOne bool    `json:"read_as_one"`
}

// Apart is how far two colours are from each other.
type Apart struct {
	Difference float64 `json:"ciede2000"`            // CIEDE2000, weights of 1
	Lightness  float64 `json:"lightness_difference"` // of L*, from 0 to 100
}

// Contrasts compares the neighbours of a recipe: colours that follow each other as back,
// core and belly where all of their positions are such words, or else in the file.
func Contrasts(r *Recipe) []Contrast {
	colours := slices.Clone(r.Colours)
	if !slices.ContainsFunc(colours, func(c Colour) bool { return depth(c) < 0 }) {
		slices.SortStableFunc(colours, func(a, b Colour) int { return cmp.Compare(depth(a), depth(b)) })
	}
	var all []Contrast
	for i := 1; i < len(colours); i++ {
		all = append(all, contrast(colours[i-1], colours[i], cmp.Or(r.LeastContrast, defaultLeastContrast)))
	}
	return all
}

// depth is where a colour's position is in a bait from back to belly, -1 for a word of
// the maker's own.
func depth(c Colour) int {
	if c.Position == "side" { // another word for what lies between
		return 1
	}
	return slices.Index([]string{"back", "core", "belly"}, c.Position)
}

func contrast(a, b Colour, atLeast float64) Contrast {
	c := Contrast{Colour: a.Name, Neighbour: b.Name, Swatches: [2]string{a.Swatch, b.Swatch}, AtLeast: atLeast}
	one, err := swatch.Parse(a.Swatch)
	other, errOther := swatch.Parse(b.Swatch)
	if err != nil || errOther != nil { // not recorded: what is recorded was read by ParseRecipe
		return c
	}
	for _, v := range []Colour{a, b} {
		if v.Opacity == 0 {
			c.Opaque = append(c.Opaque, v.Name)
		}
	}
	c.Beside = apart(one, other)
	c.Front, c.Over = a.Name, apart(one.Over(other, cmp.Or(a.Opacity, 1)), other)
	if over := apart(other.Over(one, cmp.Or(b.Opacity, 1)), one); over.Difference < c.Over.Difference {
		c.Front, c.Over = b.Name, over
	}
	c.ReadAsOne = c.Over.Difference < atLeast
	return c
}

func apart(a, b swatch.Light) *Apart {
	p, q := a.Lab(), b.Lab()
	return &Apart{swatch.Difference(p, q), math.Abs(p.L - q.L)}
}

// Words tells the contrast in one line.
func (c Contrast) Words() string {
	if c.Beside == nil {
		var lacking []string
		for i, name := range []string{c.Colour, c.Neighbour} {
			if c.Swatches[i] == "" {
				lacking = append(lacking, name)
			}
		}
		return fmt.Sprintf("not recorded: no swatch of %s", strings.Join(lacking, " and "))
	}
	words := fmt.Sprintf("side by side a colour difference of %.1f and a lightness difference of %.0f", c.Beside.Difference, c.Beside.Lightness)
	if *c.Over != *c.Beside {
		behind := c.Colour
		if c.Front == behind {
			behind = c.Neighbour
		}
		words += fmt.Sprintf("; where %s lies over %s and lets it through, %.1f and %.0f", c.Front, behind, c.Over.Difference, c.Over.Lightness)
	}
	if len(c.Opaque) > 0 {
		words += "; opacity not recorded, taken to hide all: " + strings.Join(c.Opaque, ", ")
	}
	return words
}

// Warning is what to say of colours that would read as one, "" of others.
func (c Contrast) Warning() string {
	if !c.ReadAsOne {
		return ""
	}
	return fmt.Sprintf("%s and %s would read as one: a colour difference of %.1f, below the least contrast of %g",
		c.Colour, c.Neighbour, c.Over.Difference, c.AtLeast)
}
