package config

import (
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
)

// Change is one edit of a recipe's text.
type Change struct {
	// Path is the way to a value: name, limits.plate-limit, colours[2].setpoint,
	// colours[name=ivory].cure.dwell, or ivory.cure.dwell for short. A colourant is
	// ivory.colourants[white], or one by its number; its amount is what is set, and one
	// that is not there yet is added after the others.
	Path string
	// Value is what stands there afterwards, as it is typed in a recipe.
	Value string
	// Remove leaves the value out, in place of setting it: a key that need not be there,
	// a whole section such as pour, or a colourant.
	Remove bool

	add bool // a colourant that must not be there yet
}

// Edit returns a recipe's text with changes made one after the other. A value keeps its
// quotes; one that is not there yet is put in beside its neighbours, and a section in
// one line. All else stays as it was, byte for byte: a comment behind a value that is
// left out stays too, one inside a section or an entry that is left out goes with it.
//
// The error is a *strict.Error: about the recipe, about changes that lead nowhere, about
// the recipe as it would be, or that its layout has no safe place for a change.
func Edit(typed []byte, changes []Change) ([]byte, error) {
	if _, err := ParseRecipe("recipe", typed); err != nil {
		return nil, err
	}
	if err := inUTF8(typed); err != nil {
		return nil, err
	}
	text := string(typed)
	var problems []strict.Problem
	for _, c := range changes {
		next, err := c.edit(text)
		if err != nil {
			problems = append(problems, inWordsOf(err, strict.Problem{File: "recipe", Key: c.Path, Value: c.Value}))
			continue
		}
		text = next
	}
	if len(problems) > 0 {
		return nil, &strict.Error{Problems: problems}
	}
	if _, err := ParseRecipe("recipe", []byte(text)); err != nil {
		return nil, err
	}
	return []byte(text), nil
}

// edit makes one change in the text and, apart from it, in what the parser made of the
// text. Both must come to the same: then no odd layout led the edit astray.
func (c Change) edit(text string) (string, error) {
	d := newDraft(text)
	at, err := find(d.top, c.Path)
	if err != nil {
		return "", err
	}
	if c.Value = strings.TrimSpace(c.Value); c.Value == "" && !c.Remove {
		return "", &quantity.Fault{Wrong: "value missing", Fix: "write one, or leave the key out"}
	}
	if c.add && at.lacking == "" {
		return "", &quantity.Fault{Wrong: "a colourant of this name is there already", Fix: "change its amount, or give this one another name"}
	}
	old := at.node()
	losesComment := old != nil && d.commented(old)
	if c.Remove {
		err = d.remove(at)
	} else {
		err = d.put(at, c.Value)
	}
	if err != nil {
		return "", err
	}
	edited := d.edited()
	if got := section(edited); losesComment || got == nil || !same(got, d.top) {
		problem := byHand(c.Path, c.inWords())
		return "", &quantity.Fault{Wrong: problem.Wrong, Fix: problem.Fix}
	}
	return edited, nil
}

// inWords is what a person would have to write.
func (c Change) inWords() string {
	if c.Remove {
		return c.Path + " left out"
	}
	return c.Path + ": " + c.Value
}

// put drafts a value at a place.
func (d *draft) put(at place, value string) error {
	switch old := at.node(); {
	case at.lacking != "":
		d.addColourant(at.section, Colourant{at.lacking, value})
	case at.entry >= 0 && at.key == "colourants":
		return d.put(place{section: old, key: "amount", outer: &at, entry: -1}, value)
	case old == nil:
		d.add(at, value)
	case old.Kind != yaml.ScalarNode || isNull(old):
		return &quantity.Fault{Wrong: "not one value but a section or a list", Fix: "name a key in it, or leave it out first"}
	default:
		d.edits = append(d.edits, edit{d.value(old), inStyle(old.Style, value)})
		old.Value = value
	}
	return nil
}

// inStyle writes a value with the quotes of an old one.
func inStyle(style yaml.Style, value string) string {
	plain := strings.IndexFunc(value, func(r rune) bool { return !strconv.IsPrint(r) }) < 0
	switch {
	case plain && style&yaml.DoubleQuotedStyle != 0:
		return strconv.Quote(value)
	case plain && style&yaml.SingleQuotedStyle != 0:
		return "'" + strings.ReplaceAll(value, "'", "''") + "'"
	}
	return scalar(value)
}

// add drafts a key that is not there yet, with its section where that is missing too.
func (d *draft) add(at place, value string) {
	key, node := at.key, &yaml.Node{Kind: yaml.ScalarNode, Value: value}
	put := key + ": " + scalar(value)
	if len(at.section.Content) > 0 {
		d.beside(at.section, key, put)
		extend(at.section, key, node)
		return
	}
	outer, inner := at.outer, at.section
	_, old := entry(outer.section, outer.key)
	switch {
	case old == nil:
		d.beside(outer.section, outer.key, outer.key+": {"+put+"}")
		extend(outer.section, outer.key, inner)
	case isNull(old):
		d.fill(old, "{"+put+"}")
		*old = *inner
		inner = old
	default:
		d.insert(d.body(old)+1, put)
	}
	extend(inner, key, node)
}

// addColourant drafts a colourant after the others of a colour.
func (d *draft) addColourant(colour *yaml.Node, c Colourant) {
	d.colourants(colour, []Colourant{c})
	added := &yaml.Node{Kind: yaml.MappingNode}
	extend(added, "name", &yaml.Node{Kind: yaml.ScalarNode, Value: c.Name})
	extend(added, "amount", &yaml.Node{Kind: yaml.ScalarNode, Value: c.Amount})
	_, list := entry(colour, "colourants")
	if list == nil {
		list = &yaml.Node{Kind: yaml.SequenceNode}
		extend(colour, "colourants", list)
	}
	list.Kind, list.Content = yaml.SequenceNode, append(list.Content, added)
}

func extend(section *yaml.Node, key string, value *yaml.Node) {
	section.Content = append(section.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: key}, value)
}

// keyOrder is how the keys of a recipe follow each other, in each of its sections.
var keyOrder = []string{
	"name", "note", "colours", "limits", "ready",
	"pot", "position", "order", "base", "lot", "hardness", "softener", "hardener", "volume", "colourants",
	"flake", "pearl", "salt", "scent", "swatch", "opacity", "setpoint", "band", "cure", "pour", "least-contrast",
	"cut", "size", "amount", "temperature", "dwell", "melt-trip", "held-long", "steady-for", "stir-within",
	"draw-within", "mould-at-least", "mould-at-most", "held-at-most",
}

// beside puts a key after the neighbour that comes before it in keyOrder, or after the
// section's first.
func (d *draft) beside(section *yaml.Node, key, put string) {
	before := 0
	for i := 0; i < len(section.Content); i += 2 {
		if rank := slices.Index(keyOrder, section.Content[i].Value); rank < slices.Index(keyOrder, key) &&
			rank >= slices.Index(keyOrder, section.Content[before].Value) {
			before = i
		}
	}
	neighbour, value := section.Content[before], section.Content[before+1]
	if inBraces(section) {
		d.insert(d.end(value), ", "+put)
		return
	}
	d.insert(d.blockEnd(d.end(value), neighbour.Column), d.newLine(neighbour.Column)+put)
}

// same reports whether two nodes hold the same, however they are laid out: the order of
// keys is none.
func same(a, b *yaml.Node) bool {
	if a.Kind != b.Kind || len(a.Content) != len(b.Content) || isNull(a) != isNull(b) {
		return false
	}
	switch a.Kind {
	case yaml.ScalarNode:
		return isNull(a) || a.Value == b.Value
	case yaml.MappingNode:
		for i := 0; i < len(a.Content); i += 2 {
			if _, other := entry(b, a.Content[i].Value); other == nil || !same(a.Content[i+1], other) {
				return false
			}
		}
		return true
	}
	return slices.EqualFunc(a.Content, b.Content, same)
}
