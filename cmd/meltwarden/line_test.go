//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"regexp"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/devices/clock"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// simulated starts a simulated bench, like the demo's but without a person,
// behind a pseudo-terminal, and returns it with a bench file for it.
func simulated(t *testing.T) (*simbench.Bench, string) {
	t.Helper()
	described, err := config.DemoBench(nil)
	require.NoError(t, err)
	c := simbench.Config{Seed: 1}
	for _, p := range described.Pots {
		c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, HeaterW: p.HeaterW, VolumeML: 200})
	}
	bench, err := simbench.New(c, clock.New(1))
	require.NoError(t, err)
	terminal, err := simbench.OpenTerminal()
	require.NoError(t, err)
	ctx, end := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- bench.Serve(ctx, terminal) }()
	t.Cleanup(func() {
		end()
		assert.NoError(t, <-served)
		assert.NoError(t, terminal.Close())
	})
	return bench, benchIn(t, t.TempDir(), terminal.Path())
}

func TestCheckReadsEveryChannelAndNeverHeats(t *testing.T) {
	bench, file := simulated(t)
	out, err := run(t.Context(), "check", "--config", file)
	require.NoError(t, err, out)
	assert.Regexp(t, `(?m)^files are good: bench "demo bench", recipe "slate eel"`, out)
	assert.Equal(t, 13, len(regexp.MustCompile(`(?m)^ok `).FindAllString(out, -1)), out)
	assert.NotContains(t, out, "BAD")

	require.NoError(t, bench.Inject(simbench.OpenProbe, simbench.Place{Probe: registers.Melt}))
	injected := bench.Truth().At // the module converts eight times a second
	require.Eventually(t, func() bool { return bench.Truth().At > injected+200*time.Millisecond }, 5*time.Second, 10*time.Millisecond)
	out, err = run(t.Context(), "check", "--config", file)
	require.Error(t, err)
	assert.Contains(t, err.Error(), "1 of 13 channels gave no good reading")
	assert.Regexp(t, `(?m)^BAD  melt +left +thermocouples +open`, out)

	out, err = run(t.Context(), "check", "--config", file, "--json")
	require.Error(t, err)
	var found struct {
		Channels []struct {
			Role, Value string
			Good        bool
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out), &found), out)
	assert.Len(t, found.Channels, 13)

	for _, p := range bench.Truth().Pots {
		assert.Zero(t, p.HeatJ)
	}
}

// TestServeRefusesHeat: a bench that this program does not simulate itself is
// read, guarded and shown, and never heated, whoever presses.
func TestServeRefusesHeat(t *testing.T) {
	bench, file := simulated(t)
	ctx, end := context.WithCancel(t.Context())
	defer end()
	said := &tap{}
	c := root()
	c.SetArgs([]string{"serve", "--config", file, "--listen", "127.0.0.1:0", "--data", t.TempDir(), "--log-level", "error"})
	c.SetOut(said)
	over := make(chan error, 1)
	go func() { over <- c.ExecuteContext(ctx) }()

	var page string
	require.Eventually(t, func() bool {
		page = regexp.MustCompile(`http://\S+`).FindString(said.String())
		return page != ""
	}, 5*time.Second, 10*time.Millisecond)
	require.Eventually(t, func() bool { return status(page+"/readyz") == http.StatusOK }, 5*time.Second, 20*time.Millisecond)
	assert.Contains(t, said.String(), "Heat is refused")

	bench.PressEnable()
	require.Eventually(t, func() bool { return bench.Truth().At > 2*time.Second }, 10*time.Second, 50*time.Millisecond)
	answer, err := http.Get(page + "/api/v1/bench")
	require.NoError(t, err)
	defer answer.Body.Close()
	var shown struct {
		Heat       string
		Conditions []struct{ Code string }
	}
	require.NoError(t, json.NewDecoder(answer.Body).Decode(&shown))
	assert.Equal(t, "heat blocked", shown.Heat)
	require.Len(t, shown.Conditions, 1)
	assert.Equal(t, "heater_unproven", shown.Conditions[0].Code)

	end()
	require.NoError(t, <-over)
	truth := bench.Truth()
	assert.False(t, truth.Contactor)
	for _, p := range truth.Pots {
		assert.Zero(t, p.HeatJ)
	}
}

func status(url string) int {
	answer, err := http.Get(url)
	if err != nil {
		return 0
	}
	defer answer.Body.Close()
	return answer.StatusCode
}

// tap is an output that can be read while it is written to.
type tap struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (o *tap) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.Write(p)
}

func (o *tap) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.String()
}
