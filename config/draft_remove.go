package config

import (
	"slices"
	"strings"

	"meltwarden/config/quantity"
)

// remove drafts that what stands at a place is left out. The last key of a section and
// the last entry of a list take it with them.
func (d *draft) remove(at place) error {
	if at.node() == nil || at.lacking != "" {
		return &quantity.Fault{Wrong: "not there", Fix: "there is nothing to leave out"}
	}
	if at.entry >= 0 {
		return d.removeEntry(at)
	}
	if len(at.section.Content) == 2 && at.outer != nil && at.outer.entry < 0 {
		return d.remove(*at.outer)
	}
	var keys []span
	i := 0
	for k := 0; k < len(at.section.Content); k += 2 {
		key, value := at.section.Content[k], at.section.Content[k+1]
		if key.Value == at.key {
			i = k / 2
		}
		keys = append(keys, span{d.offset(key), d.end(value)})
	}
	if inBraces(at.section) {
		d.cutFromBraces(keys, i)
	} else {
		d.cutLines(keys, i)
	}
	at.section.Content = slices.Delete(at.section.Content, 2*i, 2*i+2)
	return nil
}

// removeEntry drafts that a colourant is left out.
func (d *draft) removeEntry(at place) error {
	_, list := entry(at.section, at.key)
	if at.key != "colourants" {
		return &quantity.Fault{Wrong: "only a colourant can be left out of its list", Fix: "change the file by hand"}
	}
	if len(list.Content) == 1 {
		at.entry = -1
		return d.remove(at)
	}
	var entries []span
	for _, n := range list.Content {
		s := span{d.offset(n), d.end(n)}
		if !inBraces(list) {
			s.from = strings.LastIndexByte(d.text[:s.from], '-')
		}
		entries = append(entries, s)
	}
	if inBraces(list) {
		d.cutFromBraces(entries, at.entry)
	} else {
		d.cutLines(entries, at.entry)
	}
	list.Content = slices.Delete(list.Content, at.entry, at.entry+1)
	return nil
}

func (d *draft) cut(from, to int) { d.edits = append(d.edits, edit{span{from, to}, ""}) }

// cutFromBraces cuts one of several out of a line in braces, with the comma that parts
// it from its neighbour. Where a comment stands between them it cuts nothing.
func (d *draft) cutFromBraces(all []span, i int) {
	s := all[i]
	switch {
	case len(all) == 1:
		d.cut(s.from, s.to)
	case i > 0 && !strings.Contains(d.text[all[i-1].to:s.from], "#"):
		d.cut(all[i-1].to, s.to)
	case i+1 < len(all) && !strings.Contains(d.text[s.to:all[i+1].from], "#"):
		d.cut(s.from, all[i+1].from)
	}
}

// cutLines cuts the lines of one of several, and leaves the comment behind it. Where
// something else stands in these lines it cuts nothing.
func (d *draft) cutLines(all []span, i int) {
	s := all[i]
	first, last := d.lines[d.line(s.from)], d.lines[d.line(s.to)]
	behind := strings.TrimLeft(d.text[s.to:last.to], " \t")
	switch begins := strings.TrimSpace(d.text[first.from:s.from]) == ""; {
	case !begins && i == 0 && len(all) > 1 && strings.TrimSpace(d.text[s.to:all[1].from]) == "":
		d.cut(s.from, all[1].from) // the first key after the dash of an entry
	case begins && strings.HasPrefix(behind, "#"):
		d.cut(s.from, last.to-len(behind))
	case begins && behind == "" && d.line(last.to)+1 < len(d.lines):
		d.cut(first.from, d.lines[d.line(last.to)+1].from)
	case begins && behind == "" && d.line(first.from) > 0:
		d.cut(d.lines[d.line(first.from)-1].to, last.to)
	}
}
