package api

import (
	"bufio"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// TestReferencePage is whole without script: all that it leads to within itself is there,
// every kind of problem among it, since a problem's type leads there.
func TestReferencePage(t *testing.T) {
	h, _ := published(holding())
	a := do(h, request("GET", "/api"))
	body, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, a.StatusCode)
	page := string(body)
	for _, to := range regexp.MustCompile(`href="#([^"]+)"`).FindAllStringSubmatch(page, -1) {
		assert.Equal(t, 1, strings.Count(page, ` id="`+to[1]+`"`), to[1])
	}
	for _, k := range described().Kinds() {
		assert.Contains(t, page, ` id="`+k.Name+`"`)
	}
	for _, op := range operations() {
		assert.Contains(t, page, "<code>"+op.Method()+" "+op.Path()+"</code>")
	}
	assert.NotContains(t, page, "`")
	assert.Equal(t, 2, strings.Count(page, "<script"), "those of every page")
	requireAll(t, page, "The promise of v1.", "curl -X POST --data-urlencode &#39;setpoint=170 C&#39; http://127.0.0.1:8420/api/v1/pots/2/setpoint", "degrees Celsius")
}

// TestProblemsKeepToTheirStandard: RFC 9457. Section 3.1.1: a relative type has the full
// path, so that it means the same wherever the problem was met, and leads to what explains
// it. 3.1.2: the member status is that of HTTP. 3.1.3: a title stays the same. 3.2: names of
// members begin with a letter, are of letters, digits and "_", and have three characters.
func TestProblemsKeepToTheirStandard(t *testing.T) {
	titles := map[string]bool{}
	for _, k := range described().Kinds() {
		assert.Regexp(t, `^[a-z]+(-[a-z]+)*$`, k.Name)
		assert.False(t, titles[k.Title], k.Title)
		titles[k.Title] = true
		assert.True(t, k.Status >= 400 && k.Status < 600 && k.Means != "", k.Name)
		to, err := url.Parse(described().KindsAt + k.Name)
		require.NoError(t, err)
		met, err := url.Parse("http://bench.example/api/v1/runs/7/shots/1/why?beside=2/1")
		require.NoError(t, err)
		assert.Equal(t, "http://bench.example/api#"+k.Name, met.ResolveReference(to).String())
	}
	for _, of := range []reflect.Type{reflect.TypeFor[members](), reflect.TypeFor[Mistake]()} {
		for i := range of.NumField() {
			name, _, _ := strings.Cut(of.Field(i).Tag.Get("json"), ",")
			assert.Regexp(t, `^[A-Za-z][A-Za-z0-9_]{2,}$`, name)
		}
	}
}

// TestProblemsSayWhatAProgramNeeds: which field, what was there, what to write, when to ask
// again, and every mistake of a recipe.
func TestProblemsSayWhatAProgramNeeds(t *testing.T) {
	problemOf := func(h http.Handler, r *http.Request) (p Problem) {
		a := do(h, r)
		require.Equal(t, problemMedia, a.Header.Get("Content-Type"))
		require.NoError(t, json.NewDecoder(a.Body).Decode(&p))
		assert.Equal(t, a.StatusCode, p.Status)
		return p
	}
	h, _ := published(holding())
	p := problemOf(h, form("/api/v1/pots/1/setpoint", url.Values{"setpoint": {"170"}}))
	assert.Equal(t, "/api#wrong-field", p.Type)
	assert.Equal(t, "setpoint", p.Field)
	require.NotNil(t, p.Value)
	assert.Equal(t, "170", *p.Value)
	assert.Contains(t, p.Fix, `"170 C"`)
	p = problemOf(h, request("GET", "/api/v1/trend?rows=some"))
	assert.Equal(t, "rows", p.Field)
	assert.Equal(t, `rows "some": write a whole number from 1 to 7200`, p.Detail)
	assert.Equal(t, "text", problemOf(h, form("/api/v1/note", nil)).Field)
	do(h, request("POST", "/api/v1/off"))
	assert.Equal(t, 1, problemOf(h, request("POST", "/api/v1/off")).RetryAfterS)

	kept, _, v := keeping(t)
	p = problemOf(kept, form("/api/v1/recipes/"+v.Fingerprint+"/change", url.Values{"colours[2].setpoint": {"169"}, "colours[1].band": {"wide"}}))
	assert.Equal(t, "/api#wrong-recipe", p.Type)
	require.Len(t, p.Problems, 2)
	for _, m := range p.Problems {
		assert.NotEmpty(t, m.Field+m.Value)
		assert.NotEmpty(t, m.Fix)
	}
}

// TestMarksAreStreamed: what enters the history comes as an event of its own, once, and
// what was there before does not.
func TestMarksAreStreamed(t *testing.T) {
	s := opened(t)
	e := begun(t, s, time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC), string(config.DemoRecipe().Typed))
	e.pass([]history.Event{{Kind: history.Stirred, Pot: 1}}, nil, "")
	require.Eventually(t, func() bool { all, err := s.Events(1); return err == nil && len(all) == 1 }, time.Minute, time.Millisecond)
	hub := &frames.Hub{}
	hub.Publish(holding())
	o, _ := options(hub)
	o.History = s
	server := httptest.NewServer(New(o))
	defer server.Close()
	a, err := server.Client().Get(server.URL + "/api/v1/events")
	require.NoError(t, err)
	defer a.Body.Close()
	lines := bufio.NewScanner(a.Body)
	lines.Buffer(nil, 1<<20)
	require.True(t, lines.Scan())
	require.Equal(t, "retry: 1000", lines.Text())
	e.pass([]history.Event{{Kind: history.Note, Pot: history.WholeBench, Text: "draught"}, {Kind: history.Drawn, Pot: 2, Amount: "60 mL"}}, nil, "")
	var got []string
	for len(got) < 2 && lines.Scan() {
		if lines.Text() == "event: mark" && lines.Scan() {
			got = append(got, strings.TrimPrefix(lines.Text(), "data: "))
		}
	}
	require.Len(t, got, 2)
	var note, drawn struct {
		Kind, Text, Amount string
		Pot                int
	}
	require.NoError(t, json.Unmarshal([]byte(got[0]), &note))
	require.NoError(t, json.Unmarshal([]byte(got[1]), &drawn))
	assert.Equal(t, "note draught", note.Kind+" "+note.Text)
	assert.Equal(t, "drawn 60 mL", drawn.Kind+" "+drawn.Amount)
	assert.Equal(t, 3, drawn.Pot)
	e.end()
}
