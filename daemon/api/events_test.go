package api

import (
	"bufio"
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/daemon/frames"
)

// streamed runs one stream in virtual time while act goes on, and returns what
// was sent.
func streamed(act func(hub *frames.Hub)) string {
	hub := &frames.Hub{}
	o, _ := options(hub)
	ctx, cancel := context.WithCancel(context.Background())
	w, done := httptest.NewRecorder(), make(chan struct{})
	go func() {
		defer close(done)
		New(o).ServeHTTP(w, request("GET", "/api/v1/events").WithContext(ctx))
	}()
	act(hub)
	cancel()
	<-done
	return w.Body.String()
}

func TestEveryFrameOfARealBenchIsSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		got := streamed(func(hub *frames.Hub) {
			for n := range uint64(50) { // ten seconds at the bench's pace
				f := holding()
				f.Cycle = n + 1
				hub.Publish(f)
				time.Sleep(200 * time.Millisecond)
			}
		})
		assert.Equal(t, 50, strings.Count(got, "data: {"))
		assert.Contains(t, got, `"cycle":50,`)
	})
}

func TestFastBenchIsThinnedToTheNewest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		got := streamed(func(hub *frames.Hub) {
			for n := range uint64(1000) {
				f := holding()
				f.Cycle = n + 1
				hub.Publish(f)
				time.Sleep(time.Millisecond)
			}
			time.Sleep(minGap)
		})
		assert.LessOrEqual(t, strings.Count(got, "data: {"), 7)
		assert.Contains(t, got, `"cycle":1000,`, "the newest frame is never the one left out")
	})
}

// The WHATWG HTML standard, section 9.2.6: a line that begins with a colon is a
// comment; every event ends with an empty line.
func TestStreamSaysThatItIsThere(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		got := streamed(func(*frames.Hub) { time.Sleep(3500 * time.Millisecond) })
		assert.Equal(t, "retry: 1000\n\n"+strings.Repeat(": heart-beat\n\n", 3), got)
	})
}

func TestOldFrameIsSentAsNotLive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		got := streamed(func(hub *frames.Hub) {
			f := holding()
			f.At = f.At.Add(-time.Minute)
			hub.Publish(f)
			synctest.Wait()
		})
		assert.Contains(t, got, `"live":false`)
		assert.Contains(t, got, `"age_s":60,`)
	})
}

func TestStreamsAreBounded(t *testing.T) {
	o, _ := options(&frames.Hub{})
	s := &server{Options: o, streams: make(chan struct{})} // no room at all
	w := httptest.NewRecorder()
	s.events(w, request("GET", "/api/v1/events"))
	requireProblem(t, w.Result(), http.StatusServiceUnavailable)
}

func TestServeEndsOpenStreamsAndLeavesNothingBehind(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent()) // the browser of other tests stays
	hub := &frames.Hub{}
	hub.Publish(holding())
	o, _ := options(hub)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error)
	go func() { served <- Serve(ctx, l, New(o)) }()

	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	a, err := client.Get("http://" + l.Addr().String() + "/api/v1/events")
	require.NoError(t, err)
	defer a.Body.Close()
	lines := bufio.NewScanner(a.Body)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() && !strings.HasPrefix(lines.Text(), "data: ") {
	}
	start := time.Now()
	cancel()
	for lines.Scan() {
	}
	assert.NoError(t, lines.Err(), "the stream ends as a whole answer does")
	assert.NoError(t, <-served)
	assert.Less(t, time.Since(start), shutdownWithin)
}

func TestServeTellsWhyItEndedByItself(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close())
	assert.ErrorIs(t, Serve(t.Context(), l, http.NotFoundHandler()), net.ErrClosed)
}
