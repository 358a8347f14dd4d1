//go:build unix

package api

import (
	"bufio"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
	"meltwarden/daemon/timing"
)

// openPages is how many follow the bench at once.
const openPages = 20

// TestTheOpenPages is no test but the program that TestNumbersOfOpenPages starts: it
// reads what the pages would, says of each that it is there, and throws the rest away.
func TestTheOpenPages(t *testing.T) {
	address := os.Getenv("PAGES_OF")
	if address == "" {
		return
	}
	var group sync.WaitGroup
	for range openPages {
		group.Go(func() {
			a, err := http.Get(address + "/api/v1/events")
			if err != nil {
				return
			}
			defer a.Body.Close()
			fmt.Println("open")
			_, _ = io.Copy(io.Discard, a.Body) // until the server goes
		})
	}
	group.Wait()
}

// TestNumbersOfOpenPages prints what twenty open pages cost the daemon at five frames a
// second: the processor's time of this process with them, who are in another one, less
// that without.
func TestNumbersOfOpenPages(t *testing.T) {
	hub := &frames.Hub{}
	o, _ := options(hub)
	server := httptest.NewServer(New(o))
	defer server.Close()
	defer server.CloseClientConnections()
	const beats, period = 10, 200 * time.Millisecond
	followed := func() time.Duration {
		before := timing.Used()
		beat := time.NewTicker(period)
		defer beat.Stop()
		for n := range beats {
			<-beat.C
			hub.Publish(passing(n))
		}
		return timing.Used() - before
	}
	alone := followed()
	pages := exec.Command(os.Args[0], "-test.run=^TestTheOpenPages$", "-test.count=1")
	pages.Env = append(os.Environ(), "PAGES_OF="+server.URL)
	said, err := pages.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, pages.Start())
	defer func() { _ = pages.Process.Kill(); _ = pages.Wait() }()
	lines := bufio.NewScanner(said)
	for range openPages {
		require.True(t, lines.Scan())
		require.Equal(t, "open", lines.Text())
	}
	share := float64(followed()-alone) / float64(beats*period)
	t.Logf("%d open pages cost %.2f %% of one processor", openPages, 100*share)
	if !timing.RaceDetector {
		assert.Less(t, share, .05)
	}
}
