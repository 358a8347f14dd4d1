package evidence

import (
	"fmt"
	"io"
	"strings"

	"meltwarden/daemon/lines"
)

// WriteText writes the sheet for a terminal.
func (s Sheet) WriteText(w io.Writer) error {
	t := &text{lines.To(w)}
	t.line("", s.Heading)
	t.line("", s.Subheading)
	t.line("", "verdict: "+s.Verdict)
	if s.Off != "" {
		t.line("", "outside its band: "+s.Off)
	}
	s.writeFindings(t)
	s.writeBeside(t)
	return t.Err()
}

func (s Sheet) writeFindings(t *text) {
	t.line("", "")
	if s.NoFinding != "" {
		t.line("", s.NoFinding)
		return
	}
	for _, f := range s.Findings {
		t.line("", "why "+f.Words+"?")
		for _, words := range []string{f.Later, f.measure()} {
			if words != "" {
				t.line("  ", words)
			}
		}
		for _, g := range f.Groups {
			t.line("  ", g.Standing)
			for _, c := range g.Causes {
				t.line("    ", "- "+c.Cause)
				if c.Numbers != "" {
					t.line("        ", c.Numbers)
				}
			}
		}
		t.line("", "")
	}
}

// measure is what a reader has to know of hypotheses; "" where there are none.
func (f FindingSheet) measure() string {
	if f.Later != "" {
		return ""
	}
	return NoVerdict + " " + f.Measure
}

func (s Sheet) writeBeside(t *text) {
	if s.NoBeside != "" {
		t.line("", s.NoBeside)
		return
	}
	b := s.Beside
	t.line("", fmt.Sprintf("beside %s, %s", b.Place, b.Verdict))
	if b.Aside != "" {
		t.line("  ", b.Aside)
	}
	if len(b.Rows) == 0 {
		t.line("  ", NothingApart)
	} else {
		table := lines.Table{Indent: "  "}
		table.Row(RowHeads()...)
		for _, r := range b.Rows {
			table.Row(r.Name, r.This, r.Other, r.Apart, r.Times, orDash(r.Faults))
		}
		fmt.Fprint(t, table.String())
	}
	for _, list := range []struct {
		head  string
		names []string
	}{{"no difference that the sensors could tell", b.Alike}, {"not recorded", b.NotRecorded}} {
		if len(list.names) > 0 {
			t.line("  ", list.head+": "+strings.Join(list.names, ", "))
		}
	}
	for _, words := range b.Words {
		t.line("  ", words.Head)
		for _, l := range words.Lines {
			t.line("    ", "- "+l)
		}
	}
}

func orDash(words string) string {
	if words == "" {
		return "–"
	}
	return words
}

// text breaks lines between words.
type text struct{ *lines.Writer }

func (t *text) line(indent, words string) { t.Line("%s", lines.Wrap(indent, words)) }
