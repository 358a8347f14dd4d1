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
	top     *yaml.Node // the section that the whole text is
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

// newDraft begins a draft of a text that is one section of YAML.
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
	d.top = section(typed)
	return d
}

// section is the top of a text, nil where it is no section.
func section(typed string) *yaml.Node {
	var document yaml.Node
	if err := yaml.Unmarshal([]byte(typed), &document); err != nil || len(document.Content) == 0 || document.Content[0].Kind != yaml.MappingNode {
		return nil
	}
	return document.Content[0]
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

// properties are a node's tag and anchor.
const properties = `(?s)^(?:[!&]\S*\s+)*`

var (
	// propertiesEnd takes them alone.
	propertiesEnd = regexp.MustCompile(properties)
	// numberBegins is the number that a value begins with, quoted or not.
	numberBegins = regexp.MustCompile(properties + `(?:["']|[|>][^\r\n]*)?\s*([+-]?[0-9.]+)`)
	// inQuotes is a value in quotes.
	inQuotes = regexp.MustCompile(`^(?s:"(?:[^"\\]|\\.)*"|'(?:[^']|'')*')`)
	// closes goes from the end of the last value to the bracket or brace that closes.
	closes = regexp.MustCompile(`^(?:[\s,]|#[^\r\n]*)*[}\]]`)
)

// body returns where a node begins after its tag and anchor.
func (d *draft) body(n *yaml.Node) int {
	at := d.offset(n)
	return at + len(propertiesEnd.FindString(d.text[at:]))
}

// end returns where a node ends.
func (d *draft) end(n *yaml.Node) int {
	switch {
	case n.Kind == yaml.ScalarNode:
		return d.value(n).to
	case !inBraces(n):
		return d.end(n.Content[len(n.Content)-1])
	}
	at := d.body(n) + 1
	if len(n.Content) > 0 {
		at = d.end(n.Content[len(n.Content)-1])
	}
	return at + len(closes.FindString(d.text[at:]))
}

// value returns where a single value stands, with its quotes.
func (d *draft) value(n *yaml.Node) span {
	from := d.body(n)
	rest := d.text[from:]
	switch {
	case n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		return span{from, d.indentedEnd(from)}
	case n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0:
		return span{from, from + len(inQuotes.FindString(rest))}
	}
	words := strings.Fields(n.Value)
	for i := range words {
		words[i] = regexp.QuoteMeta(words[i])
	}
	return span{from, from + len(regexp.MustCompile(`^`+strings.Join(words, `\s+`)).FindString(rest))}
}

// indentedEnd returns the end of a block that begins at a place: of the last line that is
// indented no less than the first after it. Blank lines count for neither.
func (d *draft) indentedEnd(at int) int {
	header := d.line(at)
	last, column := header, 0
	for i := header + 1; i < len(d.lines); i++ {
		if strings.TrimSpace(d.text[d.lines[i].from:d.lines[i].to]) == "" {
			continue
		}
		if column == 0 {
			column = max(d.indent(header)+1, d.indent(i))
		}
		if d.indent(i) < column {
			break
		}
		last = i
	}
	return d.lines[last].to
}

// commentedHeader takes the beginning of a block that has a comment behind it.
var commentedHeader = regexp.MustCompile(`^[|>][-+0-9]*[ \t]+#`)

// commented reports whether a value is a block with a comment in its midst, which would go
// with it.
func (d *draft) commented(n *yaml.Node) bool {
	return n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 && commentedHeader.MatchString(d.text[d.body(n):])
}

// line returns the line that holds a place.
func (d *draft) line(at int) int {
	return slices.IndexFunc(d.lines, func(l span) bool { return at <= l.to })
}

// colour is the section of a colour.
func (d *draft) colour(i int) *yaml.Node {
	_, colours := entry(d.top, "colours")
	return colours.Content[i]
}

// setpoint writes a new set-point for a colour, and returns what it reads back
// to, in degrees Celsius.
func (d *draft) setpoint(colour *yaml.Node, celsius float64) float64 {
	_, old := entry(colour, "setpoint")
	digits, readC := retyped(celsius, old.Value)
	at := d.offset(old)
	if m := numberBegins.FindStringSubmatchIndex(d.text[at:]); m != nil {
		d.edits = append(d.edits, edit{span{at + m[2], at + m[3]}, digits})
	}
	return readC
}

// colourants writes additions after what a colour has.
func (d *draft) colourants(colour *yaml.Node, added []Colourant) {
	_, list := entry(colour, "colourants")
	switch {
	case list == nil:
		d.firstColourants(colour, added)
	case list.Kind == yaml.ScalarNode:
		d.fill(list, "["+inLine(added)+"]")
	case len(list.Content) == 0:
		d.insert(d.body(list)+1, inLine(added))
	default:
		d.moreColourants(list, added)
	}
}

// fill puts a list or a section in place of null, or of nothing after a key.
func (d *draft) fill(null *yaml.Node, put string) {
	if null.Value == "" {
		put = " " + put
	}
	d.edits = append(d.edits, edit{d.value(null), put})
}

// firstColourants writes a list for a colour without one, beside the volume that
// every colour has.
func (d *draft) firstColourants(colour *yaml.Node, added []Colourant) {
	key, volume := entry(colour, "volume")
	if inBraces(colour) {
		d.insert(d.offset(key), "colourants: ["+inLine(added)+"], ")
		return
	}
	d.insert(d.blockEnd(d.end(volume), key.Column),
		d.newLine(key.Column)+"colourants:"+d.dashed(added, key.Column+2, true))
}

// moreColourants writes additions after the last entry of a list.
func (d *draft) moreColourants(list *yaml.Node, added []Colourant) {
	last := list.Content[len(list.Content)-1]
	if inBraces(list) {
		d.insert(d.end(last), ", "+inLine(added))
		return
	}
	d.insert(d.blockEnd(d.end(last), list.Column), d.dashed(added, list.Column, inBraces(last)))
}

// inBraces reports whether a list or a section is written with its own brackets
// or braces instead of by indentation.
func inBraces(n *yaml.Node) bool { return n.Style&yaml.FlowStyle != 0 }

// blockEnd returns the end of the line that holds a place, or of the last line
// after it that is indented deeper than a column and so belongs to it.
func (d *draft) blockEnd(at, column int) int {
	i := d.line(at)
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
