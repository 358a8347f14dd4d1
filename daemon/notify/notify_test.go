package notify

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAMessageArrives at a real HTTP server, through the library.
func TestAMessageArrives(t *testing.T) {
	got := make(chan string, 1)
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		got <- string(body)
	}))
	defer server.Close()
	n, err := New([]string{"generic+" + server.URL + "/bench"})
	require.NoError(t, err)
	ctx, end := context.WithCancel(context.Background())
	over := make(chan struct{})
	go func() { defer close(over); n.Run(ctx, func(err error) { assert.NoError(t, err) }) }()
	n.Tell("all pots are ready to pour")
	assert.Regexp(t, `^\d\d:\d\d all pots are ready to pour$`, <-got)
	require.Eventually(t, func() bool { sent, _ := n.Counts(); return sent == 1 }, time.Minute, time.Millisecond)
	end()
	<-over
}

// TestAnAddressThatIsNone is told by its place, without the secret in it.
func TestAnAddressThatIsNone(t *testing.T) {
	_, err := New([]string{"generic+http://127.0.0.1:1/x", "nosuch://secret@host"})
	require.Error(t, err)
	assert.Contains(t, err.Error(), "daemon.notify[2]")
	assert.NotContains(t, err.Error(), "secret")
}

// TestNoSecretIsInAnError: of a service that is not there, through the library.
func TestNoSecretIsInAnError(t *testing.T) {
	n, err := New([]string{"generic+http://127.0.0.1:1/SECRETPATH?x=SECRETKEY"})
	require.NoError(t, err)
	err = n.send("hello")
	assert.ErrorContains(t, err, "service 1 of daemon.notify could not be reached")
	assert.NotContains(t, err.Error(), "SECRET")
	assert.NotContains(t, err.Error(), "127.0.0.1")
}

// TestTriedAgainAndGivenUp, and the next message goes out all the same, not sooner
// than people can read.
func TestTriedAgainAndGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex // the race detector does not know what a bubble's Wait orders
		var list []string
		down := true
		n := newNotifier(func(m string) error {
			mu.Lock()
			defer mu.Unlock()
			list = append(list, m[len("15:04 "):])
			if down {
				return errors.New("no network")
			}
			return nil
		})
		said := func() string {
			mu.Lock()
			defer mu.Unlock()
			return strings.Join(list, " ")
		}
		ctx, end := context.WithCancel(context.Background())
		gaveUp := make(chan error, 9)
		over := make(chan struct{})
		go func() { defer close(over); n.Run(ctx, func(err error) { gaveUp <- err }) }()
		n.Tell("one")
		n.Tell("two")
		time.Sleep(36 * time.Second)
		synctest.Wait()
		assert.Equal(t, "one one one", said())
		assert.Len(t, gaveUp, 1)
		assert.ErrorContains(t, n.Failing(), "no network")
		mu.Lock()
		down = false
		mu.Unlock()
		time.Sleep(apart)
		synctest.Wait()
		assert.Equal(t, "one one one two", said())
		assert.NoError(t, n.Failing())
		for range waiting + 3 {
			n.Tell("flood")
		}
		synctest.Wait()
		_, dropped := n.Counts()
		assert.EqualValues(t, 1+3, dropped)
		end()
		<-over
	})
}
