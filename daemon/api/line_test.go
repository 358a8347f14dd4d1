package api

import (
	"io"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
)

// TestEveryPageSaysThatTheBenchTripped: whoever reads about past runs does not see the
// bench's own page.
func TestEveryPageSaysThatTheBenchTripped(t *testing.T) {
	hub := &frames.Hub{}
	o, _ := options(hub)
	o.History = opened(t)
	h := New(o)
	body := func(path string) string {
		b, err := io.ReadAll(do(h, request("GET", path)).Body)
		require.NoError(t, err)
		return string(b)
	}
	assert.Contains(t, body("/runs"), `data-tone="lost"`)
	f := tripped()
	hub.Publish(f)
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: append(f.Conditions, guard.Condition{
		Code: guard.StillHot, Pot: -1, Severity: guard.Note, Active: true,
	})})
	for _, path := range []string{"/runs", "/recipes", "/alarms", "/pages"} {
		page := body(path)
		assert.Contains(t, page, `class="bench-line" data-tone="danger"`, path)
		assert.Contains(t, page, "<b>2 chalk tripped, reset at the bench</b>", path)
		assert.Contains(t, page, `class="needed">2</b>`, path) // a note needs nobody
	}
	none := do(h, request("GET", "/nope", "Accept: text/html"))
	assert.Equal(t, http.StatusNotFound, none.StatusCode)
	text, err := io.ReadAll(none.Body)
	require.NoError(t, err)
	requireAll(t, string(text), "There is no page at this address", `href="/pages"`, `class="bench-line" data-tone="danger"`)
	requireProblem(t, do(h, request("GET", "/nope")), http.StatusNotFound)
	assert.Contains(t, body("/"), `class="needed">2</b>`)
}

// TestOneCallIsOnce, and not "1 times".
func TestOneCallIsOnce(t *testing.T) {
	assert.Equal(t, "You were called in the last ten minutes: once.", rateWords(1))
	assert.Equal(t, "You were called in the last ten minutes: 2 times.", rateWords(2))
}
