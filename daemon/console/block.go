package console

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"meltwarden/daemon/view"
)

// Line is a line of a screen, and what it asks of a person.
type Line struct {
	Text string
	Tone view.Tone
}

// Look is how a bench is shown on a screen.
type Look struct {
	Title string
	Size  Size
	Unit  Unit
	// Chosen is the pot that marks are for, from 1; zero is none.
	Chosen int
	// Foot are the last lines, for whoever types.
	Foot []Line
}

// wide is from how many letters on a pot's waits stand beside its figures.
const wide = 120

// Block is the bench on a screen: never more lines or letters than it has room for. What is
// too long for a line goes on in the next one. What is left out first are the details of the
// pots, the last of them first, then what they wait for, then the findings after the worst; on
// a screen that is very small the last lines of the foot, the rest of the caution and what
// parts the lines.
func Block(b view.Bench, l Look) []Line {
	head, caution, foot := l.head(b), l.caution(b), l.fold(l.Foot)
	tight := func() bool { return len(head)+len(b.Pots)+1+len(caution)+len(foot) > l.Size.Height }
	for tight() && len(foot) > 1 {
		foot = foot[:len(foot)-1]
	}
	if tight() {
		head = slices.DeleteFunc(head, func(l Line) bool { return l.Text == "" })
		caution = caution[:min(1, len(caution))]
	}
	foot = append(caution, foot...)
	room := l.Size.Height - len(head) - len(foot) - 1 // a blank line below the pots
	pots, left := l.pots(b, room)
	body := append(append(head, pots...), Line{})
	body = append(body, l.found(b.Conditions, left)...)
	return fit(body, foot, l.Size.Height, len(l.Foot) > 0)
}

// fit leaves out of the body what the height has no room for, and has the foot stand at the
// bottom, if it is to.
func fit(body, foot []Line, height int, bottom bool) []Line {
	most := max(0, height-len(foot))
	if bottom && len(body) < most {
		body = append(body, make([]Line, most-len(body))...)
	}
	body = body[:min(len(body), most)]
	all := append(body, foot...)
	return all[max(0, len(all)-height):]
}

func (l Look) head(b view.Bench) []Line {
	const apart = "   "
	heat := Line{Text: join(apart, strings.ToUpper(b.Heat), b.Shown.Power, b.Shown.Aside)}
	read, warm := interlocks(b), join(apart, l.Unit.of(b.Shown.Mould), l.Unit.of(b.Shown.Room))
	if l.Size.Width >= wide { // all on one line
		heat.Text, warm = join(apart, heat.Text, warm), ""
	}
	return l.fold([]Line{
		{Text: simulated(b) + l.Title + apart + clockTime(b.BenchTimeS)}, heat, read, {Text: warm},
		{Text: l.Unit.of(b.Shown.Answer) + detail(b.Shown.Detail), Tone: b.Shown.Tone},
		{},
	})
}

// simulated says first of an invented bench that it is one.
func simulated(b view.Bench) string {
	if b.Simulated {
		return view.Terminal().Simulated + ": "
	}
	return ""
}

// interlocks are what the program reads of them.
func interlocks(b view.Bench) Line {
	line := Line{Tone: view.Plain}
	for _, i := range b.Contacts() {
		line.Text = join(", ", line.Text, i.Words)
		if i.Tone == view.Danger || line.Tone == view.Plain {
			line.Tone = i.Tone
		}
	}
	if line.Text != "" {
		line.Text = fmt.Sprintf(view.Terminal().Read, line.Text)
	}
	return line
}

func (l Look) caution(b view.Bench) []Line {
	if !b.Hot {
		return nil
	}
	return l.fold([]Line{{Text: view.Terminal().Hot}})
}

// pots are the pots in as many lines as there is room for, and the room that is left.
func (l Look) pots(b view.Bench, room int) (lines []Line, left int) {
	found := len(l.found(b.Conditions, 1000))
	for _, d := range depths {
		lines = nil
		for _, p := range b.Pots {
			lines = append(lines, l.pot(p, d)...)
		}
		left = room - len(lines)
		if d.more > 0 && left >= found || d.waits > 0 && d.more == 0 && left >= min(found, leastFound) {
			break
		}
	}
	return lines, left
}

// depth is how many lines there may be below a pot, of what it waits for and of its details.
type depth struct{ waits, more int }

// depths are tried in turn, until there is room.
var depths = []depth{{needed, needed}, {needed, 3}, {needed, 2}, {needed, 1}, {needed, 0}, {1, 0}, {0, 0}}

// needed is as many lines as it takes.
const needed = 100

// leastFound is how many lines of findings are worth more than what the pots wait for.
const leastFound = 4

const (
	nameWidth  = 14
	meltWidth  = 8
	setWidth   = 30
	stateWidth = 18
	indent     = 5 // below a pot's name
)

// pot is a pot and what stands below it. An empty line stays, so that nothing jumps when a
// wait ends.
func (l Look) pot(p view.Pot, d depth) []Line {
	chosen := " "
	if p.Number == l.Chosen {
		chosen = ">"
	}
	main := fmt.Sprintf("%s%s%d %s %s   %s %s", chosen, calls(p.Shown.Tone), p.Number, pad(name(p), nameWidth),
		padLeft(l.Unit.of(p.Shown.Melt)+" "+l.Unit.symbol(), meltWidth), pad(l.Unit.of(p.Shown.Against), setWidth), pad(p.State, stateWidth))
	waits := join(", ", p.Shown.Pour, p.Shown.PourHow, p.Shown.Wait, cmp.Or(p.Shown.Left, p.Shown.Way))
	more := join("; ", l.Unit.of(p.Shown.Injector), l.Unit.of(p.Shown.More))
	below := [2]string{waits, more}
	if beside := main + " " + waits; l.Size.Width >= wide && utf8.RuneCountInString(beside) < l.Size.Width {
		main, below = beside, [2]string{more, l.Unit.of(p.Shown.Ahead)}
	}
	lines := []Line{{Text: clip(main, l.Size.Width), Tone: asks(p.Shown.Tone)}}
	lines = append(lines, l.below(below[0], d.waits)...)
	return append(lines, l.below(below[1], d.more)...)
}

// below is a text below a pot's name, in at most so many lines.
func (l Look) below(text string, most int) (lines []Line) {
	width := l.Size.Width - 1 - indent
	rows := fold(text, width)
	if len(rows) > most {
		rest := strings.Join(rows[max(0, most-1):], " ")
		if rows = rows[:most]; most > 0 {
			rows[most-1] = parts(rest, width)
		}
	}
	for _, row := range rows {
		lines = append(lines, Line{Text: strings.TrimRight(strings.Repeat(" ", indent)+row, " ")})
	}
	return lines
}

// calls marks a pot that asks for something, for whoever sees no colours.
func calls(t view.Tone) string {
	switch t {
	case view.Danger, view.Warn:
		return "!"
	case view.Attend:
		return "*"
	}
	return " "
}

// asks leaves a pot's line plain that asks for nothing: what is said of the whole bench
// is said once.
func asks(t view.Tone) view.Tone {
	if calls(t) == " " {
		return view.Plain
	}
	return t
}

// found lists conditions, the worst first, in at most so many lines, and says how
// many are left out.
func (l Look) found(conditions []view.Condition, most int) []Line {
	var lines []Line
	for i, cond := range conditions {
		more := l.fold([]Line{{Text: "! " + conditionText(cond), Tone: toneOf(cond)}})
		rest := 0
		if i+1 < len(conditions) {
			rest = 1 // for the line below
		}
		if len(lines)+len(more)+rest > most {
			return append(lines, Line{Text: "! " + fmt.Sprintf(view.Terminal().More, len(conditions)-i)})
		}
		lines = append(lines, more...)
	}
	return lines
}

func toneOf(c view.Condition) view.Tone {
	if c.Severity == "trip" {
		return view.Danger
	}
	return view.Warn
}

func conditionText(c view.Condition) string {
	return fmt.Sprintf("%s: %s (%s). %s", c.Where, c.Title, c.Stands, c.Instruction)
}

// fold breaks every line that is too long.
func (l Look) fold(lines []Line) []Line {
	var out []Line
	for _, line := range lines {
		for _, text := range fold(strings.TrimRight(line.Text, " "), l.Size.Width-1) {
			out = append(out, Line{text, line.Tone})
		}
	}
	return out
}

// clip ends a line where the screen does; the last column stays free, because some
// terminals wrap there.
func clip(text string, width int) string {
	text = strings.TrimRight(text, " ")
	if r := []rune(text); len(r) > width-1 {
		return string(r[:max(0, width-2)]) + "…"
	}
	return text
}

// parts are as many parts of a text that has more, of those that commas and semicolons end, as
// there is room for: a number that is cut is another number.
func parts(text string, width int) string {
	const more = " …"
	r := []rune(text)
	for i := min(len(r)-1, width-len([]rune(more))); i > 0; i-- {
		if r[i] == ' ' && (r[i-1] == ',' || r[i-1] == ';') {
			return string(r[:i]) + more
		}
	}
	return clip(text, width+1)
}

// fold breaks a line at spaces.
func fold(line string, width int) []string {
	width = max(width, 8) // narrower than that is nothing to read
	var out []string
	for runes := []rune(line); ; {
		if len(runes) <= width {
			return append(out, string(runes))
		}
		cut := width
		for i := width; i > width/2; i-- {
			if runes[i] == ' ' {
				cut = i
				break
			}
		}
		out = append(out, string(runes[:cut]))
		runes = append([]rune("  "), []rune(strings.TrimLeft(string(runes[cut:]), " "))...)
	}
}

func detail(d string) string {
	if d == "" {
		return ""
	}
	return " – " + d
}

// join joins what is not empty.
func join(with string, texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(s string) bool { return s == "" }), with)
}

// name is what people call a pot: its colour, or else its name on the bench.
func name(p view.Pot) string { return cmp.Or(p.Colour, p.Name) }

// pad fills to a width in characters, not bytes.
func pad(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(s)))
}

func padLeft(s string, width int) string {
	return strings.Repeat(" ", max(0, width-utf8.RuneCountInString(s))) + s
}
