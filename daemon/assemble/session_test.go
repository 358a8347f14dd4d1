package assemble

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/config"
	"meltwarden/daemon/console"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// box is a person with a simulated bench of two pots whose map he does not know, in
// virtual time: what he holds in the hand he is told to hold.
type box struct {
	*simbench.Bench
	t    *testing.T
	clk  *clock.Clock
	file string

	mu    sync.Mutex
	out   bytes.Buffer
	held  *simbench.Place
	asked map[uint8]int // requests, by function
}

// atABox runs a test in a bubble.
func atABox(t *testing.T, test func(t *testing.T, b *box)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		b := &box{t: t, clk: clock.New(1), file: filepath.Join(t.TempDir(), "bench.yaml"), asked: map[uint8]int{}}
		var err error
		b.Bench, err = simbench.New(simbench.Config{Seed: 1, Pots: []simbench.Pot{
			{Name: "left", VolumeML: 200, HeaterW: 800}, {Name: "right", VolumeML: 200, HeaterW: 800},
		}}, b.clk)
		require.NoError(t, err)
		test(t, b)
		for function := range b.asked {
			assert.LessOrEqual(t, function, modbus.ReadInput, "it only reads")
		}
	})
}

// open gives the line a new pipe, over which only one setting is understood.
func (b *box) open(l devices.LineConfig) (modbus.Port, error) {
	if l.Port != "/dev/ttyS7" {
		return nil, errors.New("does not exist: is the adapter plugged in, and is this its name?")
	}
	near, far := pipe.New()
	if l.Baud != 19200 || l.Parity != "even" {
		return near, nil
	}
	go func() { _ = b.Serve(context.Background(), far) }() // ends when the near end closes
	return &counted{near, b}, nil
}

// counted is a port that counts what is asked over it.
type counted struct {
	modbus.Port
	*box
}

func (c *counted) Write(p []byte) (int, error) {
	c.mu.Lock()
	c.asked[p[1]]++
	c.mu.Unlock()
	return c.Port.Write(p)
}

var places = map[string]simbench.Place{
	"melt left": {Pot: 0, Probe: registers.Melt}, "plate left": {Pot: 0, Probe: registers.Plate},
	"melt right": {Pot: 1, Probe: registers.Melt}, "plate right": {Pot: 1, Probe: registers.Plate},
}

// Write is the person who reads what the session says.
func (b *box) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for name, at := range places {
		if bytes.Contains(bytes.ReplaceAll(p, []byte("\n"), []byte(" ")), []byte("hold the tip of "+name)) {
			if b.held != nil {
				b.LayDown(*b.held)
			}
			b.held = &at
			b.Hold(at, 34)
		}
	}
	return b.out.Write(p)
}

func (b *box) said() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.out.String()
}

// led runs a session on some answers.
func (b *box) led(answers ...string) error {
	b.out.Reset()
	return Run(b.t.Context(), b.options(strings.NewReader(strings.Join(answers, "\n")+"\n")))
}

func (b *box) options(in io.Reader) Options {
	return Options{File: b.file, In: NewTyped(in), Out: b, Clock: b.clk, Open: b.open,
		Ports: func() []Port { return []Port{{Name: "/dev/ttyS7", Is: "an invented adapter"}} },
		Size:  func() console.Size { return console.Small }}
}

// whole is all that is typed of the box, a line each.
func whole() []string {
	return []string{
		"bench by the window", "F", "120 V", "20 A", "left, right", "800 W", "", "", "",
		"a limiter on each plate", "16 A breaker in the box", "braid to every plate", "mushroom at the edge",
		"1", "look", "", "thermocouples", "power", "contacts", "no",
		"thermocouples", "hold", "0", "yes",
		"contacts", "2 0", "yes", "1", "yes", "4", "yes", "2", "yes", "none",
		"power", "number", "16", "10000", "smooth", "0", "1", "power", "5", "0",
		"begin", "yes",
	}
}

// TestFromABoxToABenchFile: the file says what the bench is, and is one that can be run.
func TestFromABoxToABenchFile(t *testing.T) {
	atABox(t, func(t *testing.T, b *box) {
		began := time.Now()
		require.NoError(t, b.led(whole()...), b.said)
		t.Logf("%v of bench time\n%s", time.Since(began).Round(time.Second), b.said())
		file, err := config.LoadBench(b.file, nil)
		require.NoError(t, err)
		recipe, err := config.LoadRecipe(file.Recipe)
		require.NoError(t, err)
		_, err = config.Settings(file, recipe)
		require.NoError(t, err)
		b.sameAs(file)
		fmt.Fprintln(io.Discard, file)
		require.NotNil(t, Left(b.file))
		require.NoError(t, Drop(b.file))
		_, err = os.Stat(DraftOf(b.file))
		require.ErrorIs(t, err, os.ErrNotExist)
	})
}

// sameAs holds a bench file against what the bench says of itself.
func (b *box) sameAs(file *config.Bench) {
	names := map[uint8]string{}
	for _, d := range file.Devices {
		names[d.Unit] = d.Name
	}
	is := map[string]registers.Channel{}
	for _, c := range file.Channels {
		is[string(c.Role)+c.Pot] = c
	}
	for _, want := range b.Channels() {
		c, has := is[string(want.Role)+want.Pot]
		if !has {
			continue // not asked for
		}
		assert.Equal(b.t, [2]any{want.Function, want.Address}, [2]any{c.Function, c.Address}, "%s %s", want.Role, want.Pot)
		assert.InDelta(b.t, want.Scale, c.Scale, 1e-12)
	}
}
