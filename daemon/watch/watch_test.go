package watch

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/view"
)

var set = control.Settings{Pots: []control.PotSettings{{Name: "left", Colour: "slate", SetpointC: 168, BandC: 2}}}

// seen is an invented bench as the API spells it.
func seen(t *testing.T, at time.Time) []byte {
	t.Helper()
	f := &frames.Frame{At: at, Frame: control.Frame{Heat: control.HeatEnabled, Pots: []control.PotFrame{{State: control.Heating, SetpointC: 168, BandC: 2, MeltC: 160}}}}
	raw, err := json.Marshal(view.Of(f, set, at))
	require.NoError(t, err)
	return raw
}

// TestNothingOldIsShown: what was heard for a while and is heard no longer is not live, keeps
// no reading, and says when the last one came.
func TestNothingOldIsShown(t *testing.T) {
	assert.Less(t, silentFor+lookEvery, frames.LiveFor, "within two seconds")
	at := time.Date(2026, 3, 1, 19, 30, 0, 0, time.Local)
	h := nothingHeard()
	assert.Equal(t, view.Texts().NoReadingYet, h.bench(at).Shown.Answer.C)
	h.take(Heard{Raw: seen(t, at)}, at)
	assert.True(t, h.bench(at.Add(silentFor)).Live)

	for name, lose := range map[string]func() time.Time{
		"silence":     func() time.Time { return at.Add(silentFor + 1) },
		"a loss":      func() time.Time { h.take(Heard{Err: errors.New("gone")}, at); return at },
		"another API": func() time.Time { h.take(Heard{Raw: []byte(`{"status":"ok"}`)}, at); return at },
	} {
		b := h.bench(lose())
		assert.False(t, b.Live, name)
		assert.Equal(t, "NOT LIVE – last reading 19:30:00", b.Shown.Answer.C, name)
		assert.True(t, b.Hot, "nobody knows: %s", name)
		assert.False(t, b.Pots[0].MeltC.Known(), name)
		assert.Equal(t, "set 168 ± 2 °C", b.Pots[0].Shown.Against.C, name)
		assert.Equal(t, "slate", b.Pots[0].Colour, name)
		h.take(Heard{Raw: seen(t, at)}, at)
		assert.True(t, h.bench(at).Live, "found again: %s", name)
	}
	raw, err := json.Marshal(h.last.Lost(3 * time.Second))
	require.NoError(t, err)
	assert.Contains(t, string(raw), `"live":false`)
	assert.Contains(t, string(raw), `"melt_c":null`)
	assert.Contains(t, string(raw), `"age_s":3,`)
}

// TestEventsAreRead as the WHATWG HTML standard says in section 9.2.6: comments are nothing,
// one blank after the colon goes, lines of data are joined, a name makes another event, and
// what is not finished is not told.
func TestEventsAreRead(t *testing.T) {
	var got []string
	lived := 0
	stream := "retry: 1000\n\n: heart-beat\n\ndata: one\n\nevent: mark\ndata: none\n\ndata:two\ndata:  three\nid: 4\n\nevent: message\ndata: four\n\ndata: cut off"
	require.NoError(t, events(strings.NewReader(stream), func() { lived++ }, func(b []byte) { got = append(got, string(b)) }))
	assert.Equal(t, []string{"one", "two\n three", "four"}, got)
	assert.Equal(t, strings.Count(stream, "\n")+1, lived)
}

func typed(text string) (keys []Key) {
	ch := make(chan Key)
	go readKeys(strings.NewReader(text), ch)
	for k := range ch {
		keys = append(keys, k)
	}
	return keys
}

// TestNoKeyOfAnArrow is taken for a mark, nor of what is pasted: as xterm, tmux and the
// console of Linux send them (ECMA-48, 5.4, and from memory of their manuals).
func TestNoKeyOfAnArrow(t *testing.T) {
	for _, sent := range []string{"\x1b[A", "\x1b[1;5D", "\x1bOP", "\x1bOA", "\x1b[[A", "\x1b[15~", "\x1b[3~", "\x1bs"} {
		assert.Equal(t, []Key{{'2', false}, {'s', false}}, typed("2"+sent+"s"), "%q", sent)
	}
	assert.Equal(t, []Key{{'s', true}, {'O', true}, {'d', false}}, typed("\x1b[200~sO\x1b[201~d"))
	assert.Equal(t, []Key{{'é', false}, {escape, false}}, typed("é\x1b"))
}

// TestANoteIsTyped with letters of any alphabet, taken back letter by letter, and no longer
// than the API takes.
func TestANoteIsTyped(t *testing.T) {
	note := func(text string) (string, bool, bool) {
		var e entry
		for _, r := range text {
			if done, keep := e.put(Key{Rune: r}); done {
				return string(e.text), done, keep
			}
		}
		return string(e.text), false, false
	}
	text, done, keep := note("the clampé\x7f\tslipped\r")
	assert.Equal(t, "the clamp slipped", text)
	assert.True(t, done && keep)
	_, done, keep = note("no\x1b")
	assert.True(t, done && !keep)
	text, _, _ = note("\x7f\x15x" + strings.Repeat("ö ", 300))
	assert.Len(t, []rune(text), mostTyped)
	var pasted entry
	done, _ = pasted.put(Key{Rune: enter, Pasted: true})
	assert.False(t, done, "a line break that is pasted ends nothing")
}

// TestAddresses, and that no token is in one that is shown.
func TestAddresses(t *testing.T) {
	for typed, want := range map[string]string{
		"127.0.0.1:8420": "http://127.0.0.1:8420", "http://bench.example:1/": "http://bench.example:1", ":8420": "http://127.0.0.1:8420",
		"0.0.0.0:8420": "http://127.0.0.1:8420", "[::]:8420": "http://127.0.0.1:8420", "https://bench.example?token=x": "https://bench.example",
	} {
		r, err := At(typed, "a secret")
		require.NoError(t, err, typed)
		assert.Equal(t, want, r.String(), typed)
	}
	for _, typed := range []string{"", "ftp://bench.example", "http://", "http://%"} {
		_, err := At(typed, "")
		assert.ErrorContains(t, err, "write it like http://127.0.0.1:8420", typed)
	}
}

// TestWhoIsAskedWhat: the token goes along and to nobody else, who is far away says so, and
// a refusal is told in the words of the API (RFC 9457), or else by its status.
func TestWhoIsAskedWhat(t *testing.T) {
	var got *http.Request
	answer := func(w http.ResponseWriter) { w.WriteHeader(http.StatusAccepted) }
	bench := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_ = r.ParseForm()
		got = r
		answer(w)
	}))
	defer bench.Close()
	r, err := At(bench.URL, "a secret")
	require.NoError(t, err)
	require.NoError(t, r.Send(t.Context(), "/note", url.Values{"text": {"the clamp slipped"}}))
	assert.Equal(t, "Bearer a secret", got.Header.Get("Authorization"))
	assert.Equal(t, "/api/v1/note", got.URL.Path)
	assert.Equal(t, "the clamp slipped", got.PostForm.Get("text"))
	assert.Empty(t, got.Header.Get("Forwarded"))
	r.Afar = true
	require.NoError(t, r.Send(t.Context(), "/shot", nil))
	assert.Equal(t, "for=_afar", got.Header.Get("Forwarded"))

	answer = func(w http.ResponseWriter) {
		w.WriteHeader(http.StatusForbidden)
		_, _ = w.Write([]byte(`{"type":"about:blank","title":"Forbidden","status":403,"detail":"at the bench only"}`))
	}
	assert.EqualError(t, r.Send(t.Context(), "/silence", nil), "at the bench only")
	answer = func(w http.ResponseWriter) { w.WriteHeader(http.StatusBadGateway) }
	assert.EqualError(t, r.Send(t.Context(), "/shot", nil), "502 Bad Gateway")
	answer = func(w http.ResponseWriter) {
		w.Header().Set("Location", "http://198.51.100.1/")
		w.WriteHeader(http.StatusFound)
	}
	assert.EqualError(t, r.Send(t.Context(), "/shot", nil), "302 Found")
}

// TestKeysHaveNames, and no key has two.
func TestKeysHaveNames(t *testing.T) {
	used := map[rune]bool{}
	for _, m := range marks() {
		assert.NotEmpty(t, m.label)
		assert.False(t, used[m.key])
		used[m.key] = true
	}
	for _, k := range []rune{keyShot, keyNote, keyBack, keySilence, keyUnit, keyLeave, 'o'} {
		assert.False(t, used[k], "%c", k)
		used[k] = true
	}
	assert.Len(t, marks(), toldOf+1)
	own := map[string]rune{"/api/v1/shot": keyShot, "/api/v1/silence": keySilence, "offer": keyBack, "/api/v1/note": keyNote, "/api/v1/off": keyOff, "keys": keyHelp}
	for _, k := range view.BenchKeys() {
		if key, here := own[k.Do]; here && k.Key != "v" {
			assert.Equal(t, k.Key, string(key), "as on the page: %s", k.Do)
		}
	}
}

// TestAPressThatGotNoAnswerIsTheSameOne for a while, by its name, and is taken back by it.
func TestAPressThatGotNoAnswerIsTheSameOne(t *testing.T) {
	at := time.Date(2026, 3, 1, 19, 30, 0, 0, time.Local)
	text := url.Values{"text": {"fan"}}
	first := press{}.again("/note", text, &back{ofPress: true}, at)
	assert.Equal(t, first, first.again("/note", text, &back{ofPress: true}, at.Add(29*time.Second)))
	assert.NotEqual(t, first.key, first.again("/note", text, nil, at.Add(30*time.Second)).key)
	assert.NotEqual(t, first.key, first.again("/note", url.Values{"text": {"fans"}}, nil, at).key)
	assert.NotEqual(t, first.key, first.again("/shot", text, nil, at).key)
	assert.Equal(t, url.Values{"of": {first.key}}, first.undo.form)
	assert.Equal(t, url.Values{"text": {"fan"}, "key": {first.key}}, first.with(text))
	assert.NotContains(t, text, "key")
	assert.True(t, errors.As(error(refusedError{errors.New("no")}), &refusedError{}))
}

// TestOnlyASimulatedBenchIsEnabledFromHere: Enter is the button of a bench that is simulated
// beside the program, and no key of any other.
func TestOnlyASimulatedBenchIsEnabledFromHere(t *testing.T) {
	pressed := 0
	w := &watcher{Options: Options{Enable: func() { pressed++ }}, words: view.Terminal(), heard: nothingHeard()}
	assert.False(t, w.key(Key{Rune: enter}))
	assert.False(t, w.key(Key{Rune: enter, Pasted: true}))
	assert.Equal(t, 1, pressed)
	assert.Contains(t, w.keys(), w.words.EnableKey)
	w.Enable = nil
	assert.False(t, w.key(Key{Rune: enter}))
	assert.NotContains(t, w.keys(), w.words.EnableKey)
}

// TestTakingBackCountsOnce: the answer to it is lost, and pressed again it is the same press,
// of a shot the same shot; while it is under way it can not be pressed.
func TestTakingBackCountsOnce(t *testing.T) {
	var mu sync.Mutex
	var said []string
	bench := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		if r.Method == http.MethodGet { // what is left once shot 3 is withdrawn
			w.Write([]byte(`{"run": {"id": 7}, "shots": [{"number": ` + map[bool]string{true: "3", false: "4"}[len(said) == 0] + `, "wall": "2026-03-01T19:30:09Z"}]}`))
			return
		}
		said = append(said, r.URL.Path+" "+r.PostFormValue("key"))
		if len(said)%2 == 1 {
			panic(http.ErrAbortHandler) // no answer
		}
	}))
	defer bench.Close()
	remote, err := At(bench.URL, "")
	require.NoError(t, err)
	for _, undo := range []*back{{path: "/note", form: url.Values{"of": {"k1"}}}, {shotFrom: time.Date(2026, 3, 1, 19, 30, 5, 0, time.UTC)}} {
		mu.Lock()
		said = nil
		mu.Unlock()
		w := &watcher{Options: Options{Remote: remote}, ctx: t.Context(), words: view.Terminal(), told: make(chan do), back: undo}
		w.takeBack()
		assert.Nil(t, w.back)
		(<-w.told)(w)
		require.NotNil(t, w.back)
		w.takeBack()
		(<-w.told)(w)
		mu.Lock()
		require.Len(t, said, 2)
		first, key, _ := strings.Cut(said[0], " ")
		second, again, _ := strings.Cut(said[1], " ")
		mu.Unlock()
		assert.Equal(t, first, second)
		assert.NotContains(t, first, "now", "of its own run, whatever is recorded by then")
		if undo.path != "" { // a shot is the same by its number
			assert.NotEmpty(t, key)
			assert.Equal(t, key, again)
		}
		assert.Nil(t, w.back)
	}
}
