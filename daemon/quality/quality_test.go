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
	watchedBench(t, func(_ *simbench.Bench, w *quality.Watcher, ears *ear) { test(w, ears) })
}

func watchedBench(t *testing.T, test func(b *simbench.Bench, w *quality.Watcher, ears *ear)) {
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
		test(bench, w, e)
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

// tells writes to the simulated power unit over a line of its own, as another program would
// or a key at the unit: for a span, as long as its time-out does not let go in between.
func tells(t *testing.T, bench *simbench.Bench, span time.Duration, requests ...modbus.Request) {
	t.Helper()
	ours, theirs := pipe.New()
	served := make(chan struct{})
	go func() { defer close(served); _ = bench.Serve(context.Background(), ours) }()
	c := modbus.NewClient(theirs, 9600, clock.New(1))
	for range span / time.Second {
		for _, r := range requests {
			_, err := c.Exchange(&modbus.Device{Name: "power", Unit: simbench.UnitPower, Timeout: time.Second}, r)
			require.NoError(t, err)
		}
		time.Sleep(time.Second)
	}
	<-c.Close()
	ours.Close()
	<-served
}

// TestAnOutputThatReadsAsOnIsSaidPlainly on a bench that somebody else heats, and no longer
// once it is off; nothing is written meanwhile.
func TestAnOutputThatReadsAsOnIsSaidPlainly(t *testing.T) {
	var ears *ear
	watchedBench(t, func(bench *simbench.Bench, w *quality.Watcher, e *ear) {
		ears = e
		said := func() (block, plain string) {
			var b, p strings.Builder
			for _, line := range w.Now().Block("Lines of bench invented") {
				assert.LessOrEqual(t, utf8.RuneCountInString(line.Text), 79, line.Text)
				b.WriteString(line.Text + "\n")
			}
			require.NoError(t, w.Now().Plain(&p, time.Date(2026, 1, 2, 20, 0, 5, 0, time.UTC)))
			return b.String(), p.String()
		}
		block, plain := said()
		assert.NotContains(t, block+plain, "HEAT MAY BE ON", "nothing was asked yet")
		time.Sleep(5 * time.Second)
		block, plain = said()
		assert.NotContains(t, block+plain, "HEAT MAY BE ON")
		assert.Contains(t, plain, "heater of pot left (off), heater of pot right (off), contactor (off), lamp (off), buzzer (off). A relay that is welded reads as off.")

		tells(t, bench, 4*time.Second,
			modbus.Request{Function: modbus.WriteRegisters, Address: 0, Quantity: 2, Data: modbus.AppendRegisters(nil, 3500, 0)},
			modbus.Request{Function: modbus.WriteCoil, Address: 0, Quantity: 1, Data: modbus.AppendCoil(nil, true)})
		require.Positive(t, bench.Truth().Pots[0].PowerW, "it is heated")
		block, plain = said()
		t.Log("\n" + block)
		words := "HEAT MAY BE ON. Read back as on: heater of pot left (on, 35 %), contactor (on). Press the emergency stop, and see that every plate cools."
		assert.Contains(t, strings.Join(strings.Fields(block), " "), words)
		assert.Contains(t, plain, "20:00:05 "+words)
		assert.Less(t, strings.Index(block, "HEAT MAY BE ON"), strings.Index(block, "Line line"), "it stands first")
		report, err := json.Marshal(w.Now())
		require.NoError(t, err)
		assert.Contains(t, string(report), `{"role":"heater","pot":"left","device":"power","on":true,"heats":true,"value":"on, 35 %"}`)

		time.Sleep(5 * time.Second) // its time-out lets go
		require.Zero(t, bench.Truth().Pots[0].PowerW)
		block, plain = said()
		assert.NotContains(t, block+plain, "HEAT MAY BE ON")
	})
	ears.mu.Lock()
	defer ears.mu.Unlock()
	for what := range ears.heard {
		assert.LessOrEqual(t, what[1], modbus.ReadInput, "unit %d was written to", what[0])
	}
}

// TestAPortThatDoesNotOpenIsSaid at once: it may be another program's.
func TestAPortThatDoesNotOpenIsSaid(t *testing.T) {
	cfg := devices.Config{Lines: []devices.LineConfig{{Name: "line", Baud: 9600}}}
	_, err := quality.Open(cfg, func(devices.LineConfig) (modbus.Port, error) { return nil, context.Canceled }, clock.New(1), period)
	assert.ErrorContains(t, err, "line line")
}
