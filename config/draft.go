package config

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// draft is a recipe's text with edits to come, at the places where the YAML
// parser found what they are about. It knows how lists and sections end only in
// the usual layouts: in an odd one an edit goes astray, so whoever takes the
// edited text reads it again first.
type draft struct {
	text    string
	lines   []span // without their line breaks
	newline string
	colours *yaml.Node // the list of colours
	edits   []edit
}

// span is a part of the text, in bytes.
type span struct{ from, to int }

// edit puts a text in place of a span, which may be empty.
type edit struct {
	span
	put string
}

// lineBreak is every line break that the YAML parser counts.
var lineBreak = regexp.MustCompile(`\r\n|[\r\n\x{85}\x{2028}\x{2029}]`)

// newDraft begins a draft of a text that ParseRecipe takes.
func newDraft(typed string) *draft {
	d := &draft{text: typed, newline: "\n"}
	from := len(typed) - len(strings.TrimPrefix(typed, "\ufeff")) // a byte order mark has no column
	for _, b := range lineBreak.FindAllStringIndex(typed, -1) {
		d.lines = append(d.lines, span{from, b[0]})
		from = b[1]
	}
	d.lines = append(d.lines, span{from, len(typed)})
	if strings.Contains(typed, "\r\n") {
		d.newline = "\r\n"
	}
	var document yaml.Node
	if err := yaml.Unmarshal([]byte(typed), &document); err != nil {
		panic(err) // ParseRecipe has read it
	}
	_, d.colours = entry(document.Content[0], "colours")
	return d
}

// entry finds a key of a section and its value, or nil and nil.
func entry(section *yaml.Node, key string) (at, value *yaml.Node) {
	for i := 0; i < len(section.Content); i += 2 {
		if section.Content[i].Value == key {
			return section.Content[i], section.Content[i+1]
		}
	}
	return nil, nil
}

// edited returns the text with all edits made.
func (d *draft) edited() string {
	slices.SortStableFunc(d.edits, func(a, b edit) int { return cmp.Compare(a.from, b.from) })
	var b strings.Builder
	at := 0
	for _, e := range d.edits {
		b.WriteString(d.text[at:e.from] + e.put)
		at = e.to
	}
	return b.String() + d.text[at:]
}

func (d *draft) insert(at int, put string) { d.edits = append(d.edits, edit{span{at, at}, put}) }

// offset returns where a node begins. The parser counts letters, not bytes.
func (d *draft) offset(n *yaml.Node) int {
	rest := d.text[d.lines[min(n.Line, len(d.lines))-1].from:]
	for range n.Column - 1 {
		_, size := utf8.DecodeRuneInString(rest)
		rest = rest[size:]
	}
	return len(d.text) - len(rest)
}

// What stands at a node's place, from its tag or anchor on.
const (
	properties = `(?s)^(?:[!&]\S*\s+)*`
	quoted     = `(?:"(?:[^"\\]|\\.)*"|'(?:[^']|'')*')?`
)

var (
	// numberBegins is the number that a value begins with, quoted or not.
	numberBegins = regexp.MustCompile(properties + `(?:["']|[|>][^\r\n]*)?\s*([+-]?[0-9.]+)`)
	// quotesEnd ends a value in quotes; of one without it takes nothing.
	quotesEnd = regexp.MustCompile(properties + quoted)
	// braceEnds goes from the last value between braces to the closing one. A
	// comment may hold a brace, a value without quotes may not.
	braceEnds = regexp.MustCompile(properties + quoted + `(?:[^}\s]|\s+(?:#[^\r\n]*)?)*\}`)
	// bracketBegins opens a list.
	bracketBegins = regexp.MustCompile(properties + `\[`)
)

// after returns where the pattern ends that begins at a node.
func (d *draft) after(n *yaml.Node, pattern *regexp.Regexp) int {
	at := d.offset(n)
	return at + len(pattern.FindString(d.text[at:]))
}

// setpoint writes a new set-point for a colour, and returns what it reads back
// to, in degrees Celsius.
func (d *draft) setpoint(colour int, celsius float64) float64 {
	_, old := entry(d.colours.Content[colour], "setpoint")
	digits, readC := retyped(celsius, old.Value)
	at := d.offset(old)
	if m := numberBegins.FindStringSubmatchIndex(d.text[at:]); m != nil {
		d.edits = append(d.edits, edit{span{at + m[2], at + m[3]}, digits})
	}
	return readC
}

// colourants writes additions after what a colour has.
func (d *draft) colourants(colour int, added []Colourant) {
	section := d.colours.Content[colour]
	_, list := entry(section, "colourants")
	switch {
	case list == nil:
		d.firstColourants(section, added)
	case list.Kind == yaml.ScalarNode: // null, or a key with nothing after it
		at := d.offset(list)
		put := "[" + inLine(added) + "]"
		if list.Value == "" {
			put = " " + put
		}
		d.edits = append(d.edits, edit{span{at, at + len(list.Value)}, put})
	case len(list.Content) == 0:
		d.insert(d.after(list, bracketBegins), inLine(added))
	default:
		d.moreColourants(list, added)
	}
}

// firstColourants writes a list for a colour without one, beside the volume that
// every colour has.
func (d *draft) firstColourants(section *yaml.Node, added []Colourant) {
	key, volume := entry(section, "volume")
	if inBraces(section) {
		d.insert(d.offset(key), "colourants: ["+inLine(added)+"], ")
		return
	}
	d.insert(d.blockEnd(d.after(volume, quotesEnd), key.Column),
		d.newLine(key.Column)+"colourants:"+d.dashed(added, key.Column+2, true))
}

// moreColourants writes additions after the last entry of a list.
func (d *draft) moreColourants(list *yaml.Node, added []Colourant) {
	last := list.Content[len(list.Content)-1]
	lastValue, pattern := last.Content[len(last.Content)-1], quotesEnd
	if inBraces(last) {
		pattern = braceEnds
	}
	end := d.after(lastValue, pattern)
	if inBraces(list) {
		d.insert(end, ", "+inLine(added))
		return
	}
	d.insert(d.blockEnd(end, list.Column), d.dashed(added, list.Column, inBraces(last)))
}

// inBraces reports whether a list or a section is written with its own brackets
// or braces instead of by indentation.
func inBraces(n *yaml.Node) bool { return n.Style&yaml.FlowStyle != 0 }

// blockEnd returns the end of the line that holds a place, or of the last line
// after it that is indented deeper than a column and so belongs to it.
func (d *draft) blockEnd(at, column int) int {
	i := slices.IndexFunc(d.lines, func(l span) bool { return at <= l.to })
	for i+1 < len(d.lines) && d.indent(i+1) >= column {
		i++
	}
	return d.lines[i].to
}

// indent returns how many spaces a line begins with; a blank line has none.
func (d *draft) indent(line int) int {
	text := d.text[d.lines[line].from:d.lines[line].to]
	rest := strings.TrimLeft(text, " ")
	if rest == "" {
		return 0
	}
	return len(text) - len(rest)
}

// newLine begins a line at a column, which counts from 1.
func (d *draft) newLine(column int) string { return d.newline + strings.Repeat(" ", column-1) }

// dashed writes colourants as lines of a list, each in braces or as two lines.
func (d *draft) dashed(list []Colourant, column int, braces bool) string {
	var b strings.Builder
	for _, c := range list {
		b.WriteString(d.newLine(column) + "- ")
		if braces {
			b.WriteString(inLine([]Colourant{c}))
		} else {
			b.WriteString("name: " + scalar(c.Name) + d.newLine(column+2) + "amount: " + scalar(c.Amount))
		}
	}
	return b.String()
}

// inLine writes colourants as a part of one line.
func inLine(list []Colourant) string {
	return strings.Join(names(list, func(c Colourant) string {
		return "{name: " + scalar(c.Name) + ", amount: " + scalar(c.Amount) + "}"
	}), ", ")
}

// scalar writes a text so that it can stand anywhere in YAML, in quotes only
// where needed.
func scalar(text string) string {
	out, err := yaml.Marshal(struct {
		V []string `yaml:"v,flow"`
	}{[]string{text}})
	if err != nil {
		panic(err) // a list of texts always writes
	}
	return strings.TrimSuffix(strings.TrimPrefix(string(out), "v: ["), "]\n")
}
