package config

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
)

// kind pairs a parser with an example of what it takes.
func kind[T any](parse func(string) (T, error), example string) strict.Kind[T] {
	return strict.Kind[T]{Parse: parse, Example: example}
}

// text is any text in one line.
func text(example string) strict.Kind[string] {
	return kind(func(typed string) (string, error) {
		if strings.IndexFunc(typed, unicode.IsControl) >= 0 || !utf8.ValidString(typed) {
			return "", &quantity.Fault{Wrong: "has a line break or a control character", Fix: "write it in one line"}
		}
		return typed, nil
	}, example)
}

// name is a short text that other parts of the files, labels and pages refer to.
func name(example string) strict.Kind[string] {
	line := text(example)
	return kind(func(typed string) (string, error) {
		if utf8.RuneCountInString(typed) > maxNameLength {
			return "", &quantity.Fault{Wrong: fmt.Sprintf("longer than %d letters", maxNameLength), Fix: "shorten the name"}
		}
		return line.Parse(typed)
	}, example)
}

// oneOf is one of a few words, spelt exactly so.
func oneOf[T ~string](words ...T) strict.Kind[T] {
	return kind(func(typed string) (T, error) {
		if slices.Contains(words, T(typed)) {
			return T(typed), nil
		}
		return "", &quantity.Fault{Wrong: "not known", Fix: choose(typed, words)}
	}, string(words[0]))
}

// choose names the word that was meant, or all of them.
func choose[T ~string](typed string, words []T) string {
	plain := make([]string, len(words))
	for i, w := range words {
		plain[i] = string(w)
	}
	if near, ok := strict.Nearest(typed, plain); ok {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return "write one of " + strings.Join(plain, ", ")
}

// within narrows a kind to what can be believed. Show writes a bound.
func within[T cmp.Ordered](k strict.Kind[T], low, high T, show func(T) string) strict.Kind[T] {
	parse := k.Parse
	k.Parse = func(typed string) (T, error) {
		v, err := parse(typed)
		if err == nil && !(v >= low && v <= high) {
			return v, &quantity.Fault{
				Wrong: "hard to believe",
				Fix:   fmt.Sprintf("check number and unit: %s to %s", show(low), show(high)),
			}
		}
		return v, err
	}
	return k
}

// temperature is one that can be believed. The likeliest mistake is the wrong
// scale, since many guides are written in the other one.
func temperature(example string, lowC, highC float64) strict.Kind[float64] {
	believed := within(kind(quantity.Temperature, example), lowC, highC, quantity.FormatTemperature)
	return kind(func(typed string) (float64, error) {
		v, err := believed.Parse(typed)
		other, otherC, otherErr := quantity.OtherScale(typed)
		if err != nil && otherErr == nil && otherC >= lowC && otherC <= highC {
			return v, &quantity.Fault{
				Wrong: "hard to believe",
				Fix:   fmt.Sprintf("did you mean %s (%s)?", other, quantity.FormatTemperature(math.Round(otherC))),
			}
		}
		return v, err
	}, example)
}

// limit is a temperature that may be lowered at will, and not raised past the
// built-in ceiling.
func limit(example string, lowC, ceilingC float64) strict.Kind[float64] {
	believed := temperature(example, lowC, ceilingC)
	return kind(func(typed string) (float64, error) {
		v, err := believed.Parse(typed)
		if err != nil && v > ceilingC {
			if _, c, _ := quantity.OtherScale(typed); !(c >= lowC && c <= ceilingC) {
				return v, &quantity.Fault{Wrong: "above the built-in ceiling", Fix: atMost(ceilingC)}
			}
		}
		return v, err
	}, example)
}

func difference(example string, low, high float64) strict.Kind[float64] {
	return within(kind(quantity.Difference, example), low, high, quantity.FormatTemperature)
}

func duration(example string, low, high time.Duration) strict.Kind[time.Duration] {
	return within(kind(quantity.Duration, example), low, high, quantity.FormatDuration)
}

func inUnit(unit string) func(float64) string {
	return func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) + " " + unit }
}

// percent writes a share so that quantity.Fraction reads it back, to a hundredth of a
// percent.
func percent(share float64) string {
	return strconv.FormatFloat(math.Round(share*10000)/100, 'f', -1, 64) + " %"
}

// whole is a whole number, in decimal or, after 0x, in hexadecimal digits.
func whole(example string, low, high int64) strict.Kind[int64] {
	return kind(func(typed string) (int64, error) {
		v, err := parseWhole(typed)
		if err == nil && (v < low || v > high) {
			err = &quantity.Fault{Wrong: "out of range", Fix: fmt.Sprintf("write %d to %d", low, high)}
		}
		return v, err
	}, example)
}

var (
	decimalDigits = regexp.MustCompile(`^-?(0|[1-9][0-9]*)$`)
	hexDigits     = regexp.MustCompile(`^0x[0-9A-Fa-f]+$`)
	decimalNumber = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)
)

func parseWhole(typed string) (int64, error) {
	digits, base := typed, 10
	switch {
	case hexDigits.MatchString(typed):
		digits, base = typed[len("0x"):], 16
	case !decimalDigits.MatchString(typed):
		return 0, &quantity.Fault{Wrong: "not a whole number", Fix: "write it like 17 or 0x11, without leading zeros"}
	}
	v, err := strconv.ParseInt(digits, base, 64)
	if err != nil {
		return 0, &quantity.Fault{Wrong: "number too large", Fix: "check its digits"}
	}
	return v, nil
}

// decimal is a plain number without a unit.
func decimal(example string) strict.Kind[float64] {
	return kind(func(typed string) (float64, error) {
		v, err := strconv.ParseFloat(typed, 64)
		if err != nil || !decimalNumber.MatchString(typed) {
			return 0, &quantity.Fault{Wrong: "not a plain number", Fix: "write it like " + example}
		}
		return v, nil
	}, example)
}

func yesNo() strict.Kind[bool] {
	return kind(func(typed string) (bool, error) {
		if typed == "true" || typed == "false" {
			return typed == "true", nil
		}
		return false, &quantity.Fault{Wrong: "neither true nor false", Fix: "write true or false"}
	}, "true")
}
