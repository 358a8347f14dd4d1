package assemble

import (
	"context"
	"fmt"
	"strings"

	"meltwarden/daemon/lines"
)

// plain asks in plain lines; each answer is one line.
type plain struct {
	Options
}

func plainly(o Options) asker { return &plain{o} }

func (p *plain) ask(ctx context.Context, q Question, wrong error) (string, error) {
	if wrong != nil {
		fmt.Fprintln(p.Out, p.hung("  Not taken: ", wordsOf(wrong)))
	} else {
		fmt.Fprintf(p.Out, "\n%s\n", lines.HangIn(p.width(), "", "", q.Ask))
		if q.Help != "" {
			fmt.Fprintln(p.Out, lines.HangIn(p.width(), "  ", "  ", q.Help))
		}
		for i, c := range q.Among {
			mark := fmt.Sprintf("  %d  ", i+1)
			if q.Numeric {
				mark = "  -  "
			}
			fmt.Fprintln(p.Out, lines.HangIn(p.width(), mark+c.Value+": ", "     ", c.Words))
		}
	}
	if q.Usual != "" {
		fmt.Fprintf(p.Out, "  Enter takes %s > ", q.Usual)
	} else {
		fmt.Fprint(p.Out, "  > ")
	}
	line, err := p.In.Line(ctx)
	if p.Echo || err != nil {
		fmt.Fprintln(p.Out, line)
	}
	return line, err
}

// hung is a paragraph behind a mark, line by line.
func (o Options) hung(mark, words string) string {
	var all []string
	for line := range strings.SplitSeq(words, "\n") {
		all = append(all, lines.HangIn(o.width(), mark, "    ", line))
		mark = "    "
	}
	return strings.Join(all, "\n")
}
