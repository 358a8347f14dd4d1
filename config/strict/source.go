// Package strict reads a YAML file without giving anything the benefit of the
// doubt: a key that nobody asked for, a key given twice, a value of the wrong
// kind or an alias is a problem with a line and a fix. It gathers all problems
// of a file instead of stopping at the first.
package strict

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// maxBytes bounds what is read: a hundred times the largest sensible file.
const maxBytes = 1 << 20

// Source is a file that has been read, with what is wrong in it so far.
type Source struct {
	file     string
	places   map[string]place // by key path
	failed   map[string]bool  // by key path
	problems []Problem
}

// place is where a value stands in the file.
type place struct {
	line  int
	value string // as typed, for a single value
}

// Read takes a file's text apart. The map is the top of the file; it is empty
// when the text is no YAML or no list of keys, and Err then says so.
func Read(file string, text []byte) (*Source, *Map) {
	s := &Source{file: file, places: map[string]place{}, failed: map[string]bool{}}
	root, err := parse(text)
	switch {
	case len(text) > maxBytes:
		s.Complain("", "larger than a megabyte", "give a file of this program's own format")
	case errors.Is(err, io.EOF):
		s.Complain("", "file is empty", "start from the demo's file")
	case err != nil:
		s.refuse(err, text)
	default:
		if root.Kind == yaml.ScalarNode || root.Kind == yaml.SequenceNode {
			s.places[""] = place{line: root.Line}
			s.Complain("", "no keys in this file", "write lines of the form \"key: value\"")
			break
		}
		return s, s.open(root, "")
	}
	return s, s.nothing("")
}

var errSecondDocument = errors.New("second document")

// parse returns the top node of the only document.
func parse(text []byte) (*yaml.Node, error) {
	if len(text) > maxBytes {
		return nil, nil
	}
	var doc, more yaml.Node
	d := yaml.NewDecoder(bytes.NewReader(text))
	if err := d.Decode(&doc); err != nil {
		return nil, err
	}
	if err := d.Decode(&more); err == nil {
		return nil, errSecondDocument
	} else if !errors.Is(err, io.EOF) {
		return nil, err
	}
	return doc.Content[0], nil
}

var parserLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)

// refuse explains why a text is no YAML. A tab before the first word of a line
// is by far the most frequent reason, and the parser's own words hide it.
func (s *Source) refuse(err error, text []byte) {
	if errors.Is(err, errSecondDocument) {
		s.Complain("", "a second document after a line \"---\"", "keep one document in a file")
		return
	}
	if line := tabbed(text); line > 0 {
		s.Add(Problem{File: s.file, Line: line, Wrong: "tab in the indentation", Fix: "use spaces"})
		return
	}
	p := Problem{File: s.file, Wrong: "not YAML: " + err.Error(),
		Fix: "look here and one line above: every key ends in \": \" and stands in one column with its neighbours; text with a colon or # goes in quotes"}
	if m := parserLine.FindStringSubmatch(err.Error()); m != nil {
		p.Line, _ = strconv.Atoi(m[1])
		p.Wrong = "not YAML: " + m[2]
	}
	s.Add(p)
}

// tabbed returns the first line with a tab in its indentation, or 0.
func tabbed(text []byte) int {
	for i, line := range strings.Split(string(text), "\n") {
		indent := line[:len(line)-len(strings.TrimLeft(line, " \t"))]
		if strings.Contains(indent, "\t") && strings.TrimSpace(line) != "" {
			return i + 1
		}
	}
	return 0
}

// open makes a map of a node and notes where its values stand.
func (s *Source) open(node *yaml.Node, path string) *Map {
	if _, known := s.places[path]; !known {
		s.places[path] = place{line: node.Line}
	}
	if node.Kind == yaml.AliasNode {
		s.Complain(path, "an alias", "write the values out")
		return s.nothing(path)
	}
	if isNull(node) {
		return s.none(path)
	}
	if node.Kind != yaml.MappingNode {
		s.Complain(path, "not a section", "write its keys below it, indented")
		return s.nothing(path)
	}
	m := s.none(path)
	for i := 0; i < len(node.Content); i += 2 {
		m.add(node.Content[i], node.Content[i+1])
	}
	return m
}

// none is a map without keys: what is required of it is missing.
func (s *Source) none(path string) *Map {
	return &Map{src: s, path: path, nodes: map[string]*yaml.Node{}, asked: map[string]bool{}}
}

// nothing is a map that stands for one that could not be read: nothing in it is
// missed, because the problem has been told already.
func (s *Source) nothing(path string) *Map {
	m := s.none(path)
	m.silent = true
	return m
}

// add takes in one key and its value.
func (m *Map) add(key, value *yaml.Node) {
	if key.Kind != yaml.ScalarNode {
		m.src.Add(Problem{File: m.src.file, Line: key.Line, Key: m.path, Wrong: "a key that is no word", Fix: "write \"key: value\""})
		return
	}
	path := m.Path(key.Value)
	if _, twice := m.nodes[key.Value]; twice {
		first := m.src.places[path].line
		// told at the second line, where the fix has to be made
		m.src.Add(Problem{File: m.src.file, Line: key.Line, Key: path,
			Wrong: fmt.Sprintf("key given twice, first in line %d", first), Fix: "keep one of them"})
		return
	}
	m.nodes[key.Value] = value
	m.order = append(m.order, key.Value)
	p := place{line: key.Line}
	if value.Kind == yaml.ScalarNode {
		p.value = value.Value
	}
	m.src.places[path] = p
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }
