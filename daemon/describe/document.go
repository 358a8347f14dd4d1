package describe

import (
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// API is all that a document is made of.
type API struct {
	Title, Version, Says string
	// Groups are the headings, in order.
	Groups     []string
	Operations []Operation
	// Variables are those of paths, wherever they stand.
	Variables []Field
	// Everywhere are the kinds of problem of any request, Writing those of one that changes
	// something.
	Everywhere, Writing []*Kind
	// Problem is a value of the type of a problem; KindsAt is where a kind is explained, but
	// for its name.
	Problem any
	KindsAt string
	// Security are the ways to get in, by name; no way at all is one of them.
	Security Ordered
	// Besides are values of types that are sent within something else.
	Besides []any
	Words   Words
	// Names are what fields of a name mean, wherever nothing else is said of one.
	Names map[string]string
	// Values are those that fields can have, where their type does not say so.
	Values []Values
	// Examples are answers by the ID of their operation.
	Examples map[string]json.RawMessage
}

// Values are those that one field can have. More may come.
type Values struct {
	Field  string // as Type.name in the document
	Values []string
}

const (
	jsonType    = "application/json"
	problemType = "application/problem+json" // RFC 9457
	formType    = "application/x-www-form-urlencoded"
	fileType    = "multipart/form-data"
	htmlType    = "text/html"
)

// openAPI is the version of the standard.
const openAPI = "3.1.1"

// Document is the API in OpenAPI 3.1, and what it wants words for.
func (a API) Document() (document Ordered, wanted []Wanted) {
	document, s := a.document()
	return document, s.wanted
}

func (a API) document() (Ordered, *schemas) {
	s := &schemas{api: a, known: map[reflect.Type]bool{}}
	s.of(reflect.TypeOf(a.Problem))
	paths := Ordered{}
	for _, o := range a.Operations {
		paths = addTo(paths, o.Path(), Member{strings.ToLower(o.Method()), a.operation(s, o)})
	}
	for _, b := range a.Besides {
		s.of(reflect.TypeOf(b))
	}
	slices.SortFunc(s.all, func(x, y Member) int { return strings.Compare(x.Name, y.Name) })
	tags := []Ordered{}
	for _, g := range a.Groups {
		tags = append(tags, Ordered{{"name", g}})
	}
	security := []map[string][]string{{}}
	for _, way := range a.Security {
		security = append(security, map[string][]string{way.Name: {}})
	}
	return Ordered{
		{"openapi", openAPI},
		{"info", Ordered{{"title", a.Title}, {"version", a.Version}, {"description", a.Says}, {"license", Ordered{{"name", "MIT"}, {"identifier", "MIT"}}}}},
		{"servers", []Ordered{{{"url", "/"}}}},
		{"security", security},
		{"tags", tags},
		{"paths", paths},
		{"components", Ordered{{"schemas", s.all}, {"examples", a.kindExamples()}, {"securitySchemes", a.Security}}},
	}, s
}

func addTo(paths Ordered, path string, m Member) Ordered {
	for i := range paths {
		if paths[i].Name == path {
			paths[i].Value = append(paths[i].Value.(Ordered), m)
			return paths
		}
	}
	return append(paths, Member{path, Ordered{m}})
}

func (a API) operation(s *schemas, o Operation) Ordered {
	out := Ordered{{"operationId", o.ID()}, {"tags", []string{o.Group}}, {"summary", o.Does}}
	says := o.More
	if o.HereOnly {
		says = sentence(says, "On the bench's own computer only")
	}
	if says != "" {
		out = append(out, Member{"description", says})
	}
	parameters := []Ordered{}
	for _, name := range o.Variables() {
		f := a.Variable(name)
		f.Needed = true
		parameters = append(parameters, parameter("path", f))
	}
	for _, f := range o.In {
		parameters = append(parameters, parameter("query", f))
	}
	if len(parameters) > 0 {
		out = append(out, Member{"parameters", parameters})
	}
	if len(o.Form) > 0 {
		out = append(out, Member{"requestBody", bodyOf(o)})
	}
	if o.HereOnly {
		out = append(out, Member{"security", []Ordered{{}}})
	}
	return append(out, Member{"responses", a.responses(s, o)})
}

// Variable is what is known of a variable of paths.
func (a API) Variable(name string) Field {
	for _, f := range a.Variables {
		if f.Name == name {
			return f
		}
	}
	panic("describe: nothing is said of the variable " + name)
}

func parameter(in string, f Field) Ordered {
	schema := f.schema()
	says := schema.Description
	schema.Description = ""
	out := Ordered{{"name", f.Name}, {"in", in}, {"description", says}}
	if f.Needed {
		out = append(out, Member{"required", true})
	}
	out = append(out, Member{"schema", schema})
	if f.Example != "" && !f.Many {
		out = append(out, Member{"example", f.exampleValue()})
	}
	return out
}

func (f Field) exampleValue() any {
	if n, err := strconv.ParseFloat(f.Example, 64); err == nil && f.Is != Text {
		return n
	}
	return f.Example
}

func (f Field) schema() *Schema {
	s := &Schema{Type: Names{"string"}, Description: sentence(f.Says)}
	switch f.Is {
	case Whole:
		s.Type = Names{"integer"}
	case Number:
		s.Type = Names{"number"}
	case File:
		s.MediaType = "application/octet-stream"
	case Text:
		s.MaxLength, s.Enum = int(f.Most), f.Choices
	}
	if f.Is != Text && (f.Least != 0 || f.Most != 0) {
		s.Minimum = &f.Least
		if f.Most != 0 {
			s.Maximum = &f.Most
		}
	}
	if f.Many {
		says := s.Description
		s.Description = ""
		return &Schema{Type: Names{"array"}, Items: s, Description: says}
	}
	return s
}

func bodyOf(o Operation) Ordered {
	schema, example := &Schema{Type: Names{"object"}}, Ordered{}
	for _, f := range o.Form {
		schema.Properties = append(schema.Properties, Member{f.Name, f.schema()})
		if f.Needed {
			schema.Required = append(schema.Required, f.Name)
		}
		if f.Example != "" && f.Is != File && !f.Many {
			example = append(example, Member{f.Name, f.exampleValue()})
		}
	}
	as, media := formType, Ordered{{"schema", schema}}
	if o.takesFile() {
		as = fileType
	} else if len(example) > 0 {
		media = append(media, Member{"example", example})
	}
	return Ordered{{"required", len(schema.Required) > 0}, {"content", Ordered{{as, media}}}}
}

func (a API) responses(s *schemas, o Operation) Ordered {
	out := Ordered{}
	for _, answer := range o.Answers {
		r := Ordered{{"description", sentence(answer.Says)}}
		switch {
		case answer.Body != nil:
			media := Ordered{{"schema", s.of(reflect.TypeOf(answer.Body))}}
			if e, ok := a.Examples[o.ID()]; ok && answer.Status < 300 {
				media = append(media, Member{"example", e})
			}
			r = append(r, Member{"content", Ordered{{jsonType, media}}})
		case answer.MediaType != "":
			is := "string"
			if answer.MediaType == jsonType {
				is = "object"
			}
			r = append(r, Member{"content", Ordered{{answer.MediaType, Ordered{{"schema", &Schema{Type: Names{is}}}}}}})
		}
		if answer.Status == http.StatusSeeOther {
			r = append(r, Member{"headers", Ordered{{"Location", Ordered{{"schema", &Schema{Type: Names{"string"}}}}}}})
		}
		out = addStatus(out, answer.Status, r)
	}
	for _, status := range statusesOf(a.ProblemsOf(o)) {
		out = addStatus(out, status, a.problemResponse(o, status))
	}
	return out
}

// addStatus adds a response; further media types of one that is there join it.
func addStatus(out Ordered, status int, r Ordered) Ordered {
	name := strconv.Itoa(status)
	for i, m := range out {
		if m.Name != name {
			continue
		}
		was := m.Value.(Ordered)
		for _, more := range r {
			if more.Name == "content" {
				was = mergeContent(was, more.Value.(Ordered))
			}
		}
		was[0].Value = sentence(was[0].Value.(string), r[0].Value.(string))
		out[i].Value = was
		return out
	}
	return append(out, Member{name, r})
}

func mergeContent(r, content Ordered) Ordered {
	for i, m := range r {
		if m.Name == "content" {
			r[i].Value = append(m.Value.(Ordered), content...)
			return r
		}
	}
	return append(r, Member{"content", content})
}

// ProblemsOf are the kinds of problem that an operation answers with.
func (a API) ProblemsOf(o Operation) []*Kind {
	all := append(slices.Clone(o.Problems), a.Everywhere...)
	if o.Method() != "GET" {
		all = append(all, a.Writing...)
	}
	return all
}

func statusesOf(kinds []*Kind) (statuses []int) {
	for _, k := range kinds {
		statuses = append(statuses, k.Status)
	}
	slices.Sort(statuses)
	return slices.Compact(statuses)
}

// problemResponse are the kinds of one status. A page, and a form that a browser sends by
// itself, are answered with one for people.
func (a API) problemResponse(o Operation, status int) Ordered {
	var says []string
	examples := Ordered{}
	for _, k := range a.ProblemsOf(o) {
		if k.Status == status {
			says = append(says, fmt.Sprintf("`%s%s`: %s", a.KindsAt, k.Name, k.Title))
			examples = append(examples, Member{k.Name, Ordered{{"$ref", "#/components/examples/" + k.Name}}})
		}
	}
	content := Ordered{{problemType, Ordered{{"schema", &Schema{Ref: inComponents + nameOf(reflect.TypeOf(a.Problem))}}, {"examples", examples}}}}
	if !o.IsAPI() || o.Method() != "GET" {
		content = append(content, Member{htmlType, Ordered{{"schema", &Schema{Type: Names{"string"}}}}})
	}
	return Ordered{{"description", strings.Join(says, "; ") + "."}, {"content", content}}
}

// Kinds are those of every operation, each once, in the order of their status.
func (a API) Kinds() (all []*Kind) {
	for _, o := range a.Operations {
		for _, k := range a.ProblemsOf(o) {
			if !slices.Contains(all, k) {
				all = append(all, k)
			}
		}
	}
	slices.SortStableFunc(all, func(x, y *Kind) int { return x.Status - y.Status })
	return all
}

func (a API) kindExamples() Ordered {
	out := Ordered{}
	for _, k := range a.Kinds() {
		value := Ordered{{"type", a.KindsAt + k.Name}, {"title", k.Title}, {"status", k.Status}, {"detail", k.Means}}
		if k.RetryAfterS > 0 {
			value = append(value, Member{"retry_after_s", k.RetryAfterS})
		}
		out = append(out, Member{k.Name, Ordered{{"summary", k.Title}, {"description", k.Means}, {"value", value}}})
	}
	slices.SortFunc(out, func(x, y Member) int { return strings.Compare(x.Name, y.Name) })
	return out
}
