package api

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
)

// TestOnlyWhatCanBeTakenBackIsTakenBack: by the bench's last frame.
func TestOnlyWhatCanBeTakenBackIsTakenBack(t *testing.T) {
	f := holding()
	f.Pots[1].Said[1] = control.Said{Can: true, Ago: 12 * time.Second}
	h, queue := published(f)
	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/pots/2/take-back", url.Values{"mark": {"clear"}})).StatusCode)
	assert.Equal(t, control.Command{Kind: control.TakeBack, Pot: 1, Mark: control.TickClear}, (<-queue).Command)
	for _, mark := range []string{"", "stir", "lift", "off", "setpoint", "take-back", "enable"} {
		requireProblem(t, do(h, form("/api/v1/pots/2/take-back", url.Values{"mark": {mark}})), http.StatusConflict)
	}
	requireProblem(t, do(h, form("/api/v1/pots/1/take-back", url.Values{"mark": {"clear"}})), http.StatusConflict)
	assert.Empty(t, queue)
	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/note", url.Values{"take-back": {"yes"}})).StatusCode)
	assert.Equal(t, control.Command{Kind: control.TakeBack, Pot: -1}, (<-queue).Command)
}
