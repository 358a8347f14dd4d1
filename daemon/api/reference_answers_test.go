package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/plan"
)

// closed is a validator, not ours, of the description in which no object has more members
// than are described.
var closed = sync.OnceValue(func() validator.Validator {
	var document any
	if err := json.Unmarshal(OpenAPI(), &document); err != nil {
		panic(err)
	}
	closeObjects(document)
	text, err := json.Marshal(document)
	if err != nil {
		panic(err)
	}
	read, err := libopenapi.NewDocument(text)
	if err != nil {
		panic(err)
	}
	v, errs := validator.NewValidator(read)
	if len(errs) > 0 {
		panic(errs)
	}
	return v
})

func closeObjects(v any) {
	switch v := v.(type) {
	case []any:
		for _, each := range v {
			closeObjects(each)
		}
	case map[string]any:
		if _, has := v["properties"].(map[string]any); has && v["type"] == "object" {
			v["additionalProperties"] = false
		}
		for _, each := range v {
			closeObjects(each)
		}
	}
}

// undescribed are what answers of this package's tests had that the description does not
// let them have; heldAgainst is how many were held against it.
var (
	undescribed []string
	heldAgainst int
	kindsMet    = map[string]bool{}
	whileHeld   sync.Mutex
)

// TestMain fails where any answer, of whatever test, was not as it is described, and ends
// the browser that they share.
func TestMain(m *testing.M) {
	code := m.Run()
	for _, u := range undescribed {
		fmt.Println("not as described:", u)
		code = 1
	}
	if testing.Verbose() {
		fmt.Printf("%d answers were held against the description; %d of %d kinds of problem met\n", heldAgainst, len(kindsMet), len(described().Kinds()))
	}
	if err := tabs.Stop(); err != nil {
		fmt.Println("the browser of the tests:", err)
		code = 1
	}
	os.Exit(code)
}

// asDescribed holds an answer against the description.
func asDescribed(r *http.Request, a *http.Response) *http.Response {
	body, err := io.ReadAll(a.Body)
	if err != nil {
		panic(err)
	}
	if a.Header.Get("Content-Encoding") != "" { // the same, packed
		a.Body = io.NopCloser(bytes.NewReader(body))
		return a
	}
	// What the mux itself refuses is no operation.
	var p Problem
	blank := json.Unmarshal(body, &p) == nil && p.Type == "about:blank" && (p.Status == http.StatusNotFound || p.Status == http.StatusMethodNotAllowed)
	whileHeld.Lock()
	defer whileHeld.Unlock()
	if !blank {
		a.Body = io.NopCloser(bytes.NewReader(body))
		undescribed = append(undescribed, misfitsOf(r, a)...)
		heldAgainst++
		if strings.HasPrefix(p.Type, apiPage+"#") {
			kindsMet[p.Type] = true
			if r.Pattern != "" && !mayAnswer(r, p.Type) {
				undescribed = append(undescribed, fmt.Sprintf("%s %s: may not answer %s", r.Method, r.URL, p.Type))
			}
		}
	}
	a.Body = io.NopCloser(bytes.NewReader(body))
	return a
}

// mayAnswer reports whether a kind of problem is described for the operation that answered.
func mayAnswer(r *http.Request, kind string) bool {
	a := described()
	return slices.ContainsFunc(a.Operations, func(op describe.Operation) bool {
		for _, value := range op.Fixed {
			if !strings.HasSuffix(r.URL.Path, "/"+value) && kind != "/api#no-such-mark" && kind != "/api#no-such-alarm" {
				return false
			}
		}
		return op.Route == r.Pattern && slices.ContainsFunc(a.ProblemsOf(op), func(k *describe.Kind) bool { return a.KindsAt+k.Name == kind })
	})
}

// misfitsOf are what an answer has that the description does not let it have.
func misfitsOf(r *http.Request, a *http.Response) (all []string) {
	_, wrong := closed().ValidateHttpResponse(r, a)
	for _, w := range wrong {
		// To what is not there, who may not come in gets no other answer than to what is.
		if a.StatusCode >= 400 && (w.IsPathMissingError() || w.IsOperationMissingError()) {
			continue
		}
		all = append(all, fmt.Sprintf("%s %s: %d: %s: %s", r.Method, r.URL, a.StatusCode, w.Message, w.Reason))
		for _, s := range w.SchemaValidationErrors {
			all = append(all, fmt.Sprintf("  %s %s", s.KeywordLocation, s.Reason))
		}
	}
	return all
}

const problemMedia = "application/problem+json"

func TestReferenceIsOpenAPI(t *testing.T) {
	ok, wrong := closed().ValidateDocument()
	for _, w := range wrong {
		t.Error(w.Message, w.Reason, w.SchemaValidationErrors)
	}
	assert.True(t, ok)
}

// TestReferenceHasEveryRoute, and none that there is not.
func TestReferenceHasEveryRoute(t *testing.T) {
	o, _ := options(&frames.Hub{})
	s := &server{Options: o}
	var routes, described []string
	for _, r := range s.routes() {
		routes = append(routes, r.pattern)
	}
	ids := map[string]bool{}
	for _, op := range operations() {
		described = append(described, op.Route)
		assert.False(t, ids[op.ID()], "two operations are %s", op.ID())
		ids[op.ID()] = true
		assert.Contains(t, groups(), op.Group, op.Route)
	}
	slices.Sort(routes)
	slices.Sort(described)
	assert.Equal(t, routes, slices.Compact(described))
	for k := control.Stir; int(k) < 64; k++ {
		if name := k.String(); name != "unknown" && k.NeedsPot() {
			assert.True(t, ids["post-pots-pot-"+name], "the mark %s is not described", name)
		}
	}
}

// everything is a handler over all that the reference gives examples of: two evenings, one
// of them with an attempt, and a bench with alarms.
func everything(t *testing.T) (h http.Handler, hub *frames.Hub, queue chan history.Mark) {
	hub = &frames.Hub{}
	o, queue := options(hub)
	o.History = twoEvenings(t)
	var wanted plan.Wanted
	o.Plan = planned(t, &wanted)
	var err error
	o.Bench, err = config.DemoBench(nil)
	require.NoError(t, err)
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{{Code: guard.MeltNoisy, Pot: 1, Severity: guard.Warning, Active: true}}})
	o.Settings.Limits.MeltTripC = 190
	for i := range o.Settings.Pots {
		o.Settings.Pots[i].PlateLimitC = 230
	}
	o.Trend.Add(holding())
	o.Phones, o.Listen = phone.Open(t.TempDir()), "192.0.2.7:8420" // RFC 5737
	t.Cleanup(func() { require.NoError(t, o.Phones.Close()) })
	return New(o), hub, queue
}

// byExample is a request by the examples of an operation.
func byExample(t *testing.T, op describe.Operation, archive []byte) *http.Request {
	query, fields := url.Values{}, url.Values{}
	for _, f := range op.In {
		if f.Example != "" {
			query.Set(f.Name, f.Example)
		}
	}
	for _, f := range op.Form {
		if f.Example != "" {
			fields.Set(f.Name, f.Example)
		}
		if f.Is == describe.File {
			file := archive
			if f.Name == "photo" {
				file = aPicture(t)
			}
			return withFile(t, op.Example(variables()), f.Name, file)
		}
	}
	target := op.Example(variables())
	if len(query) > 0 {
		target += "?" + query.Encode()
	}
	if op.Method() == http.MethodGet {
		return request(op.Method(), target)
	}
	return form(target, fields)
}

// order lets some go after others: what changes nothing first, what takes back last.
func order(op describe.Operation) int {
	switch id := op.ID(); {
	case strings.Contains(id, "-batches-batch"), id == "get-phones":
		return 2
	case op.Method() == http.MethodGet && !strings.Contains(id, "photo") && id != "get-attempts":
		return 0
	case strings.HasSuffix(id, "-end"), strings.HasSuffix(id, "take-back"), strings.HasSuffix(id, "-revoke"), strings.HasSuffix(id, "-back"):
		return 3
	case op.Method() == http.MethodGet || strings.Contains(id, "verdict"):
		return 2
	}
	return 1
}

// TestReferenceByItsExamples asks for every operation as its examples say: all of them
// are taken and answered as described, by a validator of the description that is not ours.
// Then the same from elsewhere, with too much, and with what there is not.
func TestReferenceByItsExamples(t *testing.T) {
	h, hub, queue := everything(t)
	all := operations()
	slices.SortStableFunc(all, func(a, b describe.Operation) int { return order(a) - order(b) })
	answers, statuses := map[string]json.RawMessage{}, map[int]int{}
	see := func(op describe.Operation, r *http.Request) (int, []byte) {
		f := holding() // live however long the test takes
		f.Pots[1].CanBeTried = true
		for i := range f.Pots[1].Said {
			f.Pots[1].Said[i].Can = true
		}
		hub.Publish(f)
		a := do(h, r)
		for len(queue) > 0 {
			<-queue
		}
		body, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		statuses[a.StatusCode]++
		return a.StatusCode, body
	}
	var archive []byte
	for _, op := range all {
		switch op.ID() {
		case "get-events", // it does not end; TestMarksAreStreamed has it
			"post-pair": // from another computer, with a code; the tests of phones have it
			continue
		case "post-pots-pot-hand-reading": // of a pot that has no melt probe
			hand, _ := published(handFrame())
			a := do(hand, form("/api/v1/pots/2/hand-reading", url.Values{"reading": {"152 C"}}))
			assert.Equal(t, http.StatusAccepted, a.StatusCode)
			continue
		}
		r := byExample(t, op, archive)
		sent := r.Clone(t.Context())
		if body := r.Body; body != nil {
			text, _ := io.ReadAll(body)
			r.Body, sent.Body = io.NopCloser(bytes.NewReader(text)), io.NopCloser(bytes.NewReader(text))
		}
		_, wrong := closed().ValidateHttpRequest(sent)
		for _, w := range wrong {
			t.Errorf("%s: %s: %s", op.ID(), w.Message, w.Reason)
		}
		status, body := see(op, r)
		assert.Less(t, status, 400, "%s: %s", op.ID(), body)
		if op.ID() == "page-keeping-runs-sqlite" {
			archive = body
		}
		if op.Answers[0].Body != nil && json.Valid(body) {
			answers[op.ID()] = trimmed(t, body)
		}
	}
	for _, op := range all {
		target := op.Example(variables())
		elsewhere := request(op.Method(), target, "Host: bench.example")
		elsewhere.RemoteAddr = "192.0.2.7:50000" // RFC 5737
		large := request(op.Method(), target)
		large.ContentLength = 1 << 40
		status, _ := see(op, elsewhere)
		if deedOf(op.Route, "") != openToAll {
			assert.Equal(t, http.StatusUnauthorized, status, op.ID())
		}
		see(op, large)
		see(op, request(op.Method(), target, "Host: other.example"))
		if op.Method() != http.MethodGet {
			status, _ = see(op, request(op.Method(), target, "Sec-Fetch-Site: cross-site"))
			assert.Equal(t, http.StatusForbidden, status, op.ID())
		}
		if op.HereOnly {
			afar := request(op.Method(), target, "X-Forwarded-For: 192.0.2.7")
			status, _ = see(op, afar)
			assert.Equal(t, http.StatusForbidden, status, op.ID())
		}
		for _, name := range op.Variables() {
			strange := variables()
			for i := range strange {
				if strange[i].Name == name {
					strange[i].Example = "99"
				}
			}
			if op.ID() != "get-events" {
				see(op, request(op.Method(), op.Example(strange)))
			}
		}
	}
	t.Logf("%d operations; answers by status %v", len(all), statuses)
	compareExamples(t, answers)
}

// compareExamples holds the examples of the reference against what has been answered: the
// same operations have one.
func compareExamples(t *testing.T, answers map[string]json.RawMessage) {
	if *update {
		text, err := json.MarshalIndent(answers, "", "\t")
		require.NoError(t, err)
		require.NoError(t, os.WriteFile("reference-examples.json", append(text, '\n'), 0o644))
		return
	}
	for id := range answers {
		assert.Contains(t, examples(), id, "write it anew with go test ./daemon/api -run ReferenceByItsExamples -update")
	}
	assert.Len(t, examples(), len(answers))
}

// trimmed is an answer with a few of each list, so that it can be read.
func trimmed(t *testing.T, body []byte) json.RawMessage {
	var v any
	require.NoError(t, json.Unmarshal(body, &v))
	text, err := json.Marshal(shorter(v))
	require.NoError(t, err)
	return text
}

func shorter(v any) any {
	switch v := v.(type) {
	case []any:
		most := 3
		if len(v) > 0 {
			if _, is := v[0].(map[string]any); is {
				most = 1
			}
		}
		v = v[:min(most, len(v))]
		for i := range v {
			v[i] = shorter(v[i])
		}
		return v
	case map[string]any:
		for name := range v {
			v[name] = shorter(v[name])
		}
	}
	return v
}
