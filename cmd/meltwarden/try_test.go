package main

import (
	"html"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/api"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/trend"
)

// TestFromAFaultToANewVersion goes the way of a maker at a terminal, from the evenings
// with a planted fault to a new version of the recipe.
func TestFromAFaultToANewVersion(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	said := atTerminal(t, folder)
	spoiled := said("runs", "tarn", "newt", "--fault", "seam")
	assert.Len(t, regexp.MustCompile(`(?m)^\d+ +2026-`).FindAllString(spoiled, -1), 5, "of six evenings")
	assert.Contains(t, said("why", "13", "1"), "a long time from draw to push")
	proposed := said("try", "13", "1")
	t.Log(proposed)
	assert.Contains(t, proposed, "choice 1: a sooner push – pour: draw within no aim → 30 s")
	assert.Contains(t, unbroken(proposed), "First draw to push 67 s; 22 clean shots 28 s in the")
	assert.NotContains(t, proposed, "choice 2", "nothing else was planted")

	file := filepath.Join(t.TempDir(), "newt-2.yaml")
	accepted := said("try", "13", "1", "--accept", "--out", file)
	assert.Contains(t, accepted, "tarn newt v2")
	recipe, err := config.LoadRecipe(file)
	require.NoError(t, err)
	assert.Equal(t, 30*time.Second, recipe.Pour.DrawWithin)
	assert.Contains(t, said("attempts"), "against seam: waits for its shots")
	assert.Contains(t, said("recipes", "diff", "tarn newt v1", "tarn newt v2"), "draw within no aim → 30 s")

	_, err = run(t.Context(), "try", "16", "3", "--accept", "--data", folder)
	assert.ErrorContains(t, err, "Attempt 1 is still on")
	said("attempts", "--end", "1", "--why", "hands too slow")
	assert.Contains(t, said("attempts"), "hands too slow")
	assert.Contains(t, said("try", "16", "3"), "the newest is version 2")
	assert.Contains(t, said("try", "16", "3"), "choice 1: a sooner push", "no shot has spoken against it")
}

// TestFromAFaultToANewVersionOnThePage goes the same way by the links and the form of the
// pages, which work without script.
func TestFromAFaultToANewVersionOnThePage(t *testing.T) {
	t.Parallel()
	s, err := history.OpenExisting(aPast(t))
	require.NoError(t, err)
	defer s.Close()
	here := httptest.NewServer(api.New(api.Options{
		Hub: &frames.Hub{}, Trend: &trend.Trend{}, Alarms: alarm.NewList(), Metrics: http.NotFoundHandler(), History: s,
		Submit: func(history.Mark) error { return nil }, Health: func() error { return nil }, Simulated: true,
	}))
	defer here.Close()
	read := func(a *http.Response, err error) (string, *url.URL) {
		t.Helper()
		require.NoError(t, err)
		defer a.Body.Close()
		body, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, a.StatusCode, string(body))
		return html.UnescapeString(string(body)), a.Request.URL
	}
	follow := func(page, link string) string {
		t.Helper()
		m := regexp.MustCompile(link).FindStringSubmatch(page)
		require.NotNil(t, m, link)
		next, _ := read(http.Get(here.URL + m[1]))
		return next
	}
	page := follow(`href="/runs?text=tarn+newt&fault=seam"`, `"([^"]*)"`)
	page = follow(page, `<a href="(/runs/13)">`)
	page = follow(page, `href="(/runs/13/shots/1)"`)
	for _, words := range []string{"a long time from draw to push", "67 s", "What to try next: seam", "pour: draw within no aim → 30 s", "goes with it; +32 s"} {
		assert.Contains(t, page, words)
	}
	fields := url.Values{}
	form := regexp.MustCompile(`(?s)<form method="post" action="([^"]*/try)".*?</form>`).FindStringSubmatch(page)
	require.NotNil(t, form)
	for _, m := range regexp.MustCompile(`name="([^"]*)" value="([^"]*)"`).FindAllStringSubmatch(form[0], -1) {
		fields.Set(m[1], m[2])
	}
	ask, err := http.NewRequestWithContext(t.Context(), http.MethodPost, here.URL+form[1], strings.NewReader(fields.Encode()))
	require.NoError(t, err)
	ask.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	ask.Header.Set("Accept", "text/html")
	page, at := read(http.DefaultClient.Do(ask))
	assert.Contains(t, at.Path, "/recipes/")
	for _, words := range []string{"tarn newt, version 2", "pour: draw within no aim → 30 s", "waits for its shots", "meltwarden demo --recipe \"tarn newt v2\""} {
		assert.Contains(t, page, words)
	}
	kept, err := s.Attempts()
	require.NoError(t, err)
	assert.Len(t, kept, 1)
}

func TestMistakesAboutTrying(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	for want, args := range map[string][]string{
		"run 99: there is no such run":                                                {"try", "99", "1"},
		"run 7, shot 9: there is no such shot":                                        {"try", "7", "9"},
		"run 12, shot 1: no fault was seen on it":                                     {"try", "12", "1"},
		`fault "flash": write one of: "seam", "short: cavity 2"`:                      {"try", "5", "2", "--fault", "flash"},
		`fault "bled": write one of: "bled: ivory and rust", "bled: slate and ivory"`: {"try", "1", "1", "--accept", "--fault", "bled"},
		"--out and --choice go with --accept":                                         {"try", "7", "1", "--choice", "2"},
		"that is the shot itself":                                                     {"why", "7", "1", "--beside", "7/1"},
		"--why: say with --end":                                                       {"attempts", "--why", "too dull"},
		"--dark: name the file":                                                       {"review", "7", "--dark"},
		"choice 3: choose from 1 to 2; nothing was accepted":                          {"try", "7", "1", "--accept", "--choice", "3"},
		"choice 1: It was first seen days later":                                      {"try", "6", "2", "--accept"},
		"attempt 5 that is still on: there is no such attempt":                        {"attempts", "--end", "5"},
	} {
		_, err := run(t.Context(), append(args, "--data", folder)...)
		assert.ErrorContains(t, err, want)
	}
	s, err := history.OpenExisting(folder)
	require.NoError(t, err)
	defer s.Close()
	all, err := s.Attempts()
	require.NoError(t, err)
	assert.Empty(t, all, "a mistake keeps nothing")
}
