package api

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/causes"
	"meltwarden/daemon/causes/maker"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// aMaker is a history of invented runs whose bleeding comes of a hot mould.
func aMaker(t *testing.T) *history.Store {
	t.Helper()
	s := opened(t)
	plan := maker.Plan{Seed: 12, Cause: maker.HotMould, Size: 3}
	require.NoError(t, maker.Keep(s, time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC), maker.Make(plan)))
	return s
}

// TestCausesAreShown, with what they rest on and how often chance would do it; where
// counts can not decide, the figures are folded away.
func TestCausesAreShown(t *testing.T) {
	read := reader(t, aMaker(t))
	page := read("/causes", http.StatusOK)
	requireAll(t, page, causes.Promise, causes.Made, "bled: 20 shots against 27 clean, in 5 runs with both",
		"A hot mould goes with it: 10.7 °C more in the bled ones (95 %: +5.5 to +16.3 °C)",
		"not told apart from: held since cured", "That is a hypothesis", "may be chance", "a worn manifold",
		"3 shots, not judged: run 3 shot 10, run 4 shot 7, run 5 shot 3", "2 seam, 27 clean: nothing is concluded")
	assert.Contains(t, page, `<title>run 1, shot 1: clean, 24.8 °C</title>`)
	assert.Contains(t, page, `href="/runs/1#shot-1"`)
	assert.Equal(t, 1, strings.Count(page, `<li class="named">`))
	assert.NotContains(t, page, "<details open")
	assert.NotContains(t, page, "NaN")

	page = read("/causes?fault=seam&unit=f", http.StatusOK)
	assert.NotContains(t, page, "bled: ")
	requireAll(t, page, "<details open", "°F", `<option selected>seam</option>`)
	requireAll(t, read("/causes?mould=pike", http.StatusBadRequest), "write one of: eel")
	assert.Contains(t, read("/", http.StatusOK), `href="/causes"`)
}

// TestCausesAsJSON, with null for what is not known.
func TestCausesAsJSON(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.History = aMaker(t)
	var a struct{ Findings []map[string]any }
	answered(t, do(New(o), request("GET", "/api/v1/causes?fault=seam")), &a)
	require.Len(t, a.Findings, 1)
	assert.Equal(t, false, a.Findings[0]["decides"])
	assert.Nil(t, a.Findings[0]["causes"].([]any)[0].(map[string]any)["chance"])
	requireProblem(t, do(New(o), request("GET", "/api/v1/causes?fault=clean")), http.StatusBadRequest)
	o.History = nil
	answered(t, do(New(o), request("GET", "/api/v1/causes")), &a)
	assert.Empty(t, a.Findings)
}
