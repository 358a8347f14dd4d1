package api

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// keeping is a daemon that keeps the demo's recipe and knows the demo's bench.
func keeping(t *testing.T) (http.Handler, *history.Store, history.Version) {
	s := opened(t)
	r := config.DemoRecipe()
	v, err := s.KeepVersion(time.Now(), history.Version{Name: r.Name, Fingerprint: r.Fingerprint(), Source: string(r.Typed)})
	require.NoError(t, err)
	o, _ := options(&frames.Hub{})
	o.History = s
	o.Bench, err = config.DemoBench(nil)
	require.NoError(t, err)
	return New(o), s, v
}

// send posts a form as a page without script does, and returns the answer with its text.
func send(t *testing.T, h http.Handler, target string, form url.Values, from string) (*http.Response, string) {
	t.Helper()
	r := httptest.NewRequest(http.MethodPost, target, strings.NewReader(form.Encode()))
	r.Host, r.RemoteAddr = "localhost", from
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Accept", "text/html")
	r.Header.Set("Authorization", "Bearer "+token)
	recorded := httptest.NewRecorder()
	h.ServeHTTP(recorded, r)
	a := asDescribed(r, recorded.Result())
	text, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	return a, string(text)
}

const here = "127.0.0.1:50000"

func TestARecipeIsChangedOnThePage(t *testing.T) {
	h, s, v := keeping(t)
	get := func(path string) string {
		a := do(h, request("GET", path))
		text, _ := io.ReadAll(a.Body)
		return string(text)
	}
	page := get("/recipes/" + v.Fingerprint + "/change")
	requireAll(t, page, `name="colours[2].setpoint" value="171 C"`, `name="pick:colours[1].swatch" value="#4f5d68"`, `name="colours[3].colourants[new].amount" value=""`,
		"# Demo recipe:", "This version stays as it is")
	to := "/api/v1/recipes/" + v.Fingerprint + "/change"

	a, text := send(t, h, to, url.Values{"do": {"look"}, "colours[2].setpoint": {"169 C"}, "colours[3].salt": {""}, "note": {config.DemoRecipe().Note}}, here)
	require.Equal(t, 200, a.StatusCode, text)
	requireAll(t, text, "What would differ", "ivory: set-point 171 °C → 169 °C", "rust: salt 15 g → not recorded", `value="169 C"`)
	versions, err := s.Versions()
	require.NoError(t, err)
	require.Len(t, versions, 1, "nothing is kept by looking")

	a, text = send(t, h, to, url.Values{"do": {"keep"}, "colours[2].setpoint": {"340 C"}, "note": {"so"}}, here)
	require.Equal(t, 400, a.StatusCode)
	requireAll(t, text, "Not kept.", `recipe:38: colours[2].setpoint: &#34;340 C&#34;: hard to believe; did you mean 340 F (171 °C)?`, `value="340 C" placeholder="such as 168 C" autocomplete="off" aria-invalid="true"`, `value="so"`)

	a, _ = send(t, h, to, url.Values{"do": {"keep"}, "colours[2].setpoint": {"169 C"}, "colours[3].swatch": {"#a4573a"}, "pick:colours[3].swatch": {"#aa5533"},
		"pick:colours[1].swatch": {"#4f5d68"}, "colours[1].swatch": {"#4f5d68"}}, here)
	require.Equal(t, 303, a.StatusCode)
	kept, err := s.Version(strings.TrimPrefix(a.Header.Get("Location"), "/recipes/"))
	require.NoError(t, err)
	assert.Equal(t, v.Fingerprint, kept.Parent)
	assert.Equal(t, 2, kept.Number)
	assert.Equal(t, strings.NewReplacer("setpoint: 171 C", "setpoint: 169 C", "#a4573a", "#aa5533").Replace(v.Source), kept.Source)
	requireAll(t, get("/recipes/"+kept.Fingerprint), "ivory: set-point 171 °C → 169 °C", "rust: swatch #a4573a → #aa5533", `fill="#aa5533"`)

	again, err := s.Version(v.Fingerprint)
	require.NoError(t, err)
	assert.Equal(t, v, again, "the old one stays what it was")
}

func TestARecipeIsTypedAsAWhole(t *testing.T) {
	h, s, v := keeping(t)
	to := "/api/v1/recipes/" + v.Fingerprint + "/change"
	typed := strings.ReplaceAll(strings.Replace(v.Source, "volume: 260 mL", "volume: 500 mL # more", 1), "\n", "\r\n") // as browsers send it
	a, text := send(t, h, to, url.Values{"do": {"look"}, "text": {typed}}, here)
	require.Equal(t, 200, a.StatusCode)
	requireAll(t, text, "slate: volume 260 mL → 500 mL", "It does not fit this bench", "more than pot &#34;left&#34; holds; write at most 450 mL", "500 mL # more")
	a, _ = send(t, h, to, url.Values{"do": {"keep"}, "text": {typed}}, here)
	require.Equal(t, 303, a.StatusCode)
	kept, err := s.Version(strings.TrimPrefix(a.Header.Get("Location"), "/recipes/"))
	require.NoError(t, err)
	assert.Equal(t, strings.ReplaceAll(typed, "\r\n", "\n"), kept.Source)

	a, text = send(t, h, to, url.Values{"do": {"keep"}, "text": {v.Source + "# only a comment\n"}}, here)
	require.Equal(t, 200, a.StatusCode)
	requireAll(t, text, "Nothing that counts would differ", "# only a comment")
	a, text = send(t, h, to, url.Values{"do": {"keep"}, "text": {"name: [\n<script>"}}, here)
	require.Equal(t, 400, a.StatusCode)
	requireAll(t, text, "Not kept.", "not YAML", "&lt;script&gt;")
	assert.NotContains(t, text, "<script>")
	a, _ = send(t, h, to, url.Values{"text": {strings.Repeat("x", maxRecipeBody)}}, here)
	assert.Equal(t, 413, a.StatusCode)
}

// What is written elsewhere changes no recipe: neither through a token nor a proxy.
func TestARecipeIsChangedHereOnly(t *testing.T) {
	h, s, v := keeping(t)
	for _, what := range []string{"change", "scale"} {
		to := "/api/v1/recipes/" + v.Fingerprint + "/" + what
		a, text := send(t, h, to, url.Values{"do": {"keep"}, "note": {"x"}, "times": {"1.5"}}, "192.0.2.7:50000") // RFC 5737
		require.Equal(t, 403, a.StatusCode)
		assert.Contains(t, text, "own computer only")
		a, _ = send(t, h, "/api/v1/recipes/nothing/"+what, url.Values{"do": {"keep"}}, here)
		require.Equal(t, 404, a.StatusCode)
	}
	versions, err := s.Versions()
	require.NoError(t, err)
	assert.Len(t, versions, 1)
}

func TestARecipeIsScaledOnThePage(t *testing.T) {
	h, s, v := keeping(t)
	get := func(query string) string {
		a := do(h, request("GET", "/recipes/"+v.Fingerprint+"/scale?"+query))
		text, _ := io.ReadAll(a.Body)
		return string(text)
	}
	assert.NotContains(t, get(""), "What goes into the pots")
	requireAll(t, get("times=1.5"), "What goes into the pots", "×1.5, 390.0 mL", "4.5 before rounding, so &#43;11 %", "a pinch can not be scaled",
		"least fill that covers the probe: 90 mL", "Heating time does not follow", "±20 % at the least")
	requireAll(t, get("shots=12&per-shot=18+mL&per-shot-3=20+mL"), "306 mL", "330 mL", "12 shots of 18 mL, and 90 mL that stays in the pot")
	requireAll(t, get("times=2"), "more than pot &#34;left&#34; holds; write at most 450 mL")
	a, text := send(t, h, "/api/v1/recipes/"+v.Fingerprint+"/scale", url.Values{"volume-2": {"300 mL"}, "do": {"look"}}, here)
	require.Equal(t, 200, a.StatusCode)
	requireAll(t, text, "ivory: volume 220 mL → 300 mL", "ivory: colourant white 10 drops → 14 drops") // 13.6
	a, _ = send(t, h, "/api/v1/recipes/"+v.Fingerprint+"/scale", url.Values{"volume-2": {"300 mL"}, "do": {"keep"}}, here)
	require.Equal(t, 303, a.StatusCode)
	kept, err := s.Version(strings.TrimPrefix(a.Header.Get("Location"), "/recipes/"))
	require.NoError(t, err)
	assert.Equal(t, v.Fingerprint, kept.Parent)
	assert.Contains(t, kept.Source, "volume: 300 mL")
}

func TestARecipeIsAFile(t *testing.T) {
	h, _, v := keeping(t)
	a := do(h, request("GET", "/recipes/"+v.Fingerprint+"/text"))
	text, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	assert.Equal(t, v.Source, string(text))
	assert.Equal(t, "application/yaml", a.Header.Get("Content-Type"))
	assert.Equal(t, `attachment; filename="slate-eel-v1.yaml"`, a.Header.Get("Content-Disposition"))
}

// The same for programs: a new version comes with what differs, a problem as one.
func TestARecipeIsChangedByAProgram(t *testing.T) {
	h, _, v := keeping(t)
	post := func(form url.Values) (int, map[string]any) {
		r := httptest.NewRequest(http.MethodPost, "/api/v1/recipes/"+v.Fingerprint+"/change", strings.NewReader(form.Encode()))
		r.Host, r.RemoteAddr = "localhost", here
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		a := do(h, r)
		var object map[string]any
		require.NoError(t, json.NewDecoder(a.Body).Decode(&object))
		return a.StatusCode, object
	}
	status, object := post(url.Values{"colours[2].setpoint": {"169 C"}})
	assert.Equal(t, 200, status)
	assert.Equal(t, []any{"ivory: set-point 171 °C → 169 °C"}, object["differences"])
	status, object = post(url.Values{"colours[2].setpoint": {"169 C"}, "do": {"keep"}})
	assert.Equal(t, 201, status)
	assert.InDelta(t, 2, object["recipe"].(map[string]any)["number"], 0)
	status, object = post(url.Values{"colours[2].setpoint": {"cold"}})
	assert.Equal(t, 400, status)
	assert.Contains(t, object["detail"], "colours[2].setpoint")
}
