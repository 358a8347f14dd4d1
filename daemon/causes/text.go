package causes

import (
	"fmt"
	"io"
	"strings"

	"meltwarden/daemon/lines"
)

// WriteText writes an answer for a terminal.
func (a Answer) WriteText(w io.Writer, u Unit) error {
	t := &text{lines.To(w)}
	t.line("%s", a.Heading())
	if a.Invented {
		t.line("%s", Made)
	}
	t.line("%s", Promise)
	if len(a.Findings) == 0 {
		t.line("\n%s", Nothing)
	}
	hidden := ""
	for _, f := range a.Findings {
		t.line("\n%s", f.Heading())
		for _, line := range f.Conclusion(u) {
			t.line("  %s", line)
		}
		if f.Decides || a.Question.Fault != "" {
			f.write(t, u)
		} else if hidden == "" {
			hidden = f.Fault
		}
	}
	if hidden != "" {
		t.line("\nWhere nothing is concluded the figures are left out; with --fault, like --fault %q, they are shown.", hidden)
	}
	return t.Err()
}

// Heading says what was looked over.
func (a Answer) Heading() string {
	text := fmt.Sprintf("%s: %s of %s", Title, shots(a.Shots), count(a.Runs, "run"))
	if a.Question.Recipe != "" {
		text += ", recipe " + a.Question.Recipe
	}
	if a.Question.Mould != "" {
		text += ", mould " + a.Question.Mould
	}
	return text
}

// write writes all that a finding rests on.
func (f Finding) write(t *text, u Unit) {
	t.rows(OwnWords, f.Causes, u)
	t.rows(AllWords, f.Others, u)
	t.list(Without, f.Unseen)
	t.list(LateWords, f.LaterLines())
	t.list(Hint, f.HintLines())
	t.list(LeftWords, f.LeftLines())
	t.list(RateWords, f.RateLines())
}

// text is what an answer is written to.
type text struct{ *lines.Writer }

// line writes a line; what is longer goes on in the next, a little further in.
func (t *text) line(form string, args ...any) {
	whole := fmt.Sprintf(form, args...)
	words := strings.TrimLeft(whole, "\n")
	indent := words[:len(words)-len(strings.TrimLeft(words, " "))]
	t.Line("%s%s", whole[:len(whole)-len(words)], lines.Hang(indent, indent+"  ", words))
}

func (t *text) list(head string, lines []string) {
	if len(lines) == 0 {
		return
	}
	t.line("\n  %s", head)
	for _, l := range lines {
		t.line("    %s", l)
	}
}

// rows writes every figure, and under it what can be said.
func (t *text) rows(head string, rows []Row, u Unit) {
	if len(rows) == 0 {
		return
	}
	t.line("\n  %s", head)
	for _, r := range rows {
		t.line("    %s: %s", r.Name(), r.Verdict(u))
		if facts := r.Facts(u); facts != "" {
			t.line("      %s", facts)
		}
	}
}
