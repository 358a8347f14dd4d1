//go:build unix

package demo

import (
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/config"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// TestRealTimeOverAPseudoTerminal starts the whole program in process at ×1, with
// a real serial port and a real page, and stops it while it heats. It prints the
// time from the start to the first reading.
func TestRealTimeOverAPseudoTerminal(t *testing.T) {
	defer goleak.VerifyNone(t)
	defer http.DefaultClient.CloseIdleConnections()
	bench, err := config.DemoBench(nil)
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	page := &watched{Listener: listener}

	began := time.Now()
	past, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer past.Close()
	d, err := New(Options{Bench: bench, Speed: 1, Seed: 1, Listener: page, NoMaker: true, Version: "test", Log: slog.New(slog.DiscardHandler), History: past})
	require.NoError(t, err)
	page.onClose = func() { page.contactorAtClose = d.Bench.Truth().Contactor }
	ctx, end := context.WithCancel(context.Background())
	defer end()
	first := make(chan time.Duration, 1)
	over := make(chan error, 1)
	go func() {
		over <- d.Run(ctx, func(f *frames.Frame) {
			if frames.Melt(&f.Pots[0]).Known() {
				offer(first, time.Since(began))
			}
		})
	}()
	took := <-first
	t.Logf("start to first reading: %.0f ms", 1000*took.Seconds())
	if !raced { // it slows everything down
		assert.Less(t, took, time.Second)
	}

	for _, path := range []string{"/", "/healthz", "/readyz", "/api/v1/bench", "/api/v1/trend", "/metrics"} {
		status, _ := get(t, page.url()+path)
		assert.Equal(t, http.StatusOK, status, path)
	}
	t.Run("promtool", func(t *testing.T) { checkMetrics(t, page.url()) })

	enable(t, d)
	answer, err := http.Post(page.url()+"/api/v1/off", "", nil)
	require.NoError(t, err)
	answer.Body.Close()
	assert.Less(t, answer.StatusCode, 300)
	eventually(t, func() bool { return !d.Bench.Truth().Contactor && !slices.Contains(drawing(d.Bench), true) })

	enable(t, d)
	stopping := time.Now()
	end()
	require.NoError(t, <-over, "the heaters confirmed zero")
	t.Logf("stopped within %.0f ms, out of full heat", 1000*time.Since(stopping).Seconds())
	assert.Less(t, time.Since(stopping), 3*time.Second)
	assert.True(t, page.closed, "the page ended")
	assert.False(t, page.contactorAtClose, "and the heat before it")
	assert.NotContains(t, drawing(d.Bench), true)

	back, err := past.Replay(1)
	require.NoError(t, err)
	t.Logf("replayed %d cycles of real time", back.Cycles)
	assert.Nil(t, back.Differs)
	assert.Greater(t, back.Cycles, 10)
}

// enable presses the bench's button, which must have been seen open for a second
// before, until every heater draws power. Once is enough, unless other tests take the
// processor for so long that a press is void or a trip is to be reset first.
func enable(t *testing.T, d *Demo) {
	t.Helper()
	for range 10 {
		since := time.Duration(-1)
		require.Eventually(t, func() bool {
			f := d.Daemon.Hub().Latest()
			if f.Contacts.Enable.Closed {
				since = -1
			} else if since < 0 {
				since = f.Time
			}
			return since >= 0 && f.Time-since > 1200*time.Millisecond
		}, 10*time.Second, 10*time.Millisecond)
		d.Bench.PressEnable()
		heated := func() bool { return !slices.Contains(drawing(d.Bench), false) }
		for pressed := time.Now(); time.Since(pressed) < 3*time.Second; time.Sleep(10 * time.Millisecond) {
			if heated() {
				return
			}
		}
	}
	require.Fail(t, "pressed ten times, and not heated")
}

func eventually(t *testing.T, done func() bool) {
	t.Helper()
	require.Eventually(t, done, 2*time.Second, 10*time.Millisecond)
}

// watched is a listener that notes how the bench is when it is closed.
type watched struct {
	net.Listener
	once                     sync.Once
	onClose                  func()
	closed, contactorAtClose bool
}

func (w *watched) Close() error {
	w.once.Do(func() {
		w.closed = true
		w.onClose()
	})
	return w.Listener.Close()
}

func (w *watched) url() string { return "http://" + w.Addr().String() }

// offer puts v into a channel that has room, and drops it where it has none.
func offer[T any](to chan T, v T) {
	select {
	case to <- v:
	default:
	}
}

func get(t *testing.T, url string) (int, string) {
	t.Helper()
	answer, err := http.Get(url)
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer.StatusCode, string(body)
}

// checkMetrics lets Prometheus's own tool look at a live page of metrics.
func checkMetrics(t *testing.T, page string) {
	t.Helper()
	_, body := get(t, page+"/metrics")
	assert.Contains(t, body, `meltwarden_melt_temperature_celsius{pot="left"}`)
	tool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
			t.Fatal("promtool is not installed")
		}
		t.Skip("promtool is not installed")
	}
	check := exec.Command(tool, "check", "metrics")
	check.Stdin = strings.NewReader(body)
	said, err := check.CombinedOutput()
	assert.NoError(t, err, string(said))
}
