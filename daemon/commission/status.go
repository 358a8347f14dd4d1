package commission

import (
	"fmt"
	"io"

	"meltwarden/config"
	"meltwarden/daemon/wear"
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
	// Relays are those that wear. Heat does not wait for them.
	Relays []wear.Standing `json:"relays"`
}

// StatusOf holds a record, which may be nil, against a bench file.
// Nothing is known to it of what was counted of the relays; who knows puts that in.
func StatusOf(r *Record, b *config.Bench) Status {
	cleared, missing := r.Against(b)
	warned := warnings(b)
	return Status{
		Bench: b.Name, Digest: Digest(b), Complete: cleared.Holds(), Missing: append([]string{}, missing...),
		Warnings: append([]string{}, warned...), Record: r, Relays: wear.Stand(nil, b),
	}
}

// Tell writes the status for a person.
func (s Status) Tell(out io.Writer) {
	fmt.Fprintf(out, "bench %q\n", s.Bench)
	if s.Record != nil {
		fmt.Fprintf(out, "%s\n\n", s.Record.savedBy())
	}
	for _, section := range s.Sections() {
		fmt.Fprintln(out, section.Title)
		for _, line := range section.Lines {
			fmt.Fprintln(out, " ", line)
		}
	}
	for _, w := range s.Warnings {
		fmt.Fprintln(out, "\nwarning:", w)
	}
	if s.Complete {
		fmt.Fprintln(out, "\n"+s.Until())
		return
	}
	fmt.Fprintln(out, "\nmeltwarden serve refuses heat; missing, or no longer valid:")
	for _, m := range s.Missing {
		fmt.Fprintln(out, " ", m)
	}
	fmt.Fprintln(out, "run meltwarden commission to put it on record")
}

// Until says of a complete record what it lets happen, and until when; "" of another one.
func (s Status) Until() string {
	if !s.Complete {
		return ""
	}
	return "complete: the bench's own enable button can switch heat on; lapses on " + day(s.Record.lapses())
}

// Section is a part of what is on record, in words.
type Section struct {
	Title string
	Lines []string
}

// Sections are what is on record, and how worn the relays are; none where nothing is.
func (s Status) Sections() (all []Section) {
	if s.Record != nil {
		all = s.Record.sections()
	}
	if lines := wear.Lines(s.Relays); lines != nil {
		all = append(all, Section{Title: wear.Title, Lines: lines})
	}
	return all
}

// savedBy says when the record was saved.
func (r *Record) savedBy() string {
	return fmt.Sprintf("saved %s by version %s", day(r.Saved), r.Program)
}

func (r *Record) sections() []Section {
	answers := Section{Title: "answers"}
	for _, a := range r.Answers {
		answers.add("%s: %s (%s)", a.Question, a.Words, day(a.At))
	}
	opened := Section{Title: "interlocks, opened by hand"}
	for _, k := range r.Interlocks {
		opened.add("%s: seen open and closed again (%s)", k.Role, day(k.At))
	}
	looked := Section{Title: "controllers, by their displays"}
	for i := range r.Displays {
		d := &r.Displays[i]
		if d.passed() {
			looked.add("%s: %s (%s)", d.Pot, d.words(), day(d.At))
		} else {
			looked.add("%s: NOT RIGHT (%s)", d.Pot, day(d.At))
		}
	}
	dipped := Section{Title: "melt probes, in hot water"}
	for i := range r.Melts {
		d := &r.Melts[i]
		dipped.add("%s: %s, moved by %+.1f °C, %s (%s)", d.Pot, d.Result, d.Moved[d.Pot], d.compared(), day(d.At))
	}
	silenced := Section{Title: "devices, when their line goes silent"}
	for _, p := range r.Proofs {
		if p.passed() {
			silenced.add("%s: still on after %.2f s, off after %.2f s, by its own registers (%s)", p.Device, p.StillOnS, p.LetGoS, day(p.At))
		} else {
			silenced.add("%s: NOT PROVEN (%s)", p.Device, day(p.At))
		}
	}
	nudged := Section{Title: "heaters, nudged"}
	for _, n := range r.Nudges {
		nudged.add("%s: %s, its plate moved by %+.1f °C in %.0f s (%s)", n.Pot, n.Result, n.Moved[n.Pot], n.HeatedS, day(n.At))
	}
	all := []Section{answers, opened}
	if len(looked.Lines) > 0 {
		all = append(all, looked)
	}
	all = append(all, dipped, silenced, nudged)
	if len(r.Adapters) > 0 {
		plugged := Section{Title: "adapters of the lines"}
		for _, a := range r.Adapters {
			plugged.add("%s: %v (%s)", a.Line, a.Is.Adapter, day(a.At))
		}
		all = append(all, plugged)
	}
	return all
}

func (s *Section) add(form string, values ...any) {
	s.Lines = append(s.Lines, fmt.Sprintf(form, values...))
}
