package recognise

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"meltwarden/daemon/console"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/view"
	"meltwarden/devices/guess"
	"meltwarden/devices/registers"
)

// wanted is what the maker is to do now.
func (s *session) wanted() string {
	step, at, probe := s.Step()
	switch {
	case step == guess.Rest:
		return "Leave every probe alone, in the room, for some twelve seconds."
	case step == guess.Cool:
		return "Lay it down, and leave all alone for up to a minute: how they cool tells which halves of the numbers go together."
	case step == guess.Over:
		return "That was all."
	case probe != "":
		return fmt.Sprintf("%d of %d: hold the tip of %s in your hand, and nothing else, until the next is named.", at+1, len(s.Probes), probe)
	}
	return fmt.Sprintf("Hold the tip of any probe in your hand, one alone (number %d). A minute without a move ends this, or Ctrl-C.", at+1)
}

// show draws all on a screen, or says in plain lines what is new.
func (s *session) show() error {
	rows := s.Rows()
	if s.Screen {
		return s.screen.Draw(s.Size(), s.block(rows))
	}
	out := lines.To(s.Words)
	if want := s.wanted(); want != s.said {
		s.said, s.told = want, 0
		if s.isFirstHold() {
			s.table(out, rows)
		}
		out.Line("%s", lines.Wrap("", want))
	}
	if step, _, _ := s.Step(); step != guess.Hold {
		return out.Err()
	}
	moved := s.Moved()
	for _, r := range moved[min(s.told, len(moved)):] {
		out.Line("  %s moved", guess.Numbered(r))
	}
	s.told = max(s.told, len(moved))
	return out.Err()
}

// isFirstHold reports whether the rest has just ended.
func (s *session) isFirstHold() bool {
	step, at, _ := s.Step()
	return step == guess.Hold && at == 0
}

// table is every register as it reads now.
func (s *session) table(out *lines.Writer, rows []guess.Row) {
	for _, line := range rowLines(rows) {
		out.Line("%s", line.Text)
	}
}

// block is the screen: what to do, then every register; those that can be no temperature are
// left out where there is no room for all.
func (s *session) block(rows []guess.Row) []console.Line {
	var head []console.Line
	for line := range strings.SplitSeq(lines.Wrap("", s.wanted()), "\n") {
		head = append(head, console.Line{Text: line, Tone: view.Attend})
	}
	all := rowLines(rows)
	if len(head)+1+len(all) <= s.Size().Height {
		return append(append(head, console.Line{}), all...)
	}
	likely := slices.DeleteFunc(slices.Clone(rows), func(r guess.Row) bool { return len(r.Fits) == 0 })
	head = append(head, console.Line{Text: fmt.Sprintf("%d registers; only those are shown that may be a probe.", len(rows))})
	return append(head, rowLines(likely)...)
}

// rowLines are registers in every type, with a heading for each table, and below each how it
// could be a temperature.
func rowLines(rows []guess.Row) (found []console.Line) {
	for i, row := range rows {
		if i == 0 || rows[i-1].Function != row.Function {
			found = append(found,
				console.Line{Text: fmt.Sprintf("%ss (function %d); of 32 bits the high word first, then the low", guess.Table(row.Function), row.Function)},
				console.Line{Text: " wire from1    raw  int16 uint16       int32       int32    float32    float32"})
		}
		at := fmt.Sprintf("%5d %5d", row.Address, int(row.Address)+1)
		if !row.Read {
			found = append(found, console.Line{Text: at + " no answer"})
			continue
		}
		found = append(found, console.Line{Text: fmt.Sprintf("%s 0x%04X %6s %6s %11s %11s %10s %10s", at, row.Raw,
			number(row, registers.Int16, registers.HighFirst), number(row, registers.Uint16, registers.HighFirst),
			number(row, registers.Int32, registers.HighFirst), number(row, registers.Int32, registers.LowFirst),
			number(row, registers.Float32, registers.HighFirst), number(row, registers.Float32, registers.LowFirst))})
		for _, f := range row.Fits {
			line := console.Line{Text: "    " + f.String()}
			if f.Moved != "" {
				line.Tone = view.Attend
			}
			found = append(found, line)
		}
	}
	return found
}

// number is a register in a type, or a dash where it is none.
func number(row guess.Row, t registers.Type, words registers.Order) string {
	for _, n := range row.Numbers {
		if n.Type == t && n.Words == words && t == registers.Float32 {
			return strconv.FormatFloat(n.Raw, 'g', 4, 64)
		}
		if n.Type == t && n.Words == words {
			return strconv.FormatFloat(n.Raw, 'f', 0, 64)
		}
	}
	return "-"
}

// tell says what was recognised, what fits as well, what was not told, and the lines of a
// bench file.
func (s *session) tell(r guess.Result) error {
	out := lines.To(s.Out)
	if !slices.ContainsFunc(s.Rows(), func(row guess.Row) bool { return row.Read }) {
		out.Line("Nothing was read.")
	}
	if r.Layout != nil {
		out.Line("\nRecognised, in %ss: %s.", guess.Table(r.Layout.Function), r.Layout)
	}
	for i, p := range r.Probes {
		name := p.Name
		if name == "" {
			name = fmt.Sprintf("probe %d", i+1)
		}
		switch {
		case !p.Told:
			out.Line("%s", lines.Hang("  "+name+": ", "    ", "NOT TOLD: "+p.Why))
		case p.Reversed:
			out.Line("  %s: address %d, %.1f °C at rest, %.1f in the hand: its two leads are SWAPPED", name, p.Address, p.RestC, p.HandC)
		default:
			out.Line("  %s: address %d, %.1f °C at rest, %.1f in the hand", name, p.Address, p.RestC, p.HandC)
		}
	}
	for _, rival := range r.Rivals {
		out.Line("%s", lines.Hang("Fits as well: ", "  ", fmt.Sprintf("%s, in %ss %s: %s.", rival.Layout, guess.Table(rival.Layout.Function), addresses(rival), rival.Differs)))
	}
	s.note(out, r.Numbering(s.From), r.Notes)
	doubt := ""
	if len(r.Rivals) > 0 {
		doubt = "# NOT CERTAIN: see what fits as well, above"
	}
	s.fileLines(out, r.Lines(s.Device), doubt)
	return out.Err()
}

// note lists what a maker has to know: first that addresses are counted otherwise, last what
// the device refuses.
func (o Options) note(out *lines.Writer, numbering string, notes []string) {
	if numbering != "" {
		notes = append([]string{numbering}, notes...)
	}
	for _, no := range o.refusals() {
		notes = append(notes, "The device refuses "+no+".")
	}
	for _, note := range notes {
		out.Line("%s", lines.Hang("- ", "  ", note))
	}
}

func addresses(r guess.Rival) string {
	var words []string
	for _, a := range r.Addresses {
		if a != nil {
			words = append(words, fmt.Sprint(*a))
		} else {
			words = append(words, "none")
		}
	}
	return strings.Join(words, ", ")
}

// fileLines are the lines of a bench file, with what is doubtful above them.
func (o Options) fileLines(out *lines.Writer, channels []string, doubt string) {
	if len(channels) == 0 {
		return
	}
	out.Line("\n# For the bench file:")
	if doubt != "" {
		out.Line("%s", doubt)
	}
	for _, line := range append(o.Wiring, append([]string{"channels:"}, channels...)...) {
		out.Line("%s", line)
	}
}
