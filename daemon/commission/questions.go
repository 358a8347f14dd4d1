package commission

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"meltwarden/config"
)

// question is one thing that must be there besides this program.
type question struct {
	key  string
	text string
	// file returns what the bench file says about it, empty where it has no key.
	file func(config.Protection) string
}

var questions = []question{
	{"cut-out", "Is there an independent over-temperature cut-out on every plate, with its own sensor and a reset by hand, that opens the contactor without any computer?",
		func(p config.Protection) string { return p.CutOut }},
	{"fuse", "Is the bench behind a fuse or breaker that suits its cables and heaters?",
		func(p config.Protection) string { return p.Fuse }},
	{"residual-current-device", "Is the bench behind a residual-current device (ground-fault interrupter), and was it tested with its button?",
		func(p config.Protection) string { return p.Earth }},
	{"earth", "Are the plates, and whatever else of metal can be touched, connected to protective earth, and was that measured?",
		func(p config.Protection) string { return p.Earth }},
	{"e-stop", "Is there an emergency stop within reach that breaks the contactor in hardware, and was it tried?",
		func(p config.Protection) string { return p.EStop }},
	{"extraction", "Does an extraction take the fumes away at the pots, to the outside?", nil},
}

// longestAnswer is how many letters an answer may have (E).
const longestAnswer = 500

// denials are answers that say that it is not there (C).
var denials = []string{"no", "n", "none", "not yet", "nope"}

// denied reports whether an answer says no.
func denied(words string) bool {
	return slices.Contains(denials, strings.ToLower(strings.TrimRight(words, ".! ")))
}

// checkAnswer says what is wrong with a typed answer that is not empty.
func checkAnswer(words string) error {
	if !utf8.ValidString(words) || strings.IndexFunc(words, unicode.IsControl) >= 0 {
		return fmt.Errorf("the answer has a control character in it: type it again in plain words")
	}
	if n := utf8.RuneCountInString(words); n > longestAnswer {
		return fmt.Errorf("the answer has %d letters, %d are kept: type it again, shorter", n, longestAnswer)
	}
	return nil
}

// openQuestions returns in words what is not answered, or answered with no.
func (r *Record) openQuestions() []string {
	var open []string
	for _, q := range questions {
		switch words := r.answer(q.key); {
		case words == "":
			open = append(open, q.key+": not answered")
		case denied(words):
			open = append(open, fmt.Sprintf("%s: answered %q; fit it first", q.key, words))
		}
	}
	return open
}
