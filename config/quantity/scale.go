package quantity

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Manner is how an amount is multiplied.
type Manner int

const (
	Linear   Manner = iota // a volume or a mass: to three digits
	Drops                  // counted: to whole drops, one at the least, never turned into a volume
	Pinches                // taken by eye: they stay as typed
	Share                  // a percentage stays what it is
	NoAmount               // no number with a unit, or one that is a rate or a range: it stays as typed
)

// Scaled is an amount after it was multiplied.
type Scaled struct {
	Text   string // in the unit typed, with what followed it
	Manner Manner
	Exact  float64 // the number before it was rounded, in the unit typed
	// Rounding is how much rounding changed it: 0.1 is a tenth more.
	Rounding float64
}

// DropSpread is how much two drops of a viscous colourant differ at the least, by either
// side: a judgement. Of water, a dropper may give 45 to 55 mg a drop (USP, chapter 1101);
// the tip alone changes a drop by a factor of 9 (Eschbaum 1895).
const DropSpread = 0.2

// amountBegins is the number that a typed amount begins with and its unit; in units the
// longest come first, so that "mL" is not taken for an m.
var amountBegins = func() *regexp.Regexp {
	var units []string
	for _, list := range [][]unit{percentUnits, amountUnits, volumeUnits, spoonUnits} {
		for _, u := range list {
			units = append(units, u.name)
		}
	}
	for other, plain := range spellings {
		if slices.Contains(units, plain) {
			units = append(units, other)
		}
	}
	slices.SortFunc(units, func(a, b string) int { return len(b) - len(a) })
	for i, u := range units {
		units[i] = regexp.QuoteMeta(u)
	}
	return regexp.MustCompile(`^([+]?(?:\d+(?:\.\d*)?|\.\d+))(\s*)(` + strings.Join(units, "|") + `)($|[\s,;.].*$)`)
}()

// noAmount is what follows a number with a unit that is a share of something else, or one
// end of a range: to multiply it would make too much, or half a range.
var noAmount = regexp.MustCompile(`^[\s,;]*(?:per\b|each\b|/|(?:to|or|-|–)\s*[\d.])`)

// Scale multiplies the amount that a text such as "12 drops", "1.5 US cup" or "2 mL,
// oil-based" begins with. Times is above 0.
func Scale(text string, times float64) Scaled {
	text = strings.Join(strings.Fields(text), " ")
	m := amountBegins.FindStringSubmatch(text)
	if m == nil || noAmount.MatchString(m[4]) {
		return Scaled{Text: text, Manner: NoAmount}
	}
	old, err := strconv.ParseFloat(m[1], 64)
	if err != nil || old == 0 {
		return Scaled{Text: text, Manner: NoAmount}
	}
	name := m[3]
	if plain, ok := spellings[name]; ok {
		name = plain
	}
	s := Scaled{Text: text, Exact: old * times}
	digits := ""
	switch name {
	case "%":
		s.Manner, s.Exact = Share, old
		return s
	case "pinch":
		s.Manner, s.Exact = Pinches, old
		return s
	case "drops":
		whole := max(1, math.Round(s.Exact))
		s.Manner, digits = Drops, strconv.FormatFloat(whole, 'f', 0, 64)
		m[3] = dropsOf(m[3], whole)
	default:
		digits = threeDigits(s.Exact)
	}
	s.Text = digits + m[2] + m[3] + m[4]
	rounded, _ := strconv.ParseFloat(digits, 64) // its own digits
	s.Rounding = rounded/s.Exact - 1
	return s
}

// dropsOf writes one drop as one.
func dropsOf(typed string, count float64) string {
	if count == 1 {
		return "drop"
	}
	if typed == "drop" {
		return "drops"
	}
	return typed
}

// threeDigits rounds to three digits that count, or to a whole number where that is
// finer, and leaves out needless zeros.
func threeDigits(v float64) string {
	return decimal(v, max(0, 2-int(math.Floor(math.Log10(v)))))
}
