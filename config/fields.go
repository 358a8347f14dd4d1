package config

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
)

// FieldGroup is what can be typed of a whole recipe, or of one of its colours.
type FieldGroup struct {
	Colour     string // its name; "" for the whole recipe
	Fields     []Field
	Colourants []ColourantFields
	// NewColourant is one that can be added; its paths name nothing that is there yet, and
	// of the whole recipe they are "".
	NewColourant ColourantFields
}

// Field is one value of a recipe's text.
type Field struct {
	Path, Key string
	Value     string // as typed, "" where it is left out
	Example   string
}

// ColourantFields are name and amount of a colourant; Path leads to both.
type ColourantFields struct {
	Path         string
	Name, Amount Field
}

// keyLike is a key with an example of what can be typed there.
type keyLike struct{ key, example string }

var recipeKeys = []keyLike{
	{"name", "slate eel"}, {"note", "what to think of"},
	{"pour.draw-within", "30 s"}, {"pour.mould-at-least", "30 C"}, {"pour.mould-at-most", "45 C"}, {"pour.held-at-most", "40 min"},
	{"ready.steady-for", "20 s"}, {"ready.stir-within", "2 min"},
	{"limits.melt-trip", "185 C"}, {"limits.plate-limit", "220 C"}, {"limits.held-long", "60 min"}, {"least-contrast", "5"},
}

var colourKeys = []keyLike{
	{"setpoint", "168 C"}, {"band", "2 C"}, {"cure.temperature", "172 C"}, {"cure.dwell", "90 s"}, {"volume", "260 mL"},
	{"softener", "10 %"}, {"hardener", "10 %"}, {"flake", "1 pinch"}, {"pearl", "1 pinch"}, {"salt", "20 g"}, {"scent", "2 mL"},
	{"swatch", "#7a8790"}, {"opacity", "60 %"},
	{"name", "slate"}, {"pot", "left"}, {"position", "back"}, {"order", "1"}, {"base", "medium"}, {"lot", "the lot's number"}, {"hardness", "medium"},
}

// flakeKeys stand for the flake where it is a section.
var flakeKeys = []keyLike{{"flake.cut", ".015 hex"}, {"flake.size", "0.4 mm"}, {"flake.amount", "1 pinch"}}

// Fields returns what can be typed of a recipe, as it is typed now: the whole recipe's
// first, and then each colour's in the order of the file. The error is ParseRecipe's.
func Fields(typed []byte) ([]FieldGroup, error) {
	if _, err := ParseRecipe("recipe", typed); err != nil {
		return nil, err
	}
	top := section(string(typed))
	groups := []FieldGroup{{Fields: fields(top, "", recipeKeys)}}
	_, colours := entry(top, "colours")
	for i, c := range colours.Content {
		path := fmt.Sprintf("colours[%d].", i+1)
		g := FieldGroup{Colour: nameOf(c), NewColourant: colourantFields(top, path+"colourants[new]")}
		for _, k := range colourKeys {
			keys := []keyLike{k}
			if _, flake := entry(c, "flake"); k.key == "flake" && flake != nil && flake.Kind == yaml.MappingNode {
				keys = flakeKeys
			}
			g.Fields = append(g.Fields, fields(top, path, keys)...)
		}
		if _, list := entry(c, "colourants"); list != nil {
			for n := range list.Content {
				g.Colourants = append(g.Colourants, colourantFields(top, fmt.Sprintf("%scolourants[%d]", path, n+1)))
			}
		}
		groups = append(groups, g)
	}
	return groups, nil
}

func fields(top *yaml.Node, path string, keys []keyLike) []Field {
	var all []Field
	for _, k := range keys {
		f := Field{Path: path + k.key, Key: k.key, Example: k.example}
		if at, err := find(top, f.Path); err == nil {
			if n := at.node(); n != nil {
				f.Value = strings.TrimSpace(n.Value)
			}
		}
		all = append(all, f)
	}
	return all
}

func colourantFields(top *yaml.Node, path string) ColourantFields {
	both := fields(top, path+".", []keyLike{{"name", "dark grey"}, {"amount", "12 drops"}})
	return ColourantFields{path, both[0], both[1]}
}

// Retyped returns the changes from what was typed to what is typed now, which now gives
// by path. A value that is emptied is left out, and so is a colourant of which nothing
// is left; what now does not give stays.
func Retyped(groups []FieldGroup, now func(path string) (value string, given bool)) []Change {
	var set, remove, add []Change
	change := func(f Field) {
		switch value, given := now(f.Path); {
		case !given || value == f.Value:
		case value == "":
			remove = append(remove, Change{Path: f.Path, Remove: true})
		default:
			set = append(set, Change{Path: f.Path, Value: value})
		}
	}
	for _, g := range groups {
		for _, f := range g.Fields {
			change(f)
		}
		for i := range g.Colourants {
			c := g.Colourants[len(g.Colourants)-1-i] // from the last, so that the others keep their number
			name, given := now(c.Name.Path)
			amount, _ := now(c.Amount.Path)
			if given && name == "" && amount == "" {
				remove = append(remove, Change{Path: c.Path, Remove: true})
				continue
			}
			change(c.Name)
			change(c.Amount)
		}
		name, _ := now(g.NewColourant.Name.Path)
		if amount, _ := now(g.NewColourant.Amount.Path); name != "" || amount != "" {
			list, _, _ := strings.Cut(g.NewColourant.Path, "[new]")
			add = append(add, Change{Path: list + "[name=" + name + "]", Value: amount, add: true})
		}
	}
	return append(append(set, remove...), add...)
}
