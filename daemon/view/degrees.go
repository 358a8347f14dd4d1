package view

import (
	"regexp"
	"strconv"
	"strings"
)

// degrees is a figure in degrees Celsius in a text, or a range of two.
var degrees = regexp.MustCompile(`(-?[0-9.]+)( to )?(-?[0-9.]+)? °C`)

var (
	// atOne is what stands before a temperature, as against a difference of two.
	atOne = regexp.MustCompile(`(?i)\b(below|above|less than|at|from|seen;) $`)
	// ofTwo is what stands behind a difference, whatever stands before it.
	ofTwo = regexp.MustCompile(`^ (above|below|over|lower|warmer|on|a second|a minute)\b`)
)

// InUnits is a text of the guard's in both units. Its figures are written in degrees Celsius;
// whether one is a temperature or a difference of two is told by the words beside it.
func InUnits(text string) Both {
	var f strings.Builder
	last := 0
	for _, m := range degrees.FindAllStringSubmatchIndex(text, -1) {
		difference := !atOne.MatchString(text[:m[0]]) || ofTwo.MatchString(text[m[1]:])
		f.WriteString(text[last:m[0]])
		f.WriteString(inF(text[m[2]:m[3]], difference))
		if m[6] >= 0 {
			f.WriteString(text[m[4]:m[5]] + inF(text[m[6]:m[7]], difference))
		}
		f.WriteString(" °F")
		last = m[1]
	}
	return Both{C: text, F: f.String() + text[last:]}
}

// inF is a figure no finer than it was typed: to a tenth below ten degrees, a
// hundredth below one.
func inF(typed string, difference bool) string {
	c, err := strconv.ParseFloat(typed, 64)
	if err != nil {
		return typed
	}
	v, digits := 1.8*c, 0
	switch {
	case !difference:
		v += 32
	case v < 1:
		digits = 2
	case v < 10:
		digits = 1
	}
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if digits > 0 {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}
