package plan

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// WriteText writes the sheet for a terminal.
func (s Sheet) WriteText(w io.Writer) error {
	t := &text{w: w}
	t.line("%s", s.Title)
	t.line("%s\n", s.Subtitle)
	for _, c := range s.Cautions {
		t.wrapped("! ", c)
	}
	t.line("")
	t.wrapped("", s.Answer)
	for _, x := range s.Sections {
		t.line("\n%s", x.Title)
		x.write(t)
	}
	return t.err
}

func (x Section) write(t *text) {
	for _, tick := range x.Ticks {
		t.wrapped("[ ] ", tick)
	}
	for _, row := range x.Rows {
		t.row(x.Head, row)
	}
	for _, l := range x.Lines {
		t.wrapped("  ", l)
	}
	table := tabwriter.NewWriter(t, 0, 0, 2, ' ', tabwriter.AlignRight)
	for _, l := range x.Load {
		fmt.Fprintf(table, "%s\t%s\t%d %%\t  %s\n", l.When, l.Watts, l.Percent, strings.Repeat("#", max(l.Percent/4, 1)))
	}
	table.Flush()
}

// text remembers the first error of its writer.
type text struct {
	w   io.Writer
	err error
}

// Write implements io.Writer.
func (t *text) Write(p []byte) (int, error) {
	if t.err != nil {
		return 0, t.err
	}
	n, err := t.w.Write(p)
	t.err = err
	return n, err
}

func (t *text) line(form string, args ...any) { fmt.Fprintf(t, form+"\n", args...) }

// width is that of a narrow terminal.
const width = 100

// wrapped writes a text in lines, the first after a mark and the others under it.
func (t *text) wrapped(mark, said string) {
	indent, line := strings.Repeat(" ", len(mark)), mark
	for i, word := range strings.Fields(said) {
		if i > 0 && len([]rune(line))+1+len([]rune(word)) > width {
			t.line("%s", line)
			line = indent + word
			continue
		}
		if i > 0 {
			line += " "
		}
		line += word
	}
	t.line("%s", line)
}

// row writes a row of a table with the names of its columns, so that no row is too wide.
func (t *text) row(head, row []string) {
	if len(head) == 3 { // short enough to stand in columns
		t.wrapped(fmt.Sprintf("  %-16s %-7s ", row[0], row[1]), row[2])
		return
	}
	t.line("  %s", row[0])
	for i := 1; i < len(row); i++ {
		t.wrapped(fmt.Sprintf("    %-22s ", head[i]), row[i])
	}
}
