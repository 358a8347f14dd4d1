package api

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// TestAPressCountsOnce: sent again by the same name it is answered as before and reaches
// nobody; by another name, from another place or for another route it is another. What was
// refused may be sent again. ALL OFF, a lift and a set-point always count.
func TestAPressCountsOnce(t *testing.T) {
	s, h, queue := letting(t)
	s.Settings.Limits.MeltTripC, s.Settings.Pots[0].PlateLimitC = 190, 230 // room for a set-point
	blue := carriedBy(t, s.Phones, "blue", time.Now(), time.Hour)
	for target, fields := range map[string]url.Values{
		"/api/v1/shot": {"mould": {"eel"}}, "/api/v1/note": {"text": {"fan is loud"}}, "/api/v1/silence": {},
		"/api/v1/pots/2/stir": {}, "/api/v1/pots/1/draw": {"amount": {"60 mL"}},
	} {
		fields.Set("key", "k1")
		first := do(h, form(target, fields))
		require.Equal(t, http.StatusAccepted, first.StatusCode, target)
		require.Equal(t, "k1", (<-queue).Key, target)
		again := do(h, form(target, fields))
		assert.Equal(t, body(t, first), body(t, again), target)
		assert.Equal(t, http.StatusAccepted, again.StatusCode, target)
		assert.Equal(t, http.StatusSeeOther, do(h, form(target, fields, "Accept: text/html")).StatusCode, target)
		require.Empty(t, queue, target)
		require.Equal(t, http.StatusAccepted, do(h, fromPhone("POST", target, blue, fields)).StatusCode, target)
		assert.Equal(t, "phone blue", (<-queue).From, target)
		fields.Set("key", "k2")
		do(h, form(target, fields))
		require.Len(t, queue, 1, target)
		fields.Set("key", "k3")
		requireProblem(t, do(h, form(target, fields)), http.StatusServiceUnavailable) // the queue is full
		<-queue
		require.Equal(t, http.StatusAccepted, do(h, form(target, fields)).StatusCode, target)
		<-queue
	}
	for target, kind := range map[string]control.CommandKind{"off": control.AllOff, "pots/1/lift": control.Lift, "pots/1/setpoint": control.Setpoint} {
		for range 2 {
			require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/"+target, url.Values{"key": {"k1"}, "setpoint": {"170 C"}})).StatusCode, target)
			assert.Equal(t, kind, (<-queue).Kind)
		}
	}
	requireProblem(t, do(h, form("/api/v1/shot", url.Values{"key": {"a b"}})), http.StatusBadRequest)

	for i := range 3 * mostPresses {
		s.presses.remember(press{name: fmt.Sprint(i)})
	}
	assert.Len(t, s.presses.seen, mostPresses, "no more is remembered")
}

// TestADoubtedReadingCountsOnce: one reading that is sent twice does not bear itself out. It
// is refused both times in the same words, and reaches control once.
func TestADoubtedReadingCountsOnce(t *testing.T) {
	h, queue := published(handFrame())
	doubted := url.Values{"reading": {"180 C"}, "key": {"k1"}}
	const target = "/api/v1/pots/2/hand-reading"
	first := do(h, form(target, doubted))
	require.Equal(t, http.StatusConflict, first.StatusCode)
	require.Equal(t, 180.0, (<-queue).C)
	again := do(h, form(target, doubted))
	assert.Equal(t, http.StatusConflict, again.StatusCode)
	assert.Equal(t, first.Header.Get("Content-Type"), again.Header.Get("Content-Type"))
	assert.Equal(t, body(t, first), body(t, again))
	assert.Empty(t, queue)
	doubted.Set("key", "k2")
	require.Equal(t, http.StatusConflict, do(h, form(target, doubted)).StatusCode)
	assert.Len(t, queue, 1, "read once more")
}

// TestAPanicHoldsUpNoPress: what fails in one answer is that answer's own.
func TestAPanicHoldsUpNoPress(t *testing.T) {
	s, h, queue := letting(t)
	fails := s.once("POST /api/v1/shot", func(http.ResponseWriter, *http.Request) { panic("as a test has it") })
	assert.Panics(t, func() { fails(httptest.NewRecorder(), form("/api/v1/shot", url.Values{"key": {"k1"}})) })
	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/shot", url.Values{"key": {"k1"}})).StatusCode)
	assert.Len(t, queue, 1)
}

// TestAPressCountsOnceOverARestart: what was written down of a run is known when it goes on.
func TestAPressCountsOnceOverARestart(t *testing.T) {
	store := opened(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	t.Cleanup(e.end)
	var events []history.Event
	for _, m := range []history.Mark{
		{Command: control.Command{Kind: control.Shot}, Key: "k1"}, {Text: "fan", Key: "k2", From: "phone blue"},
		{Command: control.Command{Kind: control.Stir, Pot: 1}, Key: "k3"}, {Command: control.Command{Kind: control.AllOff}, Key: "k4"},
	} {
		event, ok := history.EventOf(m)
		require.True(t, ok)
		events = append(events, event)
	}
	e.pass(events, nil, "")
	require.Eventually(t, func() bool { p, err := store.Presses(store.Live(), 9); return err == nil && len(p) == 4 }, time.Minute, 10*time.Millisecond)
	hub := &frames.Hub{}
	hub.Publish(holding())
	o, queue := options(hub)
	o.History = store
	h := New(o)
	for target, key := range map[string]string{"/api/v1/shot": "k1", "/api/v1/pots/2/stir": "k3"} {
		require.Equal(t, http.StatusAccepted, do(h, form(target, url.Values{"key": {key}})).StatusCode)
		require.Empty(t, queue, target)
	}
	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/note", url.Values{"key": {"k2"}, "text": {"fan"}})).StatusCode)
	require.Len(t, queue, 1, "the phone's is another")
	<-queue
	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/note", url.Values{"key": {"k4"}, "text": {"fan"}})).StatusCode)
	assert.Len(t, queue, 1, "ALL OFF is no note")
}

// TestPressesThatCanNotBeRead hold up no mark, and are asked for once.
func TestPressesThatCanNotBeRead(t *testing.T) {
	store := opened(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	t.Cleanup(e.end)
	var p presses
	p.mu.Lock() // another press is being answered
	read := make(chan bool)
	go func() { p.recall(store); close(read) }()
	require.Eventually(t, func() bool { return p.recalled.Load() == store.Live() }, time.Minute, time.Millisecond)
	p.recall(store) // does not wait for it
	p.mu.Unlock()
	<-read
}

// TestAPageNamesItsPresses where no script does: each time it is shown anew.
func TestAPageNamesItsPresses(t *testing.T) {
	h, queue := published(holding())
	name := func() string {
		page := body(t, do(h, request("GET", "/")))
		named := regexp.MustCompile(`(?s)action="/api/v1/shot">.*?<input type="hidden" name="key" value="(\w+)"></form>`).FindStringSubmatch(page)
		require.NotNil(t, named)
		assert.Equal(t, strings.Count(page, `name="key" value="`+named[1]), strings.Count(page, `name="key"`))
		return named[1]
	}
	first := name()
	assert.NotEqual(t, first, name())
	for range 2 { // reloaded, or pressed twice before the page came
		do(h, form("/api/v1/shot", url.Values{"key": {first}}, "Accept: text/html"))
	}
	assert.Len(t, queue, 1)
}

// TestOnesOwnNoteIsTakenBack, by its press, or the last one from the same place.
func TestOnesOwnNoteIsTakenBack(t *testing.T) {
	h, queue := published(holding())
	for takes, fields := range map[string]url.Values{"k1": {"of": {"k1"}}, history.LastOwn: {"take-back": {"yes"}}} {
		require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/note", fields)).StatusCode)
		m := <-queue
		assert.Equal(t, control.Command{Kind: control.TakeBack, Pot: -1}, m.Command)
		assert.Equal(t, takes, m.Takes)
	}
}
