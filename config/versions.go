package config

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"meltwarden/config/quantity"
)

// Differences says in one plain line each what differs from an old version of a
// recipe to a new one. It is empty for recipes with the same fingerprint.
// Colours are matched by name, so one that is renamed is left out and new.
// Amounts and volumes are as typed, temperatures in degrees Celsius. The lines
// come in the order of the fields, colours in the order of the old version and
// new ones after them.
func Differences(old, new *Recipe) []string {
	return slices.Concat(
		change("name", old.Name, new.Name, texts...),
		change("note", old.Note, new.Note, texts...),
		colourDifferences(old.Colours, new.Colours),
		change("limits: melt trip", old.Limits.MeltTripC, new.Limits.MeltTripC, leftOut(degrees, "the bench's")...),
		change("limits: plate limit", old.Limits.PlateLimitC, new.Limits.PlateLimitC, leftOut(degrees, "the bench's")...),
		change("limits: held long", old.Limits.HeldLong, new.Limits.HeldLong, leftOut(durations, "the guard's")...),
		change("ready: steady for", old.SteadyFor, new.SteadyFor, durations...),
		change("ready: stir within", old.StirWithin, new.StirWithin, durations...),
		change("pour: draw within", old.Pour.DrawWithin, new.Pour.DrawWithin, leftOut(durations, noAim)...),
		change("pour: mould at least", old.Pour.MouldAtLeastC, new.Pour.MouldAtLeastC, leftOut(degrees, noAim)...),
		change("pour: mould at most", old.Pour.MouldAtMostC, new.Pour.MouldAtMostC, leftOut(degrees, noAim)...),
		change("pour: held at most", old.Pour.HeldAtMost, new.Pour.HeldAtMost, leftOut(durations, noAim)...),
		change("least contrast", old.LeastContrast, new.LeastContrast, leftOut(plainNumbers, "the default")...),
	)
}

const noAim = "no aim"

func colourDifferences(old, new []Colour) []string {
	var lines []string
	for _, o := range old {
		if i := indexOfColour(new, o.Name); i >= 0 {
			lines = append(lines, o.differences(new[i])...)
		} else {
			lines = append(lines, "colour "+o.Name+" left out")
		}
	}
	for _, n := range new {
		if indexOfColour(old, n.Name) < 0 {
			lines = append(lines, fmt.Sprintf("colour %s new: pot %s, %s, %s, set-point %s",
				n.Name, n.Pot, n.Position, n.Volume.Typed, quantity.FormatTemperature(n.SetpointC)))
		}
	}
	return lines
}

func indexOfColour(list []Colour, name string) int {
	return slices.IndexFunc(list, func(c Colour) bool { return c.Name == name })
}

// differences compares two colours of the same name.
func (c Colour) differences(new Colour) []string {
	var moved []string
	if c.Pot != new.Pot {
		moved = []string{fmt.Sprintf("moved from pot %s to pot %s", c.Pot, new.Pot)}
	}
	lines := slices.Concat(
		moved,
		change("position", c.Position, new.Position, texts...),
		change("order", c.Order, new.Order, texts...),
		change("base", c.Base, new.Base, texts...),
		change("lot", c.Lot, new.Lot, texts...),
		change("hardness", c.Hardness, new.Hardness, texts...),
		change("softener", c.Softener, new.Softener, texts...),
		change("hardener", c.Hardener, new.Hardener, texts...),
		change("volume", c.Volume, new.Volume, volumes...),
		colourantDifferences(c.Colourants, new.Colourants),
		change("flake", c.Flake, new.Flake, texts...),
		change("flake's cut", c.FlakeCut, new.FlakeCut, texts...),
		change("flake's size", c.FlakeMM, new.FlakeMM, leftOut(sizes, notRecorded)...),
		change("pearl", c.Pearl, new.Pearl, texts...),
		change("salt", c.Salt, new.Salt, texts...),
		change("scent", c.Scent, new.Scent, texts...),
		change("set-point", c.SetpointC, new.SetpointC, degrees...),
		change("band", c.BandC, new.BandC, degrees...),
		change("cure", c.CureC, new.CureC, degrees...),
		change("dwell", c.Dwell, new.Dwell, durations...),
		change("swatch", c.Swatch, new.Swatch, texts...),
		change("opacity", c.Opacity, new.Opacity, leftOut(shares, notRecorded)...),
	)
	for i := range lines {
		lines[i] = c.Name + ": " + lines[i]
	}
	return lines
}

// colourantDifferences walks along a longest common subsequence of both lists'
// names (R. A. Wagner and M. J. Fischer, J. ACM 21 (1974) 168–173). Nothing is
// matched across it, because the order in which colourants go in is content.
func colourantDifferences(old, new []Colourant) []string {
	common := commonNames(old, new)
	var lines []string
	for i, j := 0, 0; i < len(old) || j < len(new); {
		switch {
		case i < len(old) && j < len(new) && old[i].Name == new[j].Name:
			lines = append(lines, change("colourant "+old[i].Name, old[i].Amount, new[j].Amount, texts...)...)
			i, j = i+1, j+1
		case j == len(new) || i < len(old) && common[i+1][j] >= common[i][j+1]:
			lines = append(lines, strings.Join([]string{"colourant", old[i].Name, old[i].Amount, "left out"}, " "))
			i++
		default:
			lines = append(lines, fmt.Sprintf("colourant %s %s added (%s)", new[j].Name, new[j].Amount, turn(new, j)))
			j++
		}
	}
	return lines
}

// commonNames returns, for every pair of places, how many names the rests of
// both lists have in common in the same order.
func commonNames(old, new []Colourant) [][]int {
	common := make([][]int, len(old)+1)
	common[len(old)] = make([]int, len(new)+1)
	for i := len(old) - 1; i >= 0; i-- {
		common[i] = make([]int, len(new)+1)
		for j := len(new) - 1; j >= 0; j-- {
			if old[i].Name == new[j].Name {
				common[i][j] = common[i+1][j+1] + 1
			} else {
				common[i][j] = max(common[i+1][j], common[i][j+1])
			}
		}
	}
	return common
}

// turn says when a colourant goes in.
func turn(list []Colourant, i int) string {
	switch i {
	case len(list) - 1:
		return "last"
	case 0:
		return "first"
	}
	return "after " + list[i-1].Name
}

// change is one line when a value changed, written in the first way that tells
// both apart.
func change[T comparable](what string, old, new T, show ...func(T) string) []string {
	if old == new {
		return nil
	}
	var from, to string
	for _, s := range show {
		if from, to = s(old), s(new); from != to {
			break
		}
	}
	return []string{what + " " + from + " → " + to}
}

// The ways to write a value, the plainest first and the last one exact.
var (
	degrees = []func(float64) string{
		quantity.FormatTemperature,
		func(celsius float64) string { return inUnit("°C")(thousandth(celsius)) },
		inUnit("°C"),
	}
	texts        = []func(string) string{recorded, strconv.Quote}
	durations    = []func(time.Duration) string{quantity.FormatDuration, time.Duration.String}
	sizes        = []func(float64) string{inUnit("mm")}
	shares       = []func(float64) string{percent, inUnit("of the whole")}
	plainNumbers = []func(float64) string{func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }}
	volumes      = []func(quantity.Volume) string{
		func(v quantity.Volume) string { return v.Typed },
		func(v quantity.Volume) string { return v.Typed + " = " + inUnit("mL")(v.ML) },
	}
)

const notRecorded = "not recorded"

func recorded(text string) string {
	if text == "" {
		return notRecorded
	}
	return text
}

// leftOut shows a value that a recipe need not have.
func leftOut[T comparable](show []func(T) string, word string) []func(T) string {
	var zero T
	ways := make([]func(T) string, len(show))
	for i, s := range show {
		ways[i] = func(v T) string {
			if v == zero {
				return word
			}
			return s(v)
		}
	}
	return ways
}
