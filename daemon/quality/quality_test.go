package quality_test

import (
	"context"
	"encoding/json"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/daemon/quality"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/simbench"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const period = 200 * time.Millisecond

// ear hears which functions and units are asked over a port.
type ear struct {
	modbus.Port
	mu    sync.Mutex
	heard map[[2]uint8]int
}

// Write implements modbus.Port.
func (e *ear) Write(p []byte) (int, error) {
	e.mu.Lock()
	e.heard[[2]uint8{p[0], p[1]}]++
	e.mu.Unlock()
	return e.Port.Write(p)
}

// watched runs a test on a simulated bench of two pots at 9600 bits per second, with one
// device more than there are, and what it heard.
func watched(t *testing.T, test func(w *quality.Watcher, ears *ear)) {
	synctest.Test(t, func(t *testing.T) {
		clk := clock.New(1)
		bench, err := simbench.New(simbench.Config{Seed: 1, Baud: 9600, Pots: []simbench.Pot{
			{Name: "left", VolumeML: 300, HeaterW: 1000}, {Name: "right", VolumeML: 300, HeaterW: 1000},
		}}, clk)
		require.NoError(t, err)
		cfg := devices.Config{Lines: []devices.LineConfig{{Name: "line", Baud: 9600}}, Channels: bench.Channels(), Pots: []string{"left", "right"}}
		for _, d := range bench.Devices() {
			cfg.Devices = append(cfg.Devices, devices.DeviceConfig{Name: d.Name, Line: "line", Unit: d.Unit, Timeout: 100 * time.Millisecond})
		}
		cfg.Devices = append(cfg.Devices, devices.DeviceConfig{Name: "missing", Line: "line", Unit: 99, Timeout: 100 * time.Millisecond})
		room := cfg.Channels[0]
		room.Role, room.Pot, room.Device = "mould", "", "missing"
		cfg.Channels = append(cfg.Channels, room)
		e := &ear{heard: map[[2]uint8]int{}}
		ctx, end := context.WithCancel(context.Background())
		var served sync.WaitGroup
		open := func(devices.LineConfig) (modbus.Port, error) {
			ours, theirs := pipe.New()
			served.Go(func() { _ = bench.Serve(ctx, ours) })
			e.Port = theirs
			return e, nil
		}
		w, err := quality.Open(cfg, open, clk, period)
		require.NoError(t, err)
		ran := make(chan struct{})
		go func() { defer close(ran); w.Run(ctx) }()
		test(w, e)
		end()
		<-ran
		served.Wait()
	})
}

// TestWatchingOnlyReads: every device is asked, five times a second while all answer, and
// nothing is written to any, at the end neither.
func TestWatchingOnlyReads(t *testing.T) {
	var ears *ear
	watched(t, func(w *quality.Watcher, e *ear) {
		ears = e
		time.Sleep(20 * time.Second)
		r := w.Now()
		assert.InDelta(t, 5, float64(r.CyclesPerS), 0.8, "one device is dead, and asked now and then")
		require.Len(t, r.Lines, 1)
		for _, d := range r.Lines[0].Devices {
			if d.Name == "missing" {
				assert.True(t, d.Dead)
				assert.Equal(t, "no answer", d.Troubles[0].Kind)
				continue
			}
			assert.Equal(t, d.Exchanges, d.Good, d.Name)
			assert.True(t, d.TurnMs.Known(), d.Name)
			assert.Greater(t, float64(d.WorstMs), 10.0)
		}
		for _, c := range r.Channels {
			assert.Equal(t, c.Device != "missing", c.Good, c)
		}
		_, err := json.Marshal(r)
		assert.NoError(t, err)
	})
	ears.mu.Lock()
	defer ears.mu.Unlock()
	for what := range ears.heard {
		assert.LessOrEqual(t, what[1], modbus.ReadInput, "unit %d was written to", what[0])
	}
	assert.GreaterOrEqual(t, len(ears.heard), 4)
}

// TestAReportFitsATerminal of 80 columns, and says what is wrong.
func TestAReportFitsATerminal(t *testing.T) {
	watched(t, func(w *quality.Watcher, _ *ear) {
		time.Sleep(10 * time.Second)
		var text strings.Builder
		for _, line := range w.Now().Block("Lines of bench invented") {
			assert.LessOrEqual(t, utf8.RuneCountInString(line.Text), 79, line.Text)
			text.WriteString(line.Text + "\n")
		}
		t.Log("\n" + text.String())
		for _, words := range []string{"Only reads", "every answer was good", "missing: no answer", "May be: no supply", "q or Ctrl-C ends", "It does not keep up", "Give device thermocouples a line of its own"} {
			assert.Contains(t, text.String(), words)
		}
		assert.Less(t, strings.Index(text.String(), "BAD  mould"), strings.Index(text.String(), "ok   melt"), "what is wrong stands first")
		var plain strings.Builder
		require.NoError(t, w.Now().Plain(&plain, time.Date(2026, 1, 2, 20, 0, 5, 0, time.UTC)))
		assert.Regexp(t, `(?m)^20:00:05 line/\w+: (\d+)/\d+, every answer was good, median \d+\.\d ms, longest \d+\.\d ms$`, plain.String())
		assert.Contains(t, plain.String(), "missing: 0/")
	})
}

// TestAPortThatDoesNotOpenIsSaid at once: it may be another program's.
func TestAPortThatDoesNotOpenIsSaid(t *testing.T) {
	cfg := devices.Config{Lines: []devices.LineConfig{{Name: "line", Baud: 9600}}}
	_, err := quality.Open(cfg, func(devices.LineConfig) (modbus.Port, error) { return nil, context.Canceled }, clock.New(1), period)
	assert.ErrorContains(t, err, "line line")
}
