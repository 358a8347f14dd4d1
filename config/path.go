package config

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"meltwarden/config/quantity"
)

// step is a part of a way to a value: a key, and which entry where it is a list.
type step struct {
	key   string
	entry string // as written between brackets; "" for none
}

// steps takes a way such as colours[name=ivory].cure.dwell apart. A way that begins with
// something else than a key of a recipe begins with a colour's name.
func steps(path string) ([]step, error) {
	var all []step
	for rest := path; ; {
		m := oneStep.FindStringSubmatch(rest)
		if m == nil {
			return nil, &quantity.Fault{Wrong: "not the way to a value", Fix: "write it like ivory.setpoint, colours[2].cure.dwell or pour.draw-within"}
		}
		all = append(all, step{strings.TrimSpace(m[1]), m[2]})
		if m[3] == "" {
			break
		}
		rest = rest[len(m[0]):]
	}
	if !slices.Contains(topKeys, all[0].key) && len(all) > 1 && all[0].entry == "" {
		all[0] = step{"colours", "name=" + all[0].key}
	}
	return all, nil
}

// oneStep is a key, what is in its brackets, and the point before the next one.
var oneStep = regexp.MustCompile(`^([^.\[\]]+)(?:\[([^\]]+)\])?(?:(\.)|$)`)

// topKeys are the keys of a recipe's file.
var topKeys = []string{"name", "note", "colours", "limits", "ready", "pour", "least-contrast"}

// place is where a way leads: a key of a section, or an entry of its list.
type place struct {
	section *yaml.Node
	key     string
	outer   *place // the section's own, nil for the whole file
	entry   int    // of the list at the key, from 0; -1 for the key itself
	lacking string // the name of a colourant that is not there yet
}

// find goes along a way. What is missing on it can only be its last section.
func find(top *yaml.Node, path string) (place, error) {
	all, err := steps(path)
	if err != nil {
		return place{}, err
	}
	at := place{section: top, entry: -1}
	for i, s := range all {
		if i > 0 {
			if at, err = at.open(); err != nil {
				return place{}, err
			}
		}
		at.key = s.key
		if s.entry == "" {
			continue
		}
		if err := at.choose(s.entry); err != nil {
			return place{}, err
		}
	}
	return at, nil
}

// node is what stands at a place, nil for nothing.
func (p place) node() *yaml.Node {
	_, value := entry(p.section, p.key)
	if value == nil || p.entry < 0 {
		return value
	}
	return value.Content[p.entry]
}

// open goes into the section at a place.
func (p place) open() (place, error) {
	inner := place{section: p.node(), outer: &p, entry: -1}
	switch {
	case p.lacking != "":
		return place{}, noEntry(p.lacking, nil)
	case inner.section == nil || isNull(inner.section):
		if len(p.section.Content) == 0 { // itself not there yet
			return place{}, &quantity.Fault{Wrong: "no section " + strconv.Quote(p.key), Fix: "write it in by hand first"}
		}
		inner.section = &yaml.Node{Kind: yaml.MappingNode}
	case inner.section.Kind != yaml.MappingNode:
		return place{}, &quantity.Fault{
			Wrong: strconv.Quote(p.key) + " is no section here",
			Fix:   "change it as a whole, or leave it out first",
		}
	}
	return inner, nil
}

// choose finds the entry of a list by its number, from 1, or by its name.
func (p *place) choose(which string) error {
	_, list := entry(p.section, p.key)
	var known []string
	if list != nil && list.Kind == yaml.SequenceNode {
		for _, n := range list.Content {
			known = append(known, nameOf(n))
		}
	}
	name, named := strings.CutPrefix(which, "name=")
	if i, err := strconv.Atoi(which); err == nil && !named {
		if i < 1 || i > len(known) {
			return noEntry(which, known)
		}
		p.entry = i - 1
		return nil
	}
	name = strings.TrimSpace(name)
	if p.entry = slices.Index(known, name); p.entry >= 0 {
		return nil
	}
	if p.key == "colourants" && name != "" {
		p.lacking = name
		return nil
	}
	return noEntry(name, known)
}

func noEntry(which string, known []string) error {
	if which == "" {
		return &quantity.Fault{Wrong: "name missing", Fix: "write what it is called"}
	}
	f := &quantity.Fault{Wrong: strconv.Quote(which) + " is not there", Fix: "name one that is"}
	if len(known) > 0 {
		f.Fix = choose(which, known)
	}
	return f
}

func nameOf(section *yaml.Node) string {
	if section.Kind == yaml.MappingNode {
		if _, name := entry(section, "name"); name != nil {
			return strings.TrimSpace(name.Value)
		}
	}
	return ""
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }
