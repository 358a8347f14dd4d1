package commission

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"meltwarden/config"
	"meltwarden/config/quantity"
)

// question is one thing that must be there besides this program.
type question struct {
	key  string
	text string
	// check says what is wrong with an answer that does not say no.
	check func(words string, b *config.Bench) error
	// file returns what the bench file says about it; nil where it has no key.
	file func(config.Protection) string
	// within is how long ago the day of an answer may be when it is given; zero where no day
	// is asked for.
	within time.Duration
}

var questions = []question{
	{"cut-out", "An independent over-temperature cut-out on every plate, with its own sensor and a reset by hand, opens the contactor without any computer. What is it, and where?",
		inWords, func(p config.Protection) string { return p.CutOut }, 0},
	{"cut-out-opens", "At what temperature of the plate does it open? Such as 270 C or 518 F.", opens, nil, 0},
	{"cut-out-tried", "Who tried it, and on which day?", withDay, nil, yearly},
	{"fuse", "A fuse or breaker suits the bench's cables and heaters. What is it, and where?",
		inWords, func(p config.Protection) string { return p.Fuse }, 0},
	{"residual-current-device", "The bench is behind a residual-current device (ground-fault interrupter). What is it, and where?", inWords, nil, 0},
	{"residual-current-device-tried", "Who pressed its test button, and on which day?", withDay, nil, yearly},
	{"earth", "Plates, and whatever else of metal can be touched, are connected to protective earth. How, and where?",
		inWords, func(p config.Protection) string { return p.Earth }, 0},
	{"earth-measured", "Who measured it, and on which day?", withDay, nil, inspected},
	{"e-stop", "An emergency stop within reach breaks the contactor in hardware. What is it, and where?",
		inWords, func(p config.Protection) string { return p.EStop }, 0},
	{"e-stop-tried", "Who tried it, and on which day?", withDay, nil, yearly},
	{"e-stop-release", "Releasing the emergency stop leaves everything off until somebody switches it on. By what?", inWords, nil, 0},
	{"contactor", "Everything that heats goes through the one contactor. What hangs on it?", inWords, nil, 0},
	{"extraction", "An extraction takes the fumes away at the pots, to the outside. What is it, and where does it lead?", inWords, nil, 0},
	{"extinguisher", "A fire extinguisher of class B and a lid for the pots are within reach. Where?", inWords, nil, 0},
	{"gauntlets", "There are heat-proof gauntlets and a face shield for everybody at the bench. Where?", inWords, nil, 0},
	{"electrician", "Which licensed electrician checked the bench against the local code, and on which day?", withDay, nil, inspected},
}

const (
	longestAnswer = 500 // characters (E)
	fewestLetters = 3   // E: fewer are no description
	// highestCutOutC: E, a plate limit may be 260 °C, and a plate overshoots.
	highestCutOutC = 300.0
	// inspected is how long ago somebody may have measured or inspected the bench (E: twice as
	// long as a trial by hand, which is repeated yearly).
	inspected = 2 * yearly
)

var (
	// denials are first words of answers that say that it is not there (C).
	denials = []string{"no", "not", "none", "nothing", "nein", "n/a", "na", "n", "nope", "nobody", "unknown", "later", "todo", "tbd", "don't", "dont", "never"}
	// assents are answers that say nothing (C).
	assents = []string{"y", "yes", "yep", "yeah", "ja", "ok", "okay", "sure", "done"}
)

// plain takes away what only dresses up a word.
func plain(words string) string {
	return strings.ToLower(strings.Trim(strings.ReplaceAll(words, "’", "'"), " .,;:!?-\"'()"))
}

// denied reports whether an answer says no.
func denied(words string) bool {
	fields := strings.FieldsFunc(words, func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune(".,;:!?", r) })
	return len(fields) > 0 && slices.Contains(denials, plain(fields[0]))
}

// inWords says why an answer says too little.
func inWords(words string, _ *config.Bench) error {
	letters := 0
	for _, r := range words {
		if unicode.IsLetter(r) {
			letters++
		}
	}
	if slices.Contains(assents, plain(words)) || letters < fewestLetters {
		return errors.New("that says too little: write what it is and where")
	}
	return nil
}

// withDay says why an answer does not name a person and a day. What is on record without a
// year was accepted when it was given, and counts until it lapses.
func withDay(words string, b *config.Bench) error {
	if inWords(words, b) != nil || strings.IndexFunc(words, unicode.IsDigit) < 0 {
		return errWho
	}
	return nil
}

// opens says why a temperature is none at which a cut-out should open: above what
// any plate may be told to reach, and low enough to protect.
func opens(words string, b *config.Bench) error {
	c, err := quantity.Temperature(strings.TrimRight(words, ". "))
	if err != nil {
		return err
	}
	limit := 0.0
	for _, p := range b.Pots {
		limit = max(limit, p.PlateLimitC)
	}
	if c <= limit || c > highestCutOutC {
		return fmt.Errorf("%.0f °C; it must open above the bench's plate limit of %.0f °C and at %.0f °C at most: set it so, try it, and type that", c, limit, highestCutOutC)
	}
	return nil
}

// accept says why an answer does not count, nil for one that does.
func (q *question) accept(words string, b *config.Bench) error {
	switch {
	case !utf8.ValidString(words) || strings.IndexFunc(words, unicode.IsControl) >= 0:
		return errors.New("the answer has a control character in it: type it again in plain words")
	case utf8.RuneCountInString(words) > longestAnswer:
		return fmt.Errorf("the answer has %d characters, %d are kept: type it again, shorter", utf8.RuneCountInString(words), longestAnswer)
	case denied(words):
		return fmt.Errorf("answered %q; fit it, or have it done, first", words)
	}
	return q.check(words, b)
}

// acceptNow says why an answer that is given now does not count, nil for one that does.
func (q *question) acceptNow(words string, b *config.Bench, now time.Time) error {
	if err := q.accept(words, b); err != nil || q.within == 0 {
		return err
	}
	return whoAndWhen(words, q.within, now)
}

// open says why a question is open, empty where it is not.
func (r *Record) open(q *question, b *config.Bench) string {
	a := r.answer(q.key)
	switch {
	case a == nil || a.Words == "":
		return q.key + ": not answered"
	case lapsed(a.At):
		return fmt.Sprintf("%s: answered %s, %s", q.key, day(a.At), tooLongAgo)
	}
	if err := q.accept(a.Words, b); err != nil {
		return fmt.Sprintf("%s: %v", q.key, err)
	}
	return ""
}

// openQuestions returns in words what is not answered, or not so that it counts.
func (r *Record) openQuestions(b *config.Bench) []string {
	var open []string
	for i := range questions {
		if why := r.open(&questions[i], b); why != "" {
			open = append(open, why)
		}
	}
	return open
}
