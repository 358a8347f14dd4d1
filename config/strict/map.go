package strict

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Map is a section of a file, read key by key. What has not been asked for by
// the time of Done is an unknown key.
type Map struct {
	src    *Source
	path   string
	nodes  map[string]*yaml.Node
	order  []string // keys as they stand in the file
	asked  map[string]bool
	known  []string // keys as they were asked for
	silent bool
}

// Kind is how one value is read.
type Kind[T any] struct {
	// Parse turns the typed text into the value. Its error is best a
	// *quantity.Fault, which knows the fix.
	Parse func(text string) (T, error)
	// Example is a text that Parse takes.
	Example string
	// Secret keeps the value out of every message.
	Secret bool
}

// Path returns the way to a key of this map, or to the map itself for "".
func (m *Map) Path(key string) string {
	if key == "" {
		return m.path
	}
	if !plainKey.MatchString(key) {
		key = strconv.Quote(key) // so that its dots do not look like steps
	}
	if m.path == "" {
		return key
	}
	return m.path + "." + key
}

var plainKey = regexp.MustCompile(`^[\w-]+$`)

// Has reports whether the file gives a key.
func (m *Map) Has(key string) bool { return m.nodes[key] != nil }

// IsSection reports whether the file gives a section at a key.
func (m *Map) IsSection(key string) bool {
	node := m.nodes[key]
	return node != nil && node.Kind == yaml.MappingNode
}

// ask marks a key as known and returns its value, or nil.
func (m *Map) ask(key string) *yaml.Node {
	if !m.asked[key] {
		m.asked[key] = true
		m.known = append(m.known, key)
	}
	return m.nodes[key]
}

// Required reads the value of a key that must be there.
func Required[T any](m *Map, key string, kind Kind[T]) T {
	var zero T
	node := m.ask(key)
	if node == nil {
		m.missing(key, kind.Example)
		return zero
	}
	return read(m.src, m.Path(key), node, kind, zero)
}

// Optional reads the value of a key that may be left out, for the fallback.
func Optional[T any](m *Map, key string, kind Kind[T], fallback T) T {
	node := m.ask(key)
	if node == nil {
		return fallback
	}
	return read(m.src, m.Path(key), node, kind, fallback)
}

// Values reads a list of values that may be left out.
func Values[T any](m *Map, key string, kind Kind[T]) []T {
	var list []T
	var zero T
	for i, node := range m.items(key) {
		path := step(m.Path(key), i)
		m.src.places[path] = place{node.Line, node.Value}
		list = append(list, read(m.src, path, node, kind, zero))
	}
	return list
}

// Map reads a section. One that is left out is an empty map.
func (m *Map) Map(key string) *Map {
	node := m.ask(key)
	switch {
	case node != nil:
		return m.src.open(node, m.Path(key))
	case m.silent:
		return m.src.nothing(m.Path(key))
	}
	return m.src.none(m.Path(key))
}

// Maps reads a list of sections that may be left out.
func (m *Map) Maps(key string) []*Map {
	var list []*Map
	for i, node := range m.items(key) {
		list = append(list, m.src.open(node, step(m.Path(key), i)))
	}
	return list
}

// RequiredMaps reads a list of sections with at least one entry.
func (m *Map) RequiredMaps(key, example string) []*Map {
	list := m.Maps(key)
	if len(list) == 0 {
		m.missing(key, example)
	}
	return list
}

func (m *Map) items(key string) []*yaml.Node {
	node := m.ask(key)
	if node == nil || isNull(node) {
		return nil
	}
	if node.Kind != yaml.SequenceNode {
		m.src.Complain(m.Path(key), "not a list", "begin every entry with \"- \"")
		return nil
	}
	if len(node.Content) > maxEntries {
		m.src.Complain(m.Path(key), fmt.Sprintf("more than %d entries", maxEntries), "leave out what this bench does not have")
		return nil
	}
	return node.Content
}

// maxEntries bounds a list: entries are held against each other, so that a long one
// takes very long. It is several times the longest sensible list (estimate).
const maxEntries = 1000

func step(path string, i int) string { return fmt.Sprintf("%s[%d]", path, i+1) }

func (m *Map) missing(key, example string) {
	if m.silent {
		return
	}
	fix := fmt.Sprintf("write \"%s: %s\"", key, example)
	m.src.Complain(m.Path(key), "missing", fix)
}

func read[T any](s *Source, path string, node *yaml.Node, kind Kind[T], failed T) T {
	if kind.Secret {
		s.places[path] = place{line: s.places[path].line}
	}
	fix := fmt.Sprintf("write it like %q", kind.Example)
	switch {
	case node.Kind == yaml.AliasNode:
		s.Complain(path, "an alias", "write the value out")
		return failed
	case node.Kind != yaml.ScalarNode:
		s.Complain(path, "one value wanted here, not a list or a section", fix)
		return failed
	case isNull(node) || strings.TrimSpace(node.Value) == "":
		s.Complain(path, "value missing", fix)
		return failed
	}
	v, err := kind.Parse(strings.TrimSpace(node.Value))
	if err != nil {
		s.complainOf(path, err, kind.Example)
		return failed
	}
	return v
}

// Done complains about every key that nobody asked for.
func (m *Map) Done() {
	for _, key := range m.order {
		if m.asked[key] {
			continue
		}
		path := m.Path(key)
		m.src.places[path] = place{line: m.src.places[path].line} // it may be a misspelt secret
		fix := "leave it out; known here: " + strings.Join(m.known, ", ")
		if name, ok := Nearest(key, m.known); ok {
			fix = fmt.Sprintf("did you mean %q?", name)
		}
		m.src.Complain(path, "unknown key", fix)
	}
}
