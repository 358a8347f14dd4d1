package try

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"meltwarden/daemon/lines"
)

// Fixed words of page and terminal.
const (
	// Heading stands above every advice.
	Heading = "What to try next"
	// Rule says what a choice is.
	Rule = "One change at a time, so that its effect can be told. It becomes a new version of the recipe when you accept it, and is judged by its shots."
	// AimWords stand with a change that is an aim.
	AimWords = "An aim for your hands: the page shows it, and a card says when it was missed. Nothing enforces it."
	// AsItIs and ToWait head the card of a shot that was drawn too early or too late.
	AsItIs = "no change of the recipe"
	ToWait = "Wait for the call"
	// UnseenWords stand before what no thermometer sees.
	UnseenWords = "No thermometer sees these; look at them as well:"
	// WantedWords stand before figures that were not recorded.
	WantedWords = "Not recorded at this shot, so they can speak for nothing; write them down next time:"
)

// Lines are a choice in words: its change, why, and how far it may go.
func (c Choice) Lines() []string {
	lines := []string{"Why: " + c.Cause + ". " + capital(c.Reason)}
	if c.Over != "" {
		lines = append(lines, c.Over)
	}
	lines = append(lines, "Bound: "+c.Bound)
	if c.Mind != "" {
		lines = append(lines, c.Mind)
	}
	if c.Aim {
		lines = append(lines, AimWords)
	}
	return lines
}

// Title heads a choice.
func (c Choice) Title() string {
	return fmt.Sprintf("choice %d: %s – %s", c.Number, c.Kind, c.Change)
}

// WriteText writes an advice for a terminal.
func (a Advice) WriteText(w io.Writer) error {
	t := &text{lines.To(w)}
	t.line("", "what to try next against: "+a.Words)
	if len(a.Choices) > 0 {
		t.line("", strings.TrimSpace(Rule+" "+a.Basis))
	}
	t.line("", "")
	if a.First != "" {
		t.line("  ", "first: "+AsItIs+" – "+ToWait)
		t.line("      ", a.First)
	}
	if a.None != "" {
		t.line("  ", a.None)
	}
	for _, c := range a.Choices {
		t.line("  ", c.Title())
		for _, words := range c.Lines() {
			t.line("      ", words)
		}
	}
	for _, o := range a.Asides {
		t.line("  ", "No change for: "+o.Cause+". "+capital(o.Why))
	}
	if len(a.Unseen) > 0 {
		t.line("  ", UnseenWords)
		for _, words := range a.Unseen {
			t.line("    ", "- "+words)
		}
	}
	if len(a.Wanted) > 0 {
		t.line("  ", WantedWords+" "+strings.Join(a.Wanted, ", "))
	}
	return t.Err()
}

// Title heads an attempt.
func (a Attempt) Title() string {
	return fmt.Sprintf("Attempt %d: %s, version %d → %d, against %s: %s", a.ID, a.Recipe, a.From, a.Number, a.Fault, a.Outcome.word())
}

// Lines are an attempt in words: its change, why, and what its shots say.
func (a Attempt) Lines() []string {
	lines := []string{
		a.Change, capital(a.Outcome.Words(a.Fault)),
		fmt.Sprintf("Accepted on %s after run %d, shot %d. Why: %s. %s", a.Accepted.Format("2006-01-02"), a.Run, a.Shot, a.Cause, capital(a.Reason)),
	}
	if a.Missed > 0 {
		lines = append(lines, fmt.Sprintf("An aim of this version was missed at %d of its shots, which say little of the change.", a.Missed))
	}
	if a.Ended != nil {
		lines = append(lines, strings.TrimSuffix("Ended on "+a.Ended.Format("2006-01-02")+": "+a.EndedWhy, ": "))
	}
	return lines
}

// JudgeWords say how an attempt is judged.
const JudgeWords = "Shots since against shots before, as called at demould, by an exact test, and more strictly after the fifth evening, because it is looked at again and again. Every shot that was judged counts, also one that missed an aim or was drawn outside its band: its card says so. The shots before include the one that led to it, so they look a little worse than they are and a part of any gain is chance; and evenings differ."

// WriteAttempts writes attempts for a terminal.
func WriteAttempts(w io.Writer, all []Attempt) error {
	t := &text{lines.To(w)}
	if len(all) == 0 {
		t.line("", "nothing has been accepted yet; the command try proposes a change")
		return t.Err()
	}
	t.line("", JudgeWords)
	for _, a := range all {
		t.line("", "")
		t.line("", a.Title())
		for _, words := range a.Lines() {
			t.line("    ", words)
		}
	}
	return t.Err()
}

// Start is the command that starts with a recipe, a file or a kept version: the demo's, for
// an attempt at an invented bench. where is what finds the history, such as " --data here".
func Start(recipe string, invented bool, where string) string {
	if strings.Contains(recipe, " ") {
		recipe = strconv.Quote(recipe)
	}
	if invented {
		return "meltwarden demo --recipe " + recipe + where
	}
	return "meltwarden serve --config bench.yaml --recipe " + recipe + where
}

// Kept is what commands call the version that came of the attempt.
func (a Attempt) Kept() string { return fmt.Sprintf("%s v%d", a.Recipe, a.Number) }

// capital begins words like a sentence.
func capital(words string) string {
	r, size := utf8.DecodeRuneInString(words)
	return string(unicode.ToUpper(r)) + words[size:]
}

// text breaks lines between words.
type text struct{ *lines.Writer }

func (t *text) line(indent, words string) { t.Line("%s", lines.Wrap(indent, words)) }
