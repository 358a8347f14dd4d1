package api

import (
	"bytes"
	_ "embed" // the comments and the examples
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/view"
)

// openAPIPath is where the document is.
const openAPIPath = "/api/v1/openapi.json"

// The comments of the code about what is answered with, and answers of an invented bench.
// Tests hold both against the code and write them anew with -update.
var (
	//go:embed reference-comments.json
	commentsFile []byte
	//go:embed reference-examples.json
	examplesFile []byte
)

func comments() (words describe.Words) {
	mustRead(commentsFile, &words)
	return words
}

func examples() (answers map[string]json.RawMessage) {
	mustRead(examplesFile, &answers)
	return answers
}

// mustRead reads a file of this program's own, which its tests have read.
func mustRead(file []byte, into any) {
	if err := json.Unmarshal(file, into); err != nil {
		panic(err)
	}
}

// OpenAPI is the description of the API in OpenAPI 3.1, as JSON.
var OpenAPI = sync.OnceValue(func() []byte {
	document, _ := described().Document()
	text, err := json.Marshal(document)
	if err != nil {
		panic(err) // it is made of what can be marshalled
	}
	return append(text, '\n')
})

// Line is one thing that can be asked for.
type Line struct{ Method, Path, Does string }

// Lines are what programs can ask for, in the order of the reference.
func Lines() (all []Line) {
	for _, o := range operations() {
		if o.Group != groupPages {
			all = append(all, Line{o.Method(), o.Path(), o.Does})
		}
	}
	return all
}

func (s *server) openAPI(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Write(OpenAPI())
}

// referencePage is what the template of the reference is filled with.
type referencePage struct {
	head
	About    []template.HTML
	Groups   []referenceGroup
	Types    []referenceType
	Problems []*describe.Kind
	Document string
	From     string
}

// referenceType is a type in words.
type referenceType struct {
	Name   string
	Says   template.HTML
	Fields []referenceTypeField
}

type referenceTypeField struct {
	describe.TypeField
	Words template.HTML
}

type referenceGroup struct {
	Name       string
	Operations []referenceOperation
}

// referenceOperation is an operation in words.
type referenceOperation struct {
	describe.Operation
	Words    template.HTML // of More
	Fields   []referenceField
	Ask      string
	Answers  []referenceAnswer
	Example  string
	Problems []*describe.Kind
}

type referenceField struct {
	describe.Field
	Where, Kind string
}

type referenceAnswer struct {
	describe.Answer
	Type string // of the body, "" without one
}

// referencePage shows the reference: the same description as the document, for people.
func (s *server) referencePage(w http.ResponseWriter, r *http.Request) {
	p := referencePart()
	p.head = s.unitless(r, view.Texts().API, apiPage)
	show(w, http.StatusOK, "api.html", p)
}

// referencePart is what is always the same of it.
var referencePart = sync.OnceValue(func() referencePage {
	a := described()
	p := referencePage{Problems: a.Kinds(), Document: openAPIPath, From: fmt.Sprintf(view.Texts().APIFrom, `curl -H "Authorization: Bearer …" http://bench.example:8420`+"/api/v1/bench")}
	for _, text := range strings.Split(about, "\n\n") {
		p.About = append(p.About, marked(text))
	}
	for _, t := range a.Types() {
		shown := referenceType{Name: t.Name, Says: marked(t.Says)}
		for _, f := range t.Fields {
			shown.Fields = append(shown.Fields, referenceTypeField{f, marked(f.Says)})
		}
		p.Types = append(p.Types, shown)
	}
	for _, name := range a.Groups {
		g := referenceGroup{Name: name}
		for _, o := range a.Operations {
			if o.Group == name {
				g.Operations = append(g.Operations, referenceOperationOf(a, o))
			}
		}
		p.Groups = append(p.Groups, g)
	}
	return p
})

func referenceOperationOf(a describe.API, o describe.Operation) referenceOperation {
	l := view.Texts()
	r := referenceOperation{Operation: o, Words: marked(o.More), Ask: askBy(o), Problems: o.Problems}
	add := func(where string, fields ...describe.Field) {
		for _, f := range fields {
			r.Fields = append(r.Fields, referenceField{f, where, kindWords(f)})
		}
	}
	for _, name := range o.Variables() {
		f := a.Variable(name)
		f.Needed = true
		add(l.InAddress, f)
	}
	add(l.InQuery, o.In...)
	add(l.InForm, o.Form...)
	for _, answer := range o.Answers {
		shown := referenceAnswer{Answer: answer}
		if answer.Body != nil {
			shown.Type, shown.MediaType = describe.TypeOf(answer.Body), "application/json"
		}
		r.Answers = append(r.Answers, shown)
	}
	if example, ok := a.Examples[o.ID()]; ok && r.Answers[0].Type != "" {
		var out bytes.Buffer
		if json.Indent(&out, example, "", "  ") == nil {
			r.Example = out.String()
		}
	}
	return r
}

// kindWords say what a field is written as, and its range.
func kindWords(f describe.Field) string {
	is := [...]string{describe.Text: "text", describe.Whole: "whole number", describe.Number: "number", describe.File: "file"}[f.Is]
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	switch {
	case len(f.Choices) > 0:
		is = strings.Join(f.Choices, ", ")
	case f.Is == describe.Text && f.Most > 0:
		is += ", up to " + number(f.Most) + " letters"
	case f.Most > 0:
		is += " from " + number(f.Least) + " to " + number(f.Most)
	case f.Least > 0:
		is += " from " + number(f.Least)
	}
	if f.Many {
		is += "; more than once if need be"
	}
	return is
}

// exampleOf is the address of a bench that listens where it does by itself.
const exampleOf = "http://127.0.0.1:8420"

// askBy is a command that asks for an operation.
func askBy(o describe.Operation) string {
	target := exampleOf + o.Example(variables())
	query := url.Values{}
	for _, f := range o.In {
		if f.Example != "" && (o.IsAPI() || f.Needed) {
			query.Set(f.Name, f.Example)
		}
	}
	if len(query) > 0 {
		target = "'" + target + "?" + query.Encode() + "'"
	}
	ask := "curl "
	if o.Method() == http.MethodPost {
		ask += "-X POST "
	}
	for _, f := range o.Form {
		switch {
		case f.Is == describe.File:
			ask += "-F " + f.Name + "=@FILE "
		case f.Example != "":
			ask += "--data-urlencode '" + f.Name + "=" + f.Example + "' "
		}
	}
	return ask + target
}

var (
	bold = regexp.MustCompile(`\*\*(.+?)\*\*`)
	code = regexp.MustCompile("`(.+?)`")
)

// marked puts bold words and code of a text of this program into HTML.
func marked(text string) template.HTML {
	text = bold.ReplaceAllString(template.HTMLEscapeString(text), "<b>$1</b>")
	return template.HTML(code.ReplaceAllString(text, "<code>$1</code>"))
}

func referenceOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET " + openAPIPath, Group: groupHealth, Does: "This description, in OpenAPI 3.1",
			Answers: []describe.Answer{{Status: 200, MediaType: "application/json", Says: "The description"}},
		},
		aPage(apiPage, "This reference, for people", nil),
	}
}
