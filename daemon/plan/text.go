package plan

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"meltwarden/daemon/lines"
)

// WriteText writes the sheet for a terminal.
func (s Sheet) WriteText(w io.Writer) error {
	t := &text{lines.To(w)}
	t.Line("%s", s.Title)
	t.Line("%s\n", s.Subtitle)
	for _, c := range s.Cautions {
		t.wrapped("! ", c)
	}
	t.Line("")
	t.wrapped("", s.Answer)
	for _, x := range s.Sections {
		t.Line("\n%s", x.Title)
		x.write(t)
	}
	return t.Err()
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

// text is what a sheet is written to.
type text struct{ *lines.Writer }

// wrapped writes a text in lines, the first after a mark and the others under it.
func (t *text) wrapped(mark, said string) {
	t.Line("%s", lines.Hang(mark, strings.Repeat(" ", len(mark)), said))
}

// row writes a row of a table with the names of its columns, so that no row is too wide.
func (t *text) row(head, row []string) {
	if len(head) == 3 { // short enough to stand in columns
		t.wrapped(fmt.Sprintf("  %-16s %-7s ", row[0], row[1]), row[2])
		return
	}
	t.Line("  %s", row[0])
	for i := 1; i < len(row); i++ {
		t.wrapped(fmt.Sprintf("    %-22s ", head[i]), row[i])
	}
}
