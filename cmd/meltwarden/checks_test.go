package main

import (
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/view"
)

// ranChecks runs the command and returns what it wrote.
func ranChecks(args ...string) (string, error) {
	var out bytes.Buffer
	c := root()
	c.SetOut(&out)
	c.SetArgs(append([]string{"checks"}, args...))
	err := c.ExecuteContext(context.Background())
	return out.String(), err
}

// TestChecksOfARunningBench are listed with what the bench reads, and ticked off in one go;
// where no bench answers, or it refuses, that is said with what to do.
func TestChecksOfARunningBench(t *testing.T) {
	var posted []url.Values
	bench := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		assert.Equal(t, "/api/v1/checks", r.URL.Path)
		if r.Method == http.MethodPost {
			assert.NoError(t, r.ParseForm())
			posted = append(posted, r.PostForm)
			if r.PostForm.Get("ticked") == "lid" {
				w.WriteHeader(http.StatusBadRequest)
				w.Write([]byte(`{"detail": "ticked \"lid\": there is no such check"}`))
			}
			return
		}
		w.Write([]byte(`{"simulated": true, "checks": [
			{"key": "dry", "words": "All dry.", "ticked": "2026-02-01T19:00:00Z", "said": "ticked at 19:00, phone blue", "reads": null},
			{"key": "emergency-stop", "words": "Tried.", "ticked": null, "reads": {"words": "emergency stop open"}}],
			"probes": [{"of": "1 left, melt", "c": 20.4}, {"of": "1 left, plate", "c": null}],
			"agreement": "not all read", "spread_c": null, "agree_c": 3, "kept": "all but emergency stop"}`))
	}))
	defer bench.Close()
	out, err := ranChecks("--to", bench.URL)
	require.NoError(t, err)
	assertPrinted(t, "checks", out)
	for _, text := range []string{
		view.Texts().Simulated, "Nothing heats by a tick", "[x] All dry. (dry) ticked at 19:00, phone blue", "for 12 hours at most",
		"[ ] Tried. Now: emergency stop open. (emergency-stop)",
		"probes: not all read", "20.4 °C", "not read", "written down with the run: all but emergency stop",
	} {
		assert.Contains(t, out, text)
	}
	assert.Empty(t, posted)
	_, err = ranChecks("--to", bench.Listener.Addr().String(), "--all")
	require.NoError(t, err)
	assert.Equal(t, url.Values{"ticked": {"dry", "emergency-stop"}, "keep": {"yes"}}, posted[0])
	_, err = ranChecks("--to", bench.URL, "--untick", "dry")
	require.NoError(t, err)
	assert.Equal(t, url.Values{"was_ticked": {"dry"}, "keep": {"yes"}}, posted[1])
	_, err = ranChecks("--to", bench.URL, "--tick", "lid")
	assert.ErrorContains(t, err, `refuses: ticked "lid": there is no such check`)
	bench.Close()
	_, err = ranChecks("--to", bench.URL)
	assert.ErrorContains(t, err, "start the bench with serve or demo, or name its address with --to")
}
