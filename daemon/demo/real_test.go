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
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/config"
	"meltwarden/daemon/frames"
)

// TestRealTimeOverAPseudoTerminal starts the whole program in process at ×1, with
// a real serial port and a real page, and stops it again. It prints the time from
// the start to the first reading.
func TestRealTimeOverAPseudoTerminal(t *testing.T) {
	defer goleak.VerifyNone(t)
	bench, err := config.DemoBench(nil)
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	page := "http://" + listener.Addr().String()

	began := time.Now()
	d, err := New(Options{Bench: bench, Speed: 1, Seed: 1, Listener: listener, Version: "test", Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	ctx, end := context.WithCancel(context.Background())
	defer end()
	first, enabled := make(chan time.Duration, 1), make(chan struct{}, 1)
	over := make(chan error, 1)
	go func() {
		over <- d.Run(ctx, func(f *frames.Frame) {
			if frames.Melt(&f.Pots[0]).Known() {
				offer(first, time.Since(began))
			}
			if f.Outputs.Contactor {
				offer(enabled, struct{}{})
			}
		})
	}()
	took := <-first
	t.Logf("start to first reading: %.0f ms", 1000*took.Seconds())
	assert.Less(t, took, time.Second)

	for _, path := range []string{"/", "/healthz", "/readyz", "/api/v1/bench", "/api/v1/trend", "/metrics"} {
		status, _ := get(t, page+path)
		assert.Equal(t, http.StatusOK, status, path)
	}
	checkMetrics(t, page)

	<-enabled // the simulated maker has pressed the bench's button
	answer, err := http.Post(page+"/api/v1/off", "", nil)
	require.NoError(t, err)
	answer.Body.Close()
	assert.Less(t, answer.StatusCode, 300)
	require.Eventually(t, func() bool { return !d.Bench.Truth().Contactor }, 2*time.Second, 10*time.Millisecond)

	stopping := time.Now()
	end()
	require.NoError(t, <-over, "the heaters confirmed zero")
	assert.Less(t, time.Since(stopping), 3*time.Second)
	for _, p := range d.Bench.Truth().Pots {
		assert.Zero(t, p.PowerW)
	}
	http.DefaultClient.CloseIdleConnections()
}

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
			t.Error("promtool is not installed")
		}
		t.Log("promtool is not installed: the live metrics were not checked by it")
		return
	}
	check := exec.Command(tool, "check", "metrics")
	check.Stdin = strings.NewReader(body)
	said, err := check.CombinedOutput()
	assert.NoError(t, err, string(said))
}
