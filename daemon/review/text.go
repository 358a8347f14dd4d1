package review

import (
	"fmt"
	"io"
	"strings"

	"meltwarden/daemon/lines"
)

// outside marks, in a table of figures, a melt that was outside its band.
const outside = "!"

// WriteText writes a run for a terminal: what it was, what was
// changed at the bench, and a line for every shot.
func (r Review) WriteText(w io.Writer, u Unit) error {
	t := &text{lines.To(w)}
	t.Line("%s", r.Heading())
	t.Line("%s", lines.Wrap("", r.Subheading()))
	if r.Run.Note != "" {
		t.Line("%s", lines.Wrap("", "note: "+r.Run.Note))
	}
	t.Line("%s", lines.Wrap("", r.ChecksLine()))
	for _, line := range r.TickLines() {
		t.Line("%s", lines.Wrap("", line))
	}
	for _, c := range r.Corrected {
		t.Line("%s", lines.Wrap("", "readings are corrected by calibration: "+c))
	}
	if changes := r.DeviationLines(u); len(changes) > 0 {
		t.Line("\nchanged at the bench")
		for _, c := range changes {
			t.Line("%s", lines.Hang("  ", "    ", c))
		}
	}
	r.writeShots(t, u)
	r.writeNext(t)
	return t.Err()
}

func (r Review) writeShots(t *text, u Unit) {
	sheets := r.Sheets(u)
	if len(sheets) == 0 {
		t.Line("\nno shot was marked")
		return
	}
	t.Line("\nshots: each melt against its own target in %s, %s = outside its band", u.Sign(), outside)
	table := lines.Table{Right: 4 + len(r.Settings.Pots)}
	head := []string{"no", "time"}
	for _, p := range r.Settings.Pots {
		head = append(head, p.Colour)
	}
	table.Row(append(head, "spread", "draw→push", "verdict")...)
	for i, s := range sheets {
		cells := []string{fmt.Sprint(s.Number), s.At}
		for _, p := range s.Pots {
			cells = append(cells, short(p.Deviation, u)+mark(p.Out))
		}
		table.Row(append(cells, short(s.Spread, u), dashed(s.DrawToPush), r.verdictOf(i, s))...)
	}
	t.write(table)
	for _, s := range sheets {
		if s.Off != "" && !s.Withdrawn {
			t.wrapped("  shot %d, outside its band: %s", s.Number, s.Off)
		}
		if s.Missed != "" && !s.Withdrawn {
			t.wrapped("  shot %d, aim missed: %s", s.Number, s.Missed)
		}
		if s.Later != "" {
			t.wrapped("  shot %d: %s", s.Number, s.Later)
		}
	}
}

func (r Review) verdictOf(i int, s Sheet) string {
	if r.Shots[i].Withdrawn {
		return "taken back: not a shot"
	}
	return s.Verdict
}

// writeNext says how to see more.
func (r Review) writeNext(t *text) {
	t.Line("")
	hint := func(form, what string) {
		t.Line("%s", lines.Hint("meltwarden "+fmt.Sprintf(form, r.Run.ID)+r.Where, what))
	}
	if len(r.Shots) > 0 {
		hint("review %d --shot N", "the whole card of a shot")
		hint("why %d N", "what speaks for each cause of its faults, and against it")
		hint("verdict %d N bled", "say later what became of it")
	}
	hint("review %d --events", "what happened, and when")
	hint("review %d --out run.png", "its plot")
}

// WriteShot writes the whole card of a shot. It reports false when the run has no
// such shot.
func (r Review) WriteShot(w io.Writer, u Unit, number int) (bool, error) {
	for i, s := range r.Sheets(u) {
		if s.Number == number {
			return true, r.writeCard(&text{lines.To(w)}, s, r.verdictOf(i, s))
		}
	}
	return false, nil
}

func (r Review) writeCard(t *text, s Sheet, verdict string) error {
	t.Line("shot %d of %s", s.Number, r.Heading())
	t.Line("pushed %s into the run, at %s", s.At, s.Clock)
	t.wrapped("verdict: %s", verdict)
	if s.Note != "" {
		t.wrapped("note: %s", s.Note)
	}
	t.wrapped("mould: %s, %s; room: %s", s.Mould, s.MouldTemp, s.Room)
	if s.Lids != "" {
		t.wrapped("lid: %s", s.Lids)
	}
	t.wrapped("spread of the deviations: %s; draw to push: %s", s.Spread, s.DrawToPush)
	table := lines.Table{}
	for _, line := range cardLines(s) {
		table.Row(line...)
	}
	t.Line("")
	t.write(table)
	if s.Estimated != "" {
		t.Line("\n%s", lines.Wrap("", InInjector+": "+s.Estimated))
	}
	if s.Off != "" {
		t.wrapped("\noutside its band: %s", s.Off)
	}
	if s.Missed != "" {
		t.wrapped("\naim missed: %s", s.Missed)
	}
	if s.Later != "" {
		t.wrapped("\n%s", s.Later)
	}
	for i, p := range s.Photos {
		if i == 0 {
			t.Line("")
		}
		t.wrapped("%s", p)
	}
	t.Line("\n  meltwarden review %d --out shot.png --from %.0fs --to %.0fs%s", r.Run.ID, s.From.Seconds(), s.To.Seconds(), r.Where)
	return t.Err()
}

// cardLines is a card with a column for each pot.
func cardLines(s Sheet) [][]string {
	lines := [][]string{{""}, {"melt"}, {"own target"}, {"deviation"}, {"slope"}, {"held since cured"}, {"since stir"}, {"heat dose"}, {"plate"}, {"drawn"}, {InInjector + " (est.)"}, {"state"}}
	for _, p := range s.Pots {
		for i, cell := range []string{
			p.Colour, p.Melt, p.Target + " " + p.Band, p.Deviation + mark(p.Out), p.Slope, p.Held, p.SinceStir, p.Dose, p.Plate, p.Draw, p.Injector, p.State,
		} {
			lines[i] = append(lines[i], cell)
		}
	}
	return lines
}

// WriteEvents writes what happened, a line each.
func (r Review) WriteEvents(w io.Writer) error {
	t := &text{lines.To(w)}
	t.Line("%s", r.Heading())
	table := lines.Table{}
	for _, l := range r.Lines(true) {
		table.Row(l.At, l.Where, l.What)
	}
	t.write(table)
	return t.Err()
}

func mark(out bool) string {
	if out {
		return outside
	}
	return " "
}

// short is a figure without its unit, for a table that has it in its head.
func short(shown string, u Unit) string {
	return dashed(strings.TrimSuffix(shown, " "+u.Sign()))
}

func dashed(shown string) string {
	if shown == NotRecorded {
		return "––"
	}
	return shown
}

// text is what a run is written to.
type text struct{ *lines.Writer }

func (t *text) write(table lines.Table) { fmt.Fprint(t, table.String()) }

// wrapped writes a text in lines; a break and blanks that it begins with stay.
func (t *text) wrapped(form string, args ...any) {
	said := fmt.Sprintf(form, args...)
	words := strings.TrimLeft(said, "\n ")
	indent := said[:len(said)-len(words)]
	t.Line("%s", lines.Hang(indent, strings.TrimLeft(indent, "\n")+"  ", words))
}
