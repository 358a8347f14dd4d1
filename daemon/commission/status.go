package commission

import (
	"fmt"
	"io"

	"meltwarden/config"
)

// Status is what is on record of a bench, held against its file.
type Status struct {
	Bench    string   `json:"bench"`
	Digest   string   `json:"digest"` // of the bench file as it is now
	Complete bool     `json:"complete"`
	Missing  []string `json:"missing"` // or no longer valid
	// Warnings are no reason to refuse heat.
	Warnings []string `json:"warnings"`
	Record   *Record  `json:"record"` // null where there is none
}

// StatusOf holds a record, which may be nil, against a bench file.
func StatusOf(r *Record, b *config.Bench) Status {
	cleared, missing := r.Against(b)
	warned := warnings(b)
	return Status{
		Bench: b.Name, Digest: Digest(b), Complete: cleared.Holds(), Missing: append([]string{}, missing...),
		Warnings: append([]string{}, warned...), Record: r,
	}
}

// Tell writes the status for a person.
func (s Status) Tell(out io.Writer) {
	fmt.Fprintf(out, "bench %q\n", s.Bench)
	if s.Record != nil {
		fmt.Fprintf(out, "saved %s by version %s\n\nanswers\n", day(s.Record.Saved), s.Record.Program)
		s.Record.tell(out)
	}
	for _, w := range s.Warnings {
		fmt.Fprintln(out, "\nwarning:", w)
	}
	if s.Complete {
		fmt.Fprintln(out, "\ncomplete: the bench's own enable button can switch heat on; lapses on", day(s.Record.lapses()))
		return
	}
	fmt.Fprintln(out, "\nmeltwarden serve refuses heat; missing, or no longer valid:")
	for _, m := range s.Missing {
		fmt.Fprintln(out, " ", m)
	}
	fmt.Fprintln(out, "run meltwarden commission to put it on record")
}

func (r *Record) tell(out io.Writer) {
	for _, a := range r.Answers {
		fmt.Fprintf(out, "  %s: %s (%s)\n", a.Question, a.Words, day(a.At))
	}
	fmt.Fprintln(out, "interlocks, opened by hand")
	for _, k := range r.Interlocks {
		fmt.Fprintf(out, "  %s: seen open and closed again (%s)\n", k.Role, day(k.At))
	}
	fmt.Fprintln(out, "melt probes, in hot water")
	for i := range r.Melts {
		d := &r.Melts[i]
		fmt.Fprintf(out, "  %s: %s, moved by %+.1f °C, %s (%s)\n", d.Pot, d.Result, d.Moved[d.Pot], d.compared(), day(d.At))
	}
	fmt.Fprintln(out, "devices, when their line goes silent")
	for _, p := range r.Proofs {
		if p.passed() {
			fmt.Fprintf(out, "  %s: still on after %.2f s, off after %.2f s, by its own registers (%s)\n", p.Device, p.StillOnS, p.LetGoS, day(p.At))
		} else {
			fmt.Fprintf(out, "  %s: NOT PROVEN (%s)\n", p.Device, day(p.At))
		}
	}
	fmt.Fprintln(out, "heaters, nudged")
	for _, n := range r.Nudges {
		fmt.Fprintf(out, "  %s: %s, its plate moved by %+.1f °C in %.0f s (%s)\n", n.Pot, n.Result, n.Moved[n.Pot], n.HeatedS, day(n.At))
	}
}
