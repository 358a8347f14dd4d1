package api

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// copyOfV1 is what v1 has promised: the description without its words.
var copyOfV1 = filepath.Join("testdata", "openapi-v1.json")

type object = map[string]any

// TestReferenceKeepsItsPromise: nothing that v1 had goes away or changes its type. What was
// added is written to the copy with -update; what breaks the promise is not.
func TestReferenceKeepsItsPromise(t *testing.T) {
	now := withoutWords(t)
	kept, err := os.ReadFile(copyOfV1)
	if err == nil {
		var was object
		require.NoError(t, json.Unmarshal(kept, &was))
		require.Empty(t, broken(was, now), "v1 has promised that")
	}
	text, err := json.MarshalIndent(now, "", " ")
	require.NoError(t, err)
	text = append(text, '\n')
	if *update {
		require.NoError(t, os.WriteFile(copyOfV1, text, 0o644))
		return
	}
	assert.True(t, string(text) == string(kept), "something was added: write it down with go test ./daemon/api -run ReferenceKeeps -update")
	t.Logf("the description has %d bytes, without its words %d", len(OpenAPI()), len(text))
}

// withoutWords is the description as it binds programs.
func withoutWords(t *testing.T) object {
	var document object
	require.NoError(t, json.Unmarshal(OpenAPI(), &document))
	document["info"] = object{"title": "Meltwarden", "version": "1"}
	kinds := object{}
	for name := range at(document, "components", "examples") {
		kinds[name] = object{}
	}
	dropWords(document)
	at(document, "components")["examples"] = kinds
	return document
}

func dropWords(v any) {
	switch v := v.(type) {
	case []any:
		for _, each := range v {
			dropWords(each)
		}
	case object:
		for name, each := range v {
			if _, text := each.(string); name == "example" || name == "examples" || text && (name == "description" || name == "summary") {
				delete(v, name)
				continue
			}
			dropWords(each)
		}
	}
}

// at goes down an object; what is not there is empty.
func at(v object, names ...string) object {
	for _, name := range names {
		v, _ = v[name].(object)
	}
	return v
}

// breaks collects what a change takes from whoever relies on the old description.
type breaks struct {
	old, now object
	said     []string
}

func broken(old, now object) []string {
	b := &breaks{old: old, now: now}
	for path, methods := range at(old, "paths") {
		for method := range methods.(object) {
			b.operation(method+" "+path, at(old, "paths", path, method), at(now, "paths", path, method))
		}
	}
	for kind := range at(old, "components", "examples") {
		if at(now, "components", "examples", kind) == nil {
			b.say("the kind of problem %s is gone", kind)
		}
	}
	slices.Sort(b.said)
	return b.said
}

func (b *breaks) say(format string, args ...any) {
	b.said = append(b.said, fmt.Sprintf(format, args...))
}

func (b *breaks) operation(name string, old, now object) {
	if now == nil {
		b.say("%s is gone", name)
		return
	}
	was, is := parameters(old), parameters(now)
	for p := range was {
		if is[p] == nil {
			b.say("%s: the parameter %s is gone", name, p)
			continue
		}
		b.taken(name+" "+p, at(was[p], "schema"), at(is[p], "schema"))
	}
	for p := range is {
		if is[p]["required"] == true && (was[p] == nil || was[p]["required"] != true) {
			b.say("%s: the parameter %s has to be sent", name, p)
		}
	}
	for media := range at(old, "requestBody", "content") {
		b.form(name, at(old, "requestBody", "content", media, "schema"), at(now, "requestBody", "content", media, "schema"))
	}
	for status := range at(old, "responses") {
		for media := range at(old, "responses", status, "content") {
			if at(now, "responses", status, "content", media) == nil {
				b.say("%s: the answer %s as %s is gone", name, status, media)
				continue
			}
			b.given(name+" "+status, at(old, "responses", status, "content", media, "schema"), at(now, "responses", status, "content", media, "schema"), nil)
		}
	}
}

func parameters(operation object) map[string]object {
	all := map[string]object{}
	list, _ := operation["parameters"].([]any)
	for _, p := range list {
		p := p.(object)
		all[fmt.Sprint(p["in"], " ", p["name"])] = p
	}
	return all
}

func (b *breaks) form(name string, old, now object) {
	for field := range at(old, "properties") {
		if at(now, "properties", field) == nil {
			b.say("%s: the field %s is gone", name, field)
			continue
		}
		b.taken(name+" "+field, at(old, "properties", field), at(now, "properties", field))
	}
	for _, field := range listed(now["required"]) {
		if !slices.Contains(listed(old["required"]), field) {
			b.say("%s: the field %s has to be sent", name, field)
		}
	}
}

// taken is what is sent: whatever could be sent still can.
func (b *breaks) taken(name string, old, now object) {
	for _, t := range listed(old["type"]) {
		if is := listed(now["type"]); !slices.Contains(is, t) && !(t == "integer" && slices.Contains(is, "number")) {
			b.say("%s: takes no %s", name, t)
		}
	}
	choices := listed(now["enum"])
	for _, c := range listed(old["enum"]) {
		if len(choices) > 0 && !slices.Contains(choices, c) {
			b.say("%s: takes no %q", name, c)
		}
	}
	if len(choices) > 0 && len(listed(old["enum"])) == 0 {
		b.say("%s: takes no free text", name)
	}
	for _, bound := range []struct {
		name string
		side float64
	}{{"minimum", -1}, {"maximum", 1}, {"maxLength", 1}} {
		if to, is := now[bound.name].(float64); is {
			if from, was := old[bound.name].(float64); !was || bound.side*to < bound.side*from {
				b.say("%s: its %s is narrower", name, bound.name)
			}
		}
	}
}

// given is what is answered: all that came still comes, and is what it was.
func (b *breaks) given(name string, old, now object, under []string) {
	oldRef, old := resolved(b.old, old)
	_, now = resolved(b.now, now)
	if slices.Contains(under, oldRef) {
		return
	}
	if oldRef != "" {
		under = append(slices.Clone(under), oldRef)
	}
	for _, t := range listed(now["type"]) {
		if was := listed(old["type"]); !slices.Contains(was, t) && !(t == "integer" && slices.Contains(was, "number")) {
			b.say("%s: may be %s", name, t)
		}
	}
	if len(listed(old["type"])) > 0 && len(listed(now["type"])) == 0 {
		b.say("%s: may be anything", name)
	}
	if f := old["format"]; f != nil && f != now["format"] {
		b.say("%s: is no %s any more", name, f)
	}
	for _, field := range slices.Sorted(maps.Keys(at(old, "properties"))) {
		if at(now, "properties", field) == nil {
			b.say("%s: %s is gone", name, field)
			continue
		}
		if slices.Contains(listed(old["required"]), field) && !slices.Contains(listed(now["required"]), field) {
			b.say("%s: %s may be left out", name, field)
		}
		b.given(name+"."+field, at(old, "properties", field), at(now, "properties", field), under)
	}
	for _, inside := range []string{"items", "additionalProperties"} {
		if at(old, inside) != nil {
			b.given(name+"[]", at(old, inside), at(now, inside), under)
		}
	}
}

// resolved is the schema that is meant, with "null" among its types where it may be null.
func resolved(document, schema object) (ref string, is object) {
	null := false
	if any, _ := schema["anyOf"].([]any); len(any) == 2 {
		schema, null = any[0].(object), true
	}
	if ref, _ = schema["$ref"].(string); ref != "" {
		schema = at(document, "components", "schemas", strings.TrimPrefix(ref, "#/components/schemas/"))
	}
	if null {
		schema = maps.Clone(schema)
		schema["type"] = append([]any{"null"}, asList(schema["type"])...)
	}
	return ref, schema
}

func asList(v any) []any {
	switch v := v.(type) {
	case nil:
		return nil
	case []any:
		return v
	}
	return []any{v}
}

// listed are texts of which there may be one alone.
func listed(v any) (all []string) {
	for _, each := range asList(v) {
		all = append(all, fmt.Sprint(each))
	}
	return all
}

// TestReferenceTellsWhatBreaksIt: a copy with less, or with something else, is told from one
// with more.
func TestReferenceTellsWhatBreaksIt(t *testing.T) {
	schema := func(d object, name string) object { return at(d, "components", "schemas", name, "properties") }
	for says, change := range map[string]func(d object){
		"get /api/v1/bench is gone":                           func(d object) { delete(at(d, "paths"), "/api/v1/bench") },
		"post /api/v1/shot is gone":                           func(d object) { delete(at(d, "paths", "/api/v1/shot"), "post") },
		"get /api/v1/bench 200.pots[]: melt_c is gone":        func(d object) { delete(schema(d, "view.Pot"), "melt_c") },
		"get /api/v1/bench 200.pots[].melt_c: may be string":  func(d object) { at(schema(d, "view.Pot"), "melt_c")["type"] = "string" },
		"get /api/v1/bench 200.pots[].number: may be null":    func(d object) { at(schema(d, "view.Pot"), "number")["type"] = []any{"integer", "null"} },
		"get /api/v1/trend: the parameter query rows is gone": func(d object) { delete(at(d, "paths", "/api/v1/trend", "get"), "parameters") },
		"the kind of problem queue-full is gone":              func(d object) { delete(at(d, "components", "examples"), "queue-full") },
		"post /api/v1/shot: the field mould has to be sent":   func(d object) { shotForm(d)["required"] = []any{"mould"} },
		"post /api/v1/shot mould: its maxLength is narrower":  func(d object) { at(shotForm(d), "properties", "mould")["maxLength"] = 20.0 },
		"get /api/v1/runs/{run}/shots/{shot}/why: the answer 200 as application/json is gone": func(d object) {
			delete(at(d, "paths", "/api/v1/runs/{run}/shots/{shot}/why", "get", "responses", "200", "content"), "application/json")
		},
	} {
		now := withoutWords(t)
		change(now)
		assert.Contains(t, broken(withoutWords(t), now), says)
	}
	more := withoutWords(t)
	at(more, "paths")["/api/v1/more"] = object{"get": object{}}
	schema(more, "view.Pot")["more"] = object{"type": "string"}
	at(shotForm(more), "properties")["more"] = object{"type": "string"}
	assert.Empty(t, broken(withoutWords(t), more))
}

func shotForm(d object) object {
	return at(d, "paths", "/api/v1/shot", "post", "requestBody", "content", "application/x-www-form-urlencoded", "schema")
}
