//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"regexp"
	"strings"
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
	assert.Equal(t, 19, len(regexp.MustCompile(`(?m)^ok `).FindAllString(out, -1)), out)
	assert.NotContains(t, out, "BAD")

	require.NoError(t, bench.Inject(simbench.OpenProbe, simbench.Place{Probe: registers.Melt}))
	injected := bench.Truth().At // the module converts eight times a second
	require.Eventually(t, func() bool { return bench.Truth().At > injected+200*time.Millisecond }, time.Minute, 10*time.Millisecond)
	out, err = run(t.Context(), "check", "--config", file)
	require.Error(t, err)
	assert.Contains(t, err.Error(), "1 of 19 channels did not answer as they should")
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
	require.Len(t, found.Channels, 19)
	assert.Equal(t, "melt", found.Channels[0].Role)
	assert.Equal(t, "open", found.Channels[0].Value)
	assert.False(t, found.Channels[0].Good)
	assert.True(t, found.Channels[1].Good)

	for _, p := range bench.Truth().Pots {
		assert.Zero(t, p.HeatJ)
	}
}

// TestCheckHearsTheHeaters: a heater module that does not answer is found out,
// though nothing is read from it.
func TestCheckHearsTheHeaters(t *testing.T) {
	bench, file := simulated(t)
	require.NoError(t, bench.Inject(simbench.NoReply, simbench.Place{Unit: simbench.UnitPower}))
	out, err := run(t.Context(), "check", "--config", file)
	assert.ErrorContains(t, err, "4 of 19 channels did not answer as they should")
	assert.Regexp(t, `(?m)^BAD  heater +left +power +zero is not confirmed$`, out)
	assert.Regexp(t, `(?m)^BAD  contactor +power +zero is not confirmed$`, out)
	assert.Regexp(t, `(?m)^ok   lamp +contacts +zero is confirmed$`, out)
}

// TestCheckOfAPortInUse: two programs on one line would read each other's answers.
func TestCheckOfAPortInUse(t *testing.T) {
	_, file := simulated(t)
	page, _, end := serving(t, file)
	require.Eventually(t, func() bool { return status(page+"/readyz") == http.StatusOK }, time.Minute, 20*time.Millisecond)
	_, err := run(t.Context(), "check", "--config", file)
	assert.ErrorContains(t, err, "line bench: ")
	assert.ErrorContains(t, err, "in use")
	require.NoError(t, end())
}

// serving runs the command serve until end is called, and returns its page and
// what it prints.
func serving(t *testing.T, file string) (page string, said *tap, end func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	said = &tap{}
	c := root()
	c.SetArgs([]string{"serve", "--config", file, "--listen", "127.0.0.1:0", "--data", t.TempDir()})
	c.SetOut(said)
	c.SetErr(said)
	over := make(chan error, 1)
	go func() { over <- c.ExecuteContext(ctx) }()
	end = sync.OnceValue(func() error {
		cancel()
		return <-over
	})
	t.Cleanup(func() { _ = end() }) // where the test has not asked
	require.Eventually(t, func() bool {
		page = regexp.MustCompile(`http://\S+`).FindString(said.String())
		return page != ""
	}, time.Minute, 10*time.Millisecond)
	return page, said, end
}

// TestServeWaitsForItsPort: an adapter that is not plugged in yet is said, with
// the way out, and is no reason to give up.
func TestServeWaitsForItsPort(t *testing.T) {
	page, said, end := serving(t, benchIn(t, t.TempDir(), "/dev/there-is-no-such-port"))
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "is the adapter plugged in") }, time.Minute, 20*time.Millisecond)
	assert.Equal(t, http.StatusOK, status(page+"/"))
	assert.Equal(t, http.StatusOK, status(page+"/healthz"), "cycles go on")
	assert.Equal(t, http.StatusServiceUnavailable, status(page+"/readyz"), "and nothing has been read")
	assert.ErrorContains(t, end(), "did not confirm zero")
	assert.Zero(t, status(page+"/"), "the page is gone")
}

// TestServeRefusesHeat: a bench that this program does not simulate itself is
// read, guarded and shown, and never heated, whoever presses.
func TestServeRefusesHeat(t *testing.T) {
	bench, file := simulated(t)
	page, said, end := serving(t, file)
	require.Eventually(t, func() bool { return status(page+"/readyz") == http.StatusOK }, time.Minute, 20*time.Millisecond)
	assert.Contains(t, said.String(), "Heat is refused")

	assert.Equal(t, http.StatusOK, status(page+"/"))

	pressed := bench.Truth().At
	bench.PressEnable()
	require.Eventually(t, func() bool { return bench.Truth().At > pressed+2*time.Second }, time.Minute, 50*time.Millisecond)
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

	require.NoError(t, end())
	assert.Contains(t, said.String(), "heaters told zero, line closed")
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
