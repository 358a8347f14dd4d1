// Package describe puts Go types and short descriptions of routes into an OpenAPI 3.1
// document. What a type looks like in JSON is read from the type itself, and what a field
// means from the comment it has in the code, so that neither is said twice. It knows no
// route and no bench.
package describe

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"path"
	"reflect"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Schema is a JSON schema (draft 2020-12, which OpenAPI 3.1 takes), as far as Go types
// need one.
type Schema struct {
	Ref         string    `json:"$ref,omitempty"`
	Type        Names     `json:"type,omitempty"`
	AnyOf       []*Schema `json:"anyOf,omitempty"`
	Format      string    `json:"format,omitempty"`
	Description string    `json:"description,omitempty"`
	Enum        []string  `json:"enum,omitempty"`
	Const       string    `json:"const,omitempty"`
	Minimum     *float64  `json:"minimum,omitempty"`
	Maximum     *float64  `json:"maximum,omitempty"`
	MaxLength   int       `json:"maxLength,omitempty"`
	Items       *Schema   `json:"items,omitempty"`
	Properties  Ordered   `json:"properties,omitempty"`
	Required    []string  `json:"required,omitempty"`
	// AdditionalProperties are the values of a map.
	AdditionalProperties *Schema `json:"additionalProperties,omitempty"`
	MediaType            string  `json:"contentMediaType,omitempty"`
}

// Names are types of JSON; one alone is spelt as a string.
type Names []string

// MarshalJSON implements json.Marshaler.
func (n Names) MarshalJSON() ([]byte, error) {
	if len(n) == 1 {
		return json.Marshal(n[0])
	}
	return json.Marshal([]string(n))
}

// Ordered is an object of JSON that keeps its order.
type Ordered []Member

// Member is one member of an object.
type Member struct {
	Name  string
	Value any
}

// MarshalJSON implements json.Marshaler.
func (o Ordered) MarshalJSON() ([]byte, error) {
	var out bytes.Buffer
	out.WriteByte('{')
	for i, m := range o {
		if i > 0 {
			out.WriteByte(',')
		}
		name, err := json.Marshal(m.Name)
		if err != nil {
			return nil, err
		}
		value, err := json.Marshal(m.Value)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.Name, err)
		}
		out.Write(name)
		out.WriteByte(':')
		out.Write(value)
	}
	out.WriteByte('}')
	return out.Bytes(), nil
}

// Shaped is a type that JSON spells otherwise than its fields say: JSONShape returns a
// value, of no matter what content, of the type that it is spelt as.
type Shaped interface{ JSONShape() any }

var (
	shaped  = reflect.TypeFor[Shaped]()
	instant = reflect.TypeFor[time.Time]()
	spelt   = reflect.TypeFor[json.Marshaler]()
)

const inComponents = "#/components/schemas/"

// Words are the comments of the code about types and their fields, by KeyOf.
type Words map[string]string

// KeyOf is what a type, or with a name its field, goes by in Words.
func KeyOf(t reflect.Type, field string) string {
	if field != "" {
		field = "." + field
	}
	return t.PkgPath() + "." + t.Name() + field
}

// schemas are those of named types, in the order in which they were met.
type schemas struct {
	api    API
	all    Ordered
	known  map[reflect.Type]bool
	wanted []Wanted
}

// Wanted is what words are wanted for: a type, or a field of it.
type Wanted struct {
	Type  reflect.Type
	Field string // "" is the type
}

// look looks up what is said of a type or a field.
func (s *schemas) look(t reflect.Type, field string) string {
	if w := (Wanted{t, field}); !slices.Contains(s.wanted, w) {
		s.wanted = append(s.wanted, w)
	}
	return s.api.Words[KeyOf(t, field)]
}

// of is the schema of a type. A type that JSON can not spell is a mistake of the program.
func (s *schemas) of(t reflect.Type) *Schema {
	if to, ok := shapeOf(t); ok {
		if to.Kind() != reflect.Struct {
			return s.of(to)
		}
		return s.named(t, to)
	}
	switch {
	case t == instant:
		return &Schema{Type: Names{"string"}, Format: "date-time"}
	case t.Kind() != reflect.Pointer && t.Implements(spelt):
		panic(fmt.Sprintf("describe: %s spells itself in JSON and does not say how: it has no JSONShape", t))
	}
	switch t.Kind() {
	case reflect.Pointer:
		return orNull(s.of(t.Elem()))
	case reflect.Struct:
		return s.named(t, t)
	case reflect.Slice:
		return &Schema{Type: Names{"array"}, Items: s.of(t.Elem())}
	case reflect.Map:
		return &Schema{Type: Names{"object"}, AdditionalProperties: s.of(t.Elem())}
	case reflect.String:
		return &Schema{Type: Names{"string"}, Description: s.about(t)}
	case reflect.Bool:
		return &Schema{Type: Names{"boolean"}}
	case reflect.Float64:
		return &Schema{Type: Names{"number"}}
	case reflect.Int, reflect.Int64:
		return &Schema{Type: Names{"integer"}, Format: "int64"}
	case reflect.Uint64:
		return &Schema{Type: Names{"integer"}, Minimum: new(float64)}
	}
	panic(fmt.Sprintf("describe: no schema for %s", t))
}

func shapeOf(t reflect.Type) (reflect.Type, bool) {
	if !t.Implements(shaped) || t.Kind() == reflect.Pointer && t.Elem().Implements(shaped) {
		return nil, false
	}
	return reflect.TypeOf(reflect.Zero(t).Interface().(Shaped).JSONShape()), true
}

// about is the comment about a type that has a name of its own.
func (s *schemas) about(t reflect.Type) string {
	if t.PkgPath() == "" {
		return ""
	}
	return s.look(t, "")
}

// named refers to the schema of a struct, and makes it where it is met first.
func (s *schemas) named(t, spelt reflect.Type) *Schema {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	name := nameOf(t)
	ref := &Schema{Ref: inComponents + name}
	if s.known[t] {
		return ref
	}
	s.known[t] = true
	made := &Schema{Type: Names{"object"}, Description: sentence(s.look(t, ""))}
	s.all = append(s.all, Member{name, made})
	s.fields(made, spelt, name)
	return ref
}

// nameOf is what a type goes by in the document: its package, but for the answers of the
// API itself, and its name.
func nameOf(t reflect.Type) string {
	first, n := utf8.DecodeRuneInString(t.Name())
	name := string(unicode.ToUpper(first)) + t.Name()[n:]
	if of := path.Base(t.PkgPath()); of != "api" {
		return of + "." + name
	}
	return name
}

// fields adds those of a struct as encoding/json has them, those of embedded ones too. No
// name is met twice in this program's types.
func (s *schemas) fields(to *Schema, t reflect.Type, of string) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && name == "":
			s.fields(to, f.Type, of)
			continue
		case name == "-" || !f.IsExported():
			continue
		case name == "":
			name = f.Name
		}
		is := s.of(f.Type)
		is.Description = sentence(cmp.Or(s.look(t, f.Name), s.api.Names[name]), is.Description, s.api.oneOf(of+"."+name), unitOf(name), unknownOf(is))
		to.Properties = append(to.Properties, Member{name, is})
		if !strings.Contains(options, "omitempty") && !strings.Contains(options, "omitzero") {
			to.Required = append(to.Required, name)
		}
	}
}

// oneOf says what a field can be.
func (a API) oneOf(field string) string {
	for _, v := range a.Values {
		if v.Field == field {
			return "one of: `" + strings.Join(v.Values, "`, `") + "`"
		}
	}
	return ""
}

// orNull is a schema or null.
func orNull(s *Schema) *Schema {
	if s.Ref != "" {
		return &Schema{AnyOf: []*Schema{s, {Type: Names{"null"}}}}
	}
	s.Type = append(s.Type, "null")
	return s
}

// unknownOf says what null means.
func unknownOf(s *Schema) string {
	of := s
	if s.Items != nil {
		of = s.Items
	}
	if len(of.Type) == 2 && of.Type[1] == "null" {
		return "null: not known"
	}
	return ""
}

// Units are what the ends of names mean, the longer before those that they end in.
var Units = []struct{ End, Means string }{
	{"_c_per_min", "degrees Celsius a minute"}, {"_kj_per_mol", "kilojoules a mole"}, {"_c", "degrees Celsius"},
	{"_s", "seconds"}, {"_min", "minutes"}, {"_w", "watts"}, {"_ml", "millilitres"}, {"_px", "pixels"},
}

// unitOf is the unit that a name ends in, "" where there is none.
func unitOf(name string) string {
	for _, u := range Units {
		if strings.HasSuffix("_"+name, u.End) {
			return "in " + u.Means
		}
	}
	return ""
}

// sentence joins what there is to say, each with a full stop.
func sentence(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p = strings.TrimSpace(p); p == "" {
			continue
		}
		first, n := utf8.DecodeRuneInString(p)
		if p = string(unicode.ToUpper(first)) + p[n:]; !strings.HasSuffix(p, ".") {
			p += "."
		}
		out = append(out, p)
	}
	return strings.Join(out, " ")
}

// Type is a type as a reference shows it.
type Type struct {
	Name, Says string
	Fields     []TypeField
}

// TypeField is one field of a type.
type TypeField struct {
	Name string
	// Is says what it is; Of is the name of the type that it is of, "" where that is plain.
	Is, Of, Says string
	Optional     bool
}

// Types are those of all that is answered with, by their names.
func (a API) Types() (all []Type) {
	_, s := a.document()
	for _, m := range s.all {
		of := m.Value.(*Schema)
		t := Type{Name: m.Name, Says: of.Description}
		for _, p := range of.Properties {
			f := p.Value.(*Schema)
			is, ref := f.words()
			t.Fields = append(t.Fields, TypeField{Name: p.Name, Is: is, Of: ref, Says: f.Description, Optional: !slices.Contains(of.Required, p.Name)})
		}
		all = append(all, t)
	}
	return all
}

// words say what a schema is.
func (s *Schema) words() (is, of string) {
	switch {
	case s.Ref != "":
		return "", strings.TrimPrefix(s.Ref, inComponents)
	case len(s.AnyOf) > 0:
		_, of = s.AnyOf[0].words()
		return "or null:", of
	case s.Items != nil:
		is, of = s.Items.words()
		return strings.TrimSpace("list of " + is), of
	case s.AdditionalProperties != nil:
		is, of = s.AdditionalProperties.words()
		return strings.TrimSpace("by name, " + is), of
	case s.Format == "date-time":
		return strings.Join(append([]string{"time"}, s.Type[1:]...), " or "), ""
	}
	return strings.Join(s.Type, " or "), ""
}

// TypeOf is the name of the type of a body.
func TypeOf(body any) string { return nameOf(reflect.Indirect(reflect.ValueOf(body)).Type()) }
