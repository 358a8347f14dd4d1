package api

import (
	"encoding/json"
	"flag"
	"go/ast"
	"go/parser"
	gotoken "go/token"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/describe"
)

// update writes what is made of the code anew: go test ./daemon/api -run Reference -update.
var update = flag.Bool("update", false, "write the comments, the examples and the copy of the description anew")

// TestReferenceCommentsAreThoseOfTheCode: what is said of a type or a field is what its
// comment says, in the names of JSON.
func TestReferenceCommentsAreThoseOfTheCode(t *testing.T) {
	_, wanted := described().Document()
	want := wordsOf(t, wanted)
	text, err := json.MarshalIndent(want, "", "\t")
	require.NoError(t, err)
	if *update {
		require.NoError(t, os.WriteFile("reference-comments.json", append(text, '\n'), 0o644))
		return
	}
	for key, words := range want {
		assert.Equal(t, words, comments()[key], "%s: write it anew with go test ./daemon/api -run ReferenceComments -update", key)
	}
	assert.Len(t, comments(), len(want))
}

// TestReferenceSaysWhatFieldsAre prints how many fields have a comment or a unit.
func TestReferenceSaysWhatFieldsAre(t *testing.T) {
	var doc struct {
		Components struct {
			Schemas map[string]struct {
				Description string
				Properties  map[string]struct {
					Description string
					Ref         string `json:"$ref"`
					Items       struct {
						Ref string `json:"$ref"`
					}
					AnyOf []any
				}
			}
		}
	}
	require.NoError(t, json.Unmarshal(OpenAPI(), &doc))
	all, said := 0, 0
	var bare []string
	for name, s := range doc.Components.Schemas {
		for field, of := range s.Properties {
			if all++; of.Description+of.Ref+of.Items.Ref != "" || len(of.AnyOf) > 0 {
				said++
			} else {
				bare = append(bare, name+"."+field)
			}
		}
	}
	t.Logf("%d types, %d fields, %d of them with words or a unit", len(doc.Components.Schemas), all, said)
	assert.GreaterOrEqual(t, float64(said), 0.97*float64(all), "say what they are in comments: %v", bare)
	for _, d := range describe.Units {
		assert.NotEmpty(t, d.Means)
	}
}

// source is what the code of one package says.
type source struct {
	words   describe.Words // by the type, or type and field
	another map[string]string
	values  map[string][]string // of named texts
	// groups are the fields that share a comment, by each of them.
	groups map[string][]string
}

// wordsOf are the comments that are wanted, by describe.KeyOf.
func wordsOf(t *testing.T, wanted []describe.Wanted) describe.Words {
	names, sources, out := jsonNames(wanted), map[string]source{}, describe.Words{}
	for _, w := range wanted {
		s, ok := sources[w.Type.PkgPath()]
		if !ok {
			s = read(t, w.Type.PkgPath())
			sources[w.Type.PkgPath()] = s
		}
		key := w.Type.Name()
		if other := s.another[key]; other != "" {
			key = other
		}
		if w.Field != "" {
			key += "." + w.Field
		}
		words := spoken(s.words[key], w, s.groups[key], names)
		if values := s.values[key]; w.Field == "" && len(values) > 0 {
			words = "One of: `" + strings.Join(values, "`, `") + "`."
		}
		if words != "" {
			out[describe.KeyOf(w.Type, w.Field)] = words
		}
	}
	return out
}

// jsonNames are the names that fields have in JSON, by those that they have in Go. One that
// means several things is left out.
func jsonNames(wanted []describe.Wanted) map[string]string {
	names := map[string]string{}
	for _, w := range wanted {
		if w.Field == "" {
			continue
		}
		name := jsonName(w.Type, w.Field)
		if was, ok := names[w.Field]; ok && was != name {
			name = ""
		}
		names[w.Field] = name
	}
	return names
}

func jsonName(t reflect.Type, field string) string {
	f, _ := t.FieldByName(field)
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

var (
	isOrAre = regexp.MustCompile(`^\w+ (is|are) `)
	first   = regexp.MustCompile(`^[A-Za-z]+ `)
	goName  = regexp.MustCompile(`\b(?:[A-Za-z]+\.)?([A-Z]\w*[a-z]\w*[A-Z]\w*)\b`)
	asInGo  = strings.NewReplacer(`"" is `, "empty is ", `""`, "empty", " nil ", " null ")
)

// spoken is a comment as it reads without the code.
func spoken(words string, w describe.Wanted, group []string, names map[string]string) string {
	words = asInGo.Replace(strings.TrimSpace(spaces.ReplaceAllString(words, " ")))
	for _, field := range group {
		words = regexp.MustCompile(`\b`+field+`\b`).ReplaceAllString(words, "`"+jsonName(w.Type, field)+"`")
	}
	switch {
	case len(group) > 0:
	case isOrAre.MatchString(words):
		words = isOrAre.ReplaceAllString(words, "")
	case w.Field == "":
		words = first.ReplaceAllString(words, "it ")
	case strings.HasPrefix(words, w.Field+" "):
		words = "`" + jsonName(w.Type, w.Field) + "`" + strings.TrimPrefix(words, w.Field)
	}
	return goName.ReplaceAllStringFunc(words, func(found string) string {
		if name := names[goName.FindStringSubmatch(found)[1]]; name != "" {
			return "`" + name + "`"
		}
		return found
	})
}

// read reads the code of a package of this module.
func read(t *testing.T, path string) source {
	s := source{describe.Words{}, map[string]string{}, map[string][]string{}, map[string][]string{}}
	files, err := filepath.Glob(filepath.Join("..", "..", strings.TrimPrefix(path, "meltwarden/"), "*.go"))
	require.NoError(t, err)
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		parsed, err := parser.ParseFile(gotoken.NewFileSet(), file, nil, parser.ParseComments|parser.SkipObjectResolution)
		require.NoError(t, err)
		for _, d := range parsed.Decls {
			if g, ok := d.(*ast.GenDecl); ok {
				s.add(g)
			}
		}
	}
	return s
}

func (s source) add(g *ast.GenDecl) {
	for _, spec := range g.Specs {
		switch spec := spec.(type) {
		case *ast.TypeSpec:
			s.addType(spec, g.Doc)
		case *ast.ValueSpec:
			of, ok := spec.Type.(*ast.Ident)
			if !ok || g.Tok != gotoken.CONST || len(spec.Values) != 1 {
				continue
			}
			if value, ok := spec.Values[0].(*ast.BasicLit); ok && value.Kind == gotoken.STRING {
				text, _ := strconv.Unquote(value.Value)
				s.values[of.Name] = append(s.values[of.Name], text)
			}
		}
	}
}

func (s source) addType(spec *ast.TypeSpec, of *ast.CommentGroup) {
	s.words[spec.Name.Name] = of.Text()
	switch made := spec.Type.(type) {
	case *ast.Ident:
		s.another[spec.Name.Name] = made.Name
	case *ast.StructType:
		s.addFields(spec.Name.Name+".", made.Fields.List)
	}
}

// addFields adds what is said of fields. A comment above one that names those below it,
// which have none of their own, is about them as well.
func (s source) addFields(of string, fields []*ast.Field) {
	var group []string
	above := ""
	for _, f := range fields {
		if f.Tag != nil && strings.Contains(f.Tag.Value, `json:"-"`) {
			continue
		}
		words := f.Doc.Text() + " " + f.Comment.Text()
		if f.Doc != nil {
			above, group = f.Doc.Text(), nil
		}
		for _, name := range f.Names {
			s.words[of+name.Name] = words
			if !regexp.MustCompile(`\b`+name.Name+`\b`).MatchString(above) || f.Doc == nil && f.Comment != nil {
				continue
			}
			s.words[of+name.Name] = above
			if group = append(group, name.Name); len(group) < 2 {
				continue
			}
			for _, one := range group {
				s.groups[of+one] = group
			}
		}
	}
}
