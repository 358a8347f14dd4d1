//go:build unix

package daemon

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/view"
	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/plug"
	"meltwarden/devices/ports"
	"meltwarden/devices/ports/hub"
	"meltwarden/devices/simbench"
)

// Invented adapters: of the thermocouples, of everything else, and a strange one.
var (
	ofProbes = ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A1", Text: "Serial Adapter"}
	ofPower  = ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A2", Text: "Serial Adapter"}
	strange  = ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A3", Text: "Serial Adapter"}
)

// plugged is the demo's bench on two adapters of a hub, its thermocouples on one of them.
type plugged struct {
	*rig
	t   *testing.T
	hub *hub.Hub
	log *bytes.Buffer

	mu    sync.Mutex
	ends  map[string][]*pipe.End // the far ends of what was opened, by the names of ports
	busy  sync.WaitGroup
	logMu sync.Mutex
}

// Write keeps the log.
func (p *plugged) Write(b []byte) (int, error) {
	p.logMu.Lock()
	defer p.logMu.Unlock()
	return p.log.Write(b)
}

// said returns the log since it was asked for last.
func (p *plugged) said() string {
	p.logMu.Lock()
	defer p.logMu.Unlock()
	defer p.log.Reset()
	return p.log.String()
}

// twoLines is the demo's bench file with its lines named so.
func twoLines(t *testing.T, probes, power string) *config.Bench {
	t.Helper()
	demo, err := config.DemoBench(nil)
	require.NoError(t, err)
	text := strings.Replace(string(demo.Typed), "  - name: bench\n    port: simulated\n    baud: 19200\n    parity: even\n    stop-bits: 1\n",
		"  - {name: probes, "+probes+"}\n  - {name: power, "+power+"}\n", 1)
	text = strings.Replace(text, "line: bench", "line: probes", 1)
	text = strings.ReplaceAll(text, "line: bench", "line: power")
	file, err := config.ParseBench("bench.yaml", []byte(text), nil)
	require.NoError(t, err)
	return file
}

func startPlugged(t *testing.T, file *config.Bench) *plugged {
	p := &plugged{t: t, hub: hub.New(t.TempDir()), log: &bytes.Buffer{}, ends: map[string][]*pipe.End{}}
	require.NoError(t, p.hub.Plug(ofProbes, "1.1", "ttyUSB0"))
	require.NoError(t, p.hub.Plug(ofPower, "1.2", "ttyUSB1"))
	p.rig = startOver(t, file, func(bench *simbench.Bench) devices.Opener {
		return plug.New(ports.Sysfs(p.hub.Root), func(name string, _ devices.LineConfig) (modbus.Port, error) {
			ours, theirs := pipe.New()
			p.mu.Lock()
			defer p.mu.Unlock()
			p.ends[name] = append(p.ends[name], ours)
			p.busy.Go(func() { _ = bench.Serve(context.Background(), ours) }) // until it is pulled
			return theirs, nil
		}).Open
	}, func(o *Options, b *simbench.Bench) {
		proven(o, b)
		o.Log = slog.New(slog.NewTextHandler(p, nil))
	})
	return p
}

// pull takes adapters out.
func (p *plugged) pull(names ...string) {
	for _, name := range names {
		require.NoError(p.t, p.hub.Pull(name))
		p.mu.Lock()
		for _, end := range p.ends["/dev/"+name] {
			end.Close()
		}
		delete(p.ends, "/dev/"+name)
		p.mu.Unlock()
	}
}

func (p *plugged) put(a ports.Adapter, socket, name string) {
	require.NoError(p.t, p.hub.Plug(a, socket, name))
}

// close ends everything.
func (p *plugged) close() {
	p.end()
	require.NoError(p.t, <-p.over)
	p.mu.Lock()
	for _, ends := range p.ends {
		for _, end := range ends {
			end.Close()
		}
	}
	p.mu.Unlock()
	p.busy.Wait()
}

// found are what the bench's page would say now: the guard's findings, and lost lines.
func (p *plugged) found() []view.Condition {
	return view.WithLinesLost(view.Of(p.Hub().Latest(), p.opts.Settings, time.Now()).Conditions, p.lost())
}

func titles(found []view.Condition) (all []string) {
	for _, c := range found {
		all = append(all, c.Where+": "+c.Title+". "+c.Instruction)
	}
	return all
}

// TestAReplugWaitsForAPress: whichever line is lost, for however short, and under whatever
// name it comes back, nothing heats before somebody presses.
func TestAReplugWaitsForAPress(t *testing.T) {
	for name, change := range map[string]func(p *plugged){
		"the probes, for a moment": func(p *plugged) {
			p.pull("ttyUSB0")
			p.put(ofProbes, "1.1", "ttyUSB5")
		},
		"the heaters, for a moment": func(p *plugged) {
			p.pull("ttyUSB1")
			p.put(ofPower, "1.2", "ttyUSB5")
		},
		"both, back with each other's names": func(p *plugged) {
			p.pull("ttyUSB0", "ttyUSB1")
			time.Sleep(700 * time.Millisecond)
			p.put(ofPower, "1.2", "ttyUSB0")
			p.put(ofProbes, "1.1", "ttyUSB1")
		},
		"the probes, for long, into another socket": func(p *plugged) {
			p.pull("ttyUSB0")
			time.Sleep(20 * time.Second)
			p.put(ofProbes, "1.4", "ttyUSB0")
		},
	} {
		t.Run(name, func(t *testing.T) {
			file := twoLines(t, "adapter: {serial: A1}", "adapter: {serial: A2}")
			synctest.Test(t, func(t *testing.T) {
				p := startPlugged(t, file)
				p.enable(t)
				assert.Contains(t, p.said(), `line=probes port=/dev/ttyUSB0 adapter="fff1:0001 serial \"A1\"`)
				change(p)
				time.Sleep(5 * time.Second)
				f := p.Hub().Latest()
				assert.Equal(t, control.HeatTripped, f.Heat)
				requireCold(t, p.bench)
				assert.Empty(t, p.lost(), "both lines are back")
				assert.True(t, hasCode(f, guard.HeaterForgot), "%v", titles(p.found()))
				time.Sleep(time.Minute)
				requireCold(t, p.bench)
				assert.Contains(t, p.said(), `heat="waits for a press of the enable button"`)
				p.bench.PressEnable() // resets
				time.Sleep(3 * time.Second)
				requireCold(t, p.bench)
				p.enable(t)
				p.close()
			})
		})
	}
}

func hasCode(f *frames.Frame, code guard.Code) bool {
	for _, c := range f.Conditions {
		if c.Code == code {
			return true
		}
	}
	return false
}

// scraped are the samples of the metrics that begin so, as a metrics server gets them.
func (p *plugged) scraped(prefix string) (all []string) {
	w := httptest.NewRecorder()
	p.metrics.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	for line := range strings.Lines(w.Body.String()) {
		if strings.HasPrefix(line, prefix) {
			all = append(all, strings.TrimSpace(strings.TrimPrefix(line, prefix)))
		}
	}
	return all
}

// TestALostLineIsToldElsewhere: one message when it is lost and one when it is back for good,
// however often it comes and goes in between, and metrics that count every loss.
func TestALostLineIsToldElsewhere(t *testing.T) {
	file := twoLines(t, "adapter: {serial: A1}", "adapter: {serial: A2}")
	synctest.Test(t, func(t *testing.T) {
		p := startPlugged(t, file)
		ctx, leave := context.WithCancel(context.Background())
		var mu sync.Mutex
		var all []string
		p.busy.Go(func() {
			p.tellAway(ctx, func(m string) {
				mu.Lock()
				defer mu.Unlock()
				all = append(all, m)
			})
		})
		told := func() (lines, rest []string) {
			mu.Lock()
			defer mu.Unlock()
			for _, m := range all {
				if strings.Contains(m, ", Line ") {
					lines = append(lines, m)
				} else {
					rest = append(rest, m)
				}
			}
			all = nil
			return lines, rest
		}
		p.enable(t)
		lines, _ := told()
		assert.Empty(t, lines, "none was lost yet")
		assert.Equal(t, []string{`{line="power"} 1`, `{line="probes"} 1`}, p.scraped("meltwarden_serial_line_connected"))
		assert.Equal(t, []string{`{line="power"} 0`, `{line="probes"} 0`}, p.scraped("meltwarden_serial_line_losses_total"))

		p.pull("ttyUSB0")
		time.Sleep(4 * time.Second)
		lines, rest := told()
		require.Len(t, lines, 1)
		assert.Contains(t, lines[0], `Line probes: the adapter`)
		assert.Contains(t, lines[0], "See that the plates cool: heat that rests on the line was told off, or goes off when the heater's device or its contactor times out. Once the line is back, heat waits for a press of the enable button.")
		t.Logf("a line is lost: %q and %d messages of what the guard found", lines[0], len(rest))
		assert.NotEmpty(t, rest)
		assert.Less(t, len(rest), 8, "no more than the notifier has room for beside it")
		assert.Equal(t, []string{`{line="power"} 1`, `{line="probes"} 0`}, p.scraped("meltwarden_serial_line_connected"))

		for range 20 {
			p.put(ofProbes, "1.1", "ttyUSB0")
			time.Sleep(4 * time.Second)
			p.pull("ttyUSB0")
			time.Sleep(4 * time.Second)
		}
		p.put(ofProbes, "1.1", "ttyUSB0")
		time.Sleep(8 * time.Second)
		lines, _ = told()
		assert.Empty(t, lines, "it is not back for good")
		time.Sleep(8 * time.Second)
		lines, _ = told()
		require.Len(t, lines, 1)
		assert.Contains(t, lines[0], "was lost 21 times from ")
		assert.Equal(t, []string{`{line="power"} 1`, `{line="probes"} 1`}, p.scraped("meltwarden_serial_line_connected"))
		assert.Equal(t, []string{`{line="power"} 0`, `{line="probes"} 21`}, p.scraped("meltwarden_serial_line_losses_total"))
		assert.Contains(t, p.lines().Lines[0].Where(), "It was lost 21 times since the program began: look for a loose plug.")
		t.Logf("21 losses: 2 messages; the second %q", lines[0])
		requireCold(t, p.bench)
		leave()
		p.close()
	})
}

// TestALostLineIsToldPlainly: which, since when, why and what to do, and no heat comes of
// an adapter that another line had.
func TestALostLineIsToldPlainly(t *testing.T) {
	file := twoLines(t, "adapter: {serial: A1}", "port: /dev/ttyUSB1")
	synctest.Test(t, func(t *testing.T) {
		p := startPlugged(t, file)
		p.enable(t)
		p.said()
		began := time.Now()
		p.pull("ttyUSB0")
		time.Sleep(4 * time.Second)
		lost := titles(p.lost())
		require.Len(t, lost, 1)
		since := began.Local().Format(time.TimeOnly)
		assert.Equal(t, `Line probes: the adapter serial "A1" is not plugged in, since `+since+
			`. Plug it in, into the socket it had. See that the plates cool: heat that rests on the line was told off, or goes off when the heater's device or its contactor times out. Once the line is back, heat waits for a press of the enable button.`, lost[0])
		found := p.found()
		assert.Equal(t, []string{"heater_forgot", view.LineLostCode}, []string{found[0].Code, found[1].Code}, "behind what it is the cause of")
		assert.Contains(t, p.said(), `msg="line is not open" line=probes cause=absent why="adapter serial \"A1\" is not plugged in: plug it in, or correct the bench file (meltwarden ports lists them); there are /dev/ttyUSB1`)
		p.put(ofProbes, "1.1", "ttyUSB2")
		time.Sleep(4 * time.Second)
		assert.Empty(t, p.lost())
		assert.Contains(t, p.said(), `msg="line is open" line=probes port=/dev/ttyUSB2`)

		p.pull("ttyUSB1")
		p.put(strange, "1.2", "ttyUSB1")
		time.Sleep(4 * time.Second)
		lost = titles(p.lost())
		require.Len(t, lost, 1)
		assert.Contains(t, lost[0], `Line power: port /dev/ttyUSB1 is fff1:0001 serial "A3" in socket 0000:00:14.0/1.2 now, and was fff1:0001 serial "A2"`)
		for range 3 {
			p.bench.PressEnable()
			time.Sleep(3 * time.Second)
		}
		requireCold(t, p.bench)
		p.pull("ttyUSB1")
		p.put(ofPower, "1.2", "ttyUSB1")
		time.Sleep(4 * time.Second)
		assert.Empty(t, p.lost())
		requireCold(t, p.bench)
		p.bench.PressEnable() // resets
		time.Sleep(3 * time.Second)
		p.enable(t)
		p.close()
	})
}
