//go:build linux

package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"meltwarden/devices/registers"
)

// foreignBench is the map of testdata/commission/foreign_bench.py.
const foreignBench = `name: foreign bench
recipe: recipe.yaml
supply: {voltage: 120 V, breaker: 15 A}
pots:
  - {name: back, heater: {power: 200 W}}
  - {name: belly, heater: {power: 200 W}}
protection: {cut-out: invented, fuse: invented, e-stop: invented, earth: invented}
lines: [{name: a, port: "PORT", baud: 115200, parity: even}]
devices: [{name: everything, line: a, unit: 17, timeout: 300 ms}]
channels:
  - {role: melt, pot: back, device: everything, function: 3, address: 1000, type: float32, words: low-first, unit: F}
  - {role: plate, pot: back, device: everything, function: 3, address: 1002, type: float32, words: low-first, unit: F}
  - {role: melt, pot: belly, device: everything, function: 3, address: 1004, type: float32, words: low-first, unit: F}
  - {role: plate, pot: belly, device: everything, function: 3, address: 1006, type: float32, words: low-first, unit: F}
  - {role: heater, pot: back, device: everything, function: 6, address: 2000, type: uint16, scale: 0.1, unit: percent}
  - {role: heater, pot: belly, device: everything, function: 6, address: 2001, type: uint16, scale: 0.1, unit: percent}
  - {role: contactor, device: everything, function: 5, address: 7, type: bit}
  - {role: e-stop, device: everything, function: 2, address: 30, type: bit}
  - {role: enable, device: everything, function: 2, address: 31, type: bit}
  - {role: cut-out, device: everything, function: 2, address: 32, type: bit}
`

// foreignRecipe is invented, like the pots: 40 mL. The set-points are above the cure
// temperature, so that no pot has to cool before it is held.
const foreignRecipe = `name: two tone stick
colours:
  - {name: slate, pot: back, position: back, base: invented, volume: 40 mL, setpoint: 170 C, cure: {temperature: 165 C, dwell: 10 s}}
  - {name: rust, pot: belly, position: belly, base: invented, volume: 40 mL, setpoint: 167 C, cure: {temperature: 165 C, dwell: 10 s}}
`

var (
	foreignPots       = []string{"back", "belly"}
	foreignSetpointsC = []float64{170, 167}
)

// without skips the test for want of something, unless everything must be tried.
func without(t *testing.T, reason string) {
	t.Helper()
	if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
		t.Fatal(reason)
	}
	t.Skip(reason)
}

// foreign is the foreign bench at the far end of a line: a person's hands at it, and
// what it says of itself.
type foreign struct {
	t    *testing.T
	in   io.Writer
	line *badLine
	file string // the bench file for it

	mu    sync.Mutex
	heat  []change
	melts []melts
}

// change is a moment of monotonic time at which the heaters began or ceased to draw
// power.
type change struct {
	on  bool
	at  time.Duration
	why string // they ceased
}

// melts are the true melts, in degrees Celsius, at a moment of monotonic time.
type melts struct {
	at time.Duration
	c  [2]float64
}

// python is an interpreter with the libraries of the independent peers.
func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import pymodbus, serial").Run() == nil {
			return name
		}
	}
	without(t, "no python3 with pymodbus and pyserial")
	return ""
}

// startForeign starts the foreign bench behind a line of its own.
func startForeign(t *testing.T) *foreign {
	t.Helper()
	if os.Getenv("MELTWARDEN_TEST_ALL") == "" || testing.Short() {
		t.Skip("takes minutes of real time: set MELTWARDEN_TEST_ALL")
	}
	interpreter := python(t)
	f := &foreign{t: t, line: newBadLine(t), file: filepath.Join(t.TempDir(), "bench.yaml")}
	require.NoError(t, os.WriteFile(f.file, []byte(strings.Replace(foreignBench, "PORT", f.line.path, 1)), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(f.file), "recipe.yaml"), []byte(foreignRecipe), 0o600))
	c := exec.Command(interpreter, "../../testdata/commission/foreign_bench.py", f.line.far.Path(), "115200")
	var err error
	f.in, err = c.StdinPipe()
	require.NoError(t, err)
	listenTo(t, c, f.listen)
	return f
}

// listenTo starts a peer that ends with the test, and has somebody listen to what it says.
func listenTo(t *testing.T, c *exec.Cmd, listen func(io.Reader)) {
	t.Helper()
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	heard := make(chan struct{})
	go func() { defer close(heard); listen(out) }()
	t.Cleanup(func() { _ = c.Process.Kill(); <-heard; _ = c.Wait() })
}

// sayings are what a peer has said, line by line.
type sayings struct {
	mu   sync.Mutex
	said []string
}

// hear starts a peer and takes in what it says.
func (s *sayings) hear(t *testing.T, c *exec.Cmd) {
	t.Helper()
	listenTo(t, c, func(out io.Reader) {
		for lines := bufio.NewScanner(out); lines.Scan(); {
			s.mu.Lock()
			s.said = append(s.said, lines.Text())
			s.mu.Unlock()
		}
	})
}

// heard is all that it has said.
func (s *sayings) heard() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]string{}, s.said...)
}

// listen takes in what the bench says of itself.
func (f *foreign) listen(out io.Reader) {
	for lines := bufio.NewScanner(out); lines.Scan(); {
		var what, why string
		var s float64
		var m melts
		f.mu.Lock()
		if n, _ := fmt.Sscanf(lines.Text(), "melts %g %g %g", &s, &m.c[0], &m.c[1]); n == 3 {
			m.at = seconds(s)
			f.melts = append(f.melts, m)
		} else if n, _ := fmt.Sscanf(lines.Text(), "heat %s %g %s", &what, &s, &why); n >= 2 {
			f.heat = append(f.heat, change{what == "on", seconds(s), why})
		} else {
			assert.Fail(f.t, lines.Text())
		}
		f.mu.Unlock()
	}
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// monotonic is the system's monotonic clock, which the foreign bench reads too.
func monotonic(t *testing.T) time.Duration {
	var now unix.Timespec
	require.NoError(t, unix.ClockGettime(unix.CLOCK_MONOTONIC, &now))
	return time.Duration(now.Nano())
}

// changes are those of the heat since a moment.
func (f *foreign) changes(since time.Duration) (later []change) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, c := range f.heat {
		if c.at > since {
			later = append(later, c)
		}
	}
	return later
}

// hot reports whether any heater draws power.
func (f *foreign) hot() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.heat) > 0 && f.heat[len(f.heat)-1].on
}

func (f *foreign) do(line string) {
	_, err := io.WriteString(f.in, line+"\n")
	assert.NoError(f.t, err)
}

func (f *foreign) after(span time.Duration, line string) {
	time.AfterFunc(span, func() { f.do(line) })
}

func (f *foreign) press() {
	f.after(2*time.Second, "close 31")
	f.after(2800*time.Millisecond, "open 31")
}

func (f *foreign) set(contact registers.Role, closed bool) {
	verb := map[bool]string{false: "open", true: "close"}[closed]
	f.after(time.Second, verb+map[registers.Role]string{registers.EStop: " 30", registers.CutOut: " 32"}[contact])
}

func (f *foreign) supply(on bool) {
	f.after(time.Second, map[bool]string{false: "off", true: "on"}[on])
}

func (f *foreign) dip() { f.after(time.Second, "dip 1000 60") }
func (f *foreign) dry() { f.do("dry 1000") }

// mostPresses is how often somebody presses before he gives up. Two are enough, unless
// other tests take the processor from the peer for seconds.
const mostPresses = 20

// pressUntilHot presses the bench's own button, as often as it takes, and returns how
// often that was: one press resets a trip, and one more enables heat.
func (f *foreign) pressUntilHot(t *testing.T, said func() string) (presses int) {
	t.Helper()
	for ; !f.hot() && presses < mostPresses; presses++ {
		time.Sleep(1200 * time.Millisecond) // it has to be seen open first
		f.do("close 31")
		time.Sleep(700 * time.Millisecond)
		require.False(t, f.hot(), "a press counts when it is over")
		f.do("open 31")
		for range 120 { // of beats: a press that counts late must not be taken for the next
			if time.Sleep(beat); f.hot() {
				break
			}
		}
	}
	require.True(t, f.hot(), "%s", said())
	return presses
}
