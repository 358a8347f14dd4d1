package describe

import (
	"slices"
	"strings"
)

// Operation is one thing that can be asked of the API.
type Operation struct {
	// Route is the pattern of the mux that answers: a method and a path.
	Route string
	// Fixed fills variables of the path, where a route does several things: each of them
	// is an operation.
	Fixed map[string]string
	// Group is the heading that it stands under.
	Group string
	// Does says what it does, in a line; More what else there is to know.
	Does, More string
	// In are the parameters of the address, Form the fields of the body. Those of the path
	// are known by their names.
	In, Form []Field
	// HereOnly says that only the bench's own computer may ask.
	HereOnly bool
	Answers  []Answer
	// Problems are the kinds of problem that it answers with, beside those of any address.
	Problems []*Kind
}

// Field is a parameter or a field of a form.
type Field struct {
	Name, Says string
	Is         Is
	// Example is a value as it is written.
	Example string
	Needed  bool
	// Many fields may have this name.
	Many bool
	// Least and Most are the range of a number, both zero where it has none; Most is the
	// number of letters of a text, zero for any.
	Least, Most float64
	Choices     []string
}

// Is is what a field is written as.
type Is int

// What a field can be written as: a text is one unless something else is said.
const (
	Text Is = iota
	Whole
	Number
	File
)

// Answer is one that is no problem.
type Answer struct {
	Status int
	// MediaType is that of the body, "" where there is none; JSON where Body is set.
	MediaType string
	// Body is a value of the type that is answered with.
	Body any
	Says string
}

// Kind is a kind of problem (RFC 9457): its name is the anchor of what the reference says
// about it.
type Kind struct {
	Name, Title string
	Status      int
	// Means says when it is answered, and what to do.
	Means string
	// RetryAfterS is after how many seconds to ask again; zero says nothing of it.
	RetryAfterS int
	// Members are what a problem of this kind may have beside those of every one.
	Members []string
}

// Method is the method of the route.
func (o Operation) Method() string { return strings.Fields(o.Route)[0] }

// Path is the path, in which every variable that is not fixed stands in braces.
func (o Operation) Path() string {
	path := strings.TrimSuffix(strings.Fields(o.Route)[1], "{$}")
	for name, value := range o.Fixed {
		path = strings.ReplaceAll(path, "{"+name+"}", value)
	}
	return path
}

// ID is a name for programs: the method, or that it is a page, and the words of the path.
func (o Operation) ID() string {
	first := strings.ToLower(o.Method())
	if !o.IsAPI() && o.Method() == "GET" {
		first = "page"
	}
	words := strings.FieldsFunc(strings.TrimPrefix(o.Path(), "/api/v1"), func(r rune) bool { return strings.ContainsRune("/-.{}", r) })
	return strings.Join(append([]string{first}, words...), "-")
}

// IsAPI reports whether it is for programs: the others are pages and their parts.
func (o Operation) IsAPI() bool { return strings.HasPrefix(o.Path(), "/api/") }

// Variables are the names in braces in the path.
func (o Operation) Variables() (names []string) {
	for _, part := range strings.Split(o.Path(), "/") {
		if name, ok := strings.CutPrefix(part, "{"); ok {
			names = append(names, strings.TrimSuffix(name, "}"))
		}
	}
	return names
}

// Example is the path with an example in place of each variable.
func (o Operation) Example(variables []Field) string {
	path := o.Path()
	for _, f := range variables {
		path = strings.ReplaceAll(path, "{"+f.Name+"}", f.Example)
	}
	return path
}

// takesFile reports whether the form has a file, and is sent as one.
func (o Operation) takesFile() bool {
	return slices.ContainsFunc(o.Form, func(f Field) bool { return f.Is == File })
}
