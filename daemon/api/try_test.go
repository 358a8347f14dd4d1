package api

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/try"
)

// trying is a handler over two evenings, the second shot of the first one spoiled.
func trying(t *testing.T) (http.Handler, *history.Store) {
	s := twoEvenings(t)
	hub := &frames.Hub{}
	hub.Publish(holding())
	o, _ := options(hub)
	o.History = s
	return New(o), s
}

// TestAChangeIsAcceptedOnThePage: the page of a spoiled shot says what to try, the form
// leads to the new version, and that says how it stands, until a person ends it.
func TestAChangeIsAcceptedOnThePage(t *testing.T) {
	h, s := trying(t)
	read := reader(t, s)
	page := read("/runs/1/shots/2", http.StatusOK)
	requireAll(t, page, "What to try next: bled", "rust: band 2 °C → 1.5 °C", "Accept as a new version", "No thermometer sees these")

	choice := url.Values{"fault": {"bled"}, "choice": {"1"}, "change": {"rust: band 2 °C → 1.5 °C"}}
	a := do(h, form("/api/v1/runs/1/shots/2/try", choice, "Accept: text/html"))
	require.Equal(t, http.StatusSeeOther, a.StatusCode)
	to, err := url.Parse(a.Header.Get("Location"))
	require.NoError(t, err)
	assert.Equal(t, "attempt-1", to.Fragment)
	requireAll(t, read(to.Path, http.StatusOK), "waits for its shots", "To start with this version", "meltwarden demo --recipe &#34;slate eel v3&#34;", "End this attempt")
	requireAll(t, read("/runs/1/shots/2", http.StatusOK), "Attempt 1 is still on")
	requireAll(t, read("/recipes", http.StatusOK), "What was tried", "bled in 1 of 2 before")

	requireProblem(t, do(h, form("/api/v1/runs/1/shots/2/try", url.Values{"choice": {"1"}})), http.StatusConflict)
	a = do(h, form("/api/v1/attempts/1/end", url.Values{"why": {"too dull"}}, "Accept: text/html"))
	require.Equal(t, http.StatusSeeOther, a.StatusCode)
	requireAll(t, read("/recipes", http.StatusOK), "ended before a shot of it was judged", "too dull")
	requireProblem(t, do(h, form("/api/v1/attempts/1/end", nil)), http.StatusNotFound)

	var got struct{ Attempts []try.Attempt }
	answered(t, do(h, request("GET", "/api/v1/attempts")), &got)
	require.Len(t, got.Attempts, 1)
	assert.Equal(t, "rust", got.Attempts[0].Colour)
	assert.WithinDuration(t, time.Now(), got.Attempts[0].Accepted, time.Minute)
}

// TestNothingIsAcceptedFromElsewhere, nor what was not shown.
func TestNothingIsAcceptedFromElsewhere(t *testing.T) {
	h, s := trying(t)
	afar := form("/api/v1/runs/1/shots/2/try", url.Values{"choice": {"1"}}, "X-Forwarded-For: 192.0.2.7")
	requireProblem(t, do(h, afar), http.StatusForbidden)
	requireProblem(t, do(h, form("/api/v1/attempts/1/end", nil, "X-Forwarded-For: 192.0.2.7")), http.StatusForbidden)
	for status, fields := range map[int]url.Values{
		http.StatusBadRequest: {"choice": {"first"}},
		http.StatusConflict:   {"choice": {"1"}, "change": {"rust: band 2 °C → 1 °C"}},
	} {
		requireProblem(t, do(h, form("/api/v1/runs/1/shots/2/try", fields)), status)
	}
	requireProblem(t, do(h, form("/api/v1/runs/1/shots/1/try", url.Values{"choice": {"1"}})), http.StatusConflict)
	requireProblem(t, do(h, form("/api/v1/runs/1/shots/9/try", url.Values{"choice": {"1"}})), http.StatusNotFound)
	all, err := s.Attempts()
	require.NoError(t, err)
	assert.Empty(t, all)
}

// aimedAt20 is the demo's recipe with another aim.
func aimedAt20(t *testing.T) string {
	text, err := config.Edit(config.DemoRecipe().Typed, []config.Change{{Path: "pour.draw-within", Value: "20 s"}})
	require.NoError(t, err)
	return string(text)
}

// TestAimsAreShownAtTheBench, and a card says which were missed.
func TestAimsAreShownAtTheBench(t *testing.T) {
	s := twoEvenings(t)
	live := begun(t, s, time.Date(2026, 1, 4, 12, 0, 0, 0, time.UTC), aimedAt20(t))
	card := allRight()
	card.DrawToPushS = 44
	live.shoot(card, "")
	require.Eventually(t, func() bool { shots, err := s.Shots(3); return err == nil && len(shots) == 1 }, time.Minute, time.Millisecond)
	read := reader(t, s)
	requireAll(t, read("/", http.StatusOK), "aim: push within 20 s of the first draw")
	requireAll(t, read("/runs/3", http.StatusOK), "aim missed: first draw to push 44 s (at most 20 s)")
	live.end()
}
