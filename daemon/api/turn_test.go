package api

import (
	"context"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/plan"
)

// TestWhatTakesLongDoesNotPileUp: one thing is worked out at a time, and nobody else's page
// asks for it.
func TestWhatTakesLongDoesNotPileUp(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.History = twoEvenings(t)
	o.Plan = func(*config.Recipe, plan.Wanted) (*plan.Plan, error) {
		t.Error("it was planned all the same")
		return nil, errTooMany
	}
	s := &server{Options: o, drawing: make(chan struct{}, drawAtOnce)}
	s.drawing <- struct{}{} // something else is under way
	gone, leave := context.WithCancel(context.Background())
	leave()
	for target, show := range map[string]http.HandlerFunc{
		"/plan": s.planPage, "/api/v1/plan": s.plan, "/causes": s.causesPage, "/api/v1/causes": s.causes,
	} {
		w := httptest.NewRecorder()
		show(w, request("GET", target).WithContext(gone))
		assert.Equal(t, http.StatusServiceUnavailable, w.Code, target)
		assert.Equal(t, http.StatusForbidden, do(New(o), request("GET", target, "Sec-Fetch-Site: cross-site")).StatusCode)
	}
	requireProblem(t, do(New(o), request("GET", "/keeping/"+archiveName, "Sec-Fetch-Site: cross-site")), http.StatusForbidden)
}

// deadlines is an answer that takes note of them.
type deadlines struct {
	*httptest.ResponseRecorder
	read, write time.Time
}

func (d *deadlines) SetReadDeadline(at time.Time) error  { d.read = at; return nil }
func (d *deadlines) SetWriteDeadline(at time.Time) error { d.write = at; return nil }

// TestWhatTakesLongIsGivenTime: the server's own limits would end the thinning of old runs
// in the middle and lose what is told of it, and every answer that is long in coming.
func TestWhatTakesLongIsGivenTime(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.History, o.Plan = twoEvenings(t), func(*config.Recipe, plan.Wanted) (*plan.Plan, error) { return nil, errTooMany }
	h := New(o)
	began := time.Now()
	for _, r := range []*http.Request{
		request("GET", "/plan"), request("GET", "/causes"), request("GET", "/keeping/"+archiveName),
		form("/api/v1/tidy", map[string][]string{"older-than": {"365 days"}, "dry-run": {"yes"}}),
	} {
		d := &deadlines{ResponseRecorder: httptest.NewRecorder()}
		h.ServeHTTP(d, r)
		require.GreaterOrEqual(t, d.write.Sub(began), drawWithin+planWithin, r.URL.Path)
		require.Equal(t, d.write, d.read, "%s: a read that times out ends the request's context", r.URL.Path)
	}
}
