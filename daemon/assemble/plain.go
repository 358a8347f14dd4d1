package assemble

import (
	"context"
	"fmt"
	"io"
	"strings"

	"meltwarden/daemon/lines"
)

// plain asks in plain lines; each answer is one line.
type plain struct {
	in  *Typed
	out io.Writer
}

func plainly(in *Typed, out io.Writer) asker { return &plain{in, out} }

func (p *plain) ask(ctx context.Context, q Question, wrong error) (string, error) {
	if wrong != nil {
		fmt.Fprintln(p.out, hung("  Not taken: ", wordsOf(wrong)))
	} else {
		fmt.Fprintf(p.out, "\n%s\n", lines.Wrap("", q.Ask))
		if q.Help != "" {
			fmt.Fprintln(p.out, lines.Wrap("  ", q.Help))
		}
		for i, c := range q.Among {
			mark := fmt.Sprintf("  %d  ", i+1)
			if q.Numeric {
				mark = "  -  "
			}
			fmt.Fprintln(p.out, lines.Hang(mark+c.Value+": ", "     ", c.Words))
		}
	}
	if q.Usual != "" {
		fmt.Fprintf(p.out, "  [%s] > ", q.Usual)
	} else {
		fmt.Fprint(p.out, "  > ")
	}
	line, err := p.in.Line(ctx)
	if err != nil {
		fmt.Fprintln(p.out)
	}
	return line, err
}

// hung is a paragraph behind a mark, line by line.
func hung(mark, words string) string {
	var all []string
	for line := range strings.SplitSeq(words, "\n") {
		all = append(all, lines.Hang(mark, "    ", line))
		mark = "    "
	}
	return strings.Join(all, "\n")
}
