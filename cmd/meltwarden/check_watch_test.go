//go:build unix

package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/quality"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/simbench"
)

// overheard counts the requests that come to a bench's end of a line, by function.
type overheard struct {
	simbench.Port
	mu  sync.Mutex
	all map[uint8]int
}

// Read implements simbench.Port.
func (o *overheard) Read(p []byte) (int, error) {
	n, err := o.Port.Read(p)
	o.mu.Lock()
	if n >= 8 {
		o.all[p[1]]++
	}
	o.mu.Unlock()
	return n, err
}

// onTerminal lets the demo's bench answer on a terminal, and returns its bench file.
func onTerminal(t *testing.T) (string, *overheard) {
	t.Helper()
	text, err := os.ReadFile("../../config/demo/bench.yaml")
	require.NoError(t, err)
	terminal, err := simbench.OpenTerminal()
	require.NoError(t, err)
	var pots []simbench.Pot
	for _, name := range []string{"left", "middle", "right"} {
		pots = append(pots, simbench.Pot{Name: name, VolumeML: 300, HeaterW: 1000})
	}
	bench, err := simbench.New(simbench.Config{Seed: 1, Pots: pots}, clock.New(1))
	require.NoError(t, err)
	heard := &overheard{Port: terminal, all: map[uint8]int{}}
	ctx, end := context.WithCancel(context.Background())
	served := make(chan struct{})
	go func() { defer close(served); _ = bench.Serve(ctx, heard) }()
	t.Cleanup(func() { end(); _ = terminal.Close(); <-served })
	file := filepath.Join(t.TempDir(), "bench.yaml")
	named := strings.Replace(string(text), "port: simulated", "port: "+terminal.Path(), 1)
	require.NotEqual(t, string(text), named, "the demo's port")
	require.NoError(t, os.WriteFile(file, []byte(named), 0o600))
	return file, heard
}

// TestWatchingLines: on a terminal it draws and ends by a key, elsewhere it writes lines or
// objects and ends with the program; nothing is written to any device.
func TestWatchingLines(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	file, heard := onTerminal(t)
	s := sit(t, 80, 90, "check", "--config", file, "--watch") // room for what a busy computer has to tell of its line
	s.shows(`Only reads: nothing is written`)
	s.shows(`Outputs, by their devices' own word: heater of pot left \(off\)`)
	s.shows(`thermocouples +\d+/\d+ +\d+\.\d ms`)
	s.shows(`ok   melt +left +thermocouples +\d+\.\d °C`)
	_, err := run(t.Context(), "check", "--config", file, "--watch", "--json")
	assert.ErrorContains(t, err, "in use by another program")
	s.types("q")
	s.left(0)

	c := command("check", "--config", file, "--watch", "--json")
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	var r quality.Report
	require.NoError(t, json.NewDecoder(out).Decode(&r))
	require.NoError(t, c.Process.Signal(syscall.SIGINT))
	require.NoError(t, c.Wait())
	assert.NotEmpty(t, r.Channels)
	assert.Len(t, r.Outputs, 6)
	for _, o := range r.Outputs {
		assert.True(t, o.On != nil && !*o.On, "%s %s: %s", o.Role, o.Pot, o.Value)
	}
	assert.Equal(t, "power", r.Lines[0].Devices[1].Name)
	heard.mu.Lock()
	defer heard.mu.Unlock()
	for function := range heard.all {
		assert.LessOrEqual(t, function, modbus.ReadInput, "something was written")
	}
	assert.NotEmpty(t, heard.all)
}
