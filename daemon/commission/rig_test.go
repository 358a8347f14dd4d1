package commission

import (
	"bytes"
	"context"
	"io"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// answers are invented, in a bubble's year 2000; the empty line says that all are right.
const answers = "a limiter on each plate\n280 C\nthe owner, 3 May 1999\n16 A breaker in the box\n30 mA device in the box\nthe owner, 3 May 1999\n" +
	"braid to every plate\nthe electrician, 2 May 1999\nmushroom at the edge\nthe owner, 3 May 1999\nlatching relay with a button\nall three plates, nothing else\n" +
	"fan over the pots, to the yard\nfoam at the door, lids on the shelf\nhook beside the bench\nthe electrician, 2 May 1999\n\n" + cups

// cups are what is typed of three melt probes, in a cup of cupC.
const (
	cups = "60 C\ndry\n60 C\ndry\n60 C\ndry\n"
	cupC = 60.0
)

// rig is a person at a simulated bench over pipes, in virtual time.
type rig struct {
	*simbench.Bench
	t     *testing.T
	file  *config.Bench
	store *history.Store
	clk   *clock.Clock

	mu     sync.Mutex
	out    bytes.Buffer
	nobody bool                        // presses
	idle   bool                        // nobody does what else the session asks for
	dip    func(pot int)               // holds a melt probe in a cup
	front  func(line, bench *pipe.End) // stands between line and bench; nil for nothing
	saying map[string]func()           // what happens when the session says something
}

// onBench runs a test in a bubble, with the melt probes on record. edit may change the
// text of the bench file.
func onBench(t *testing.T, edit func(string) string, test func(t *testing.T, r *rig)) {
	t.Helper()
	fromNothing(t, edit, func(t *testing.T, r *rig) {
		r.keep(&Record{Digest: Digest(r.file), Melts: complete(r.file).Melts})
		test(t, r)
	})
}

// fromNothing runs a test in a bubble, with nothing on record.
func fromNothing(t *testing.T, edit func(string) string, test func(t *testing.T, r *rig)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := &rig{t: t, clk: clock.New(1), saying: map[string]func(){}}
		r.file = benchFile(t, edit)
		c := simbench.Config{Seed: 1}
		for _, p := range r.file.Pots {
			c.Controllers = p.Controller.Is()
			c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, VolumeML: 200, HeaterW: p.HeaterW})
		}
		var err error
		r.Bench, err = simbench.New(c, r.clk)
		require.NoError(t, err)
		r.store, err = history.Open(t.TempDir())
		require.NoError(t, err)
		require.NoError(t, r.store.Trouble())
		r.dip = func(pot int) { r.DipMelt(pot, cupC) }
		test(t, r)
		r.requireOff()
		require.NoError(t, r.store.Close())
	})
}

func benchFile(t *testing.T, edit func(string) string) *config.Bench {
	t.Helper()
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	if edit != nil {
		b, err = config.ParseBench("bench.yaml", []byte(edit(string(b.Typed))), nil)
		require.NoError(t, err)
	}
	return b
}

// wiring is daemon.Wiring's, which this package must not import.
func wiring(b *config.Bench) devices.Config {
	c := devices.Config{Channels: b.Channels}
	for _, l := range b.Lines {
		c.Lines = append(c.Lines, devices.LineConfig{Name: l.Name, Port: l.Port, Baud: l.Baud, Parity: string(l.Parity), StopBits: l.StopBits})
	}
	for _, d := range b.Devices {
		c.Devices = append(c.Devices, devices.DeviceConfig{Name: d.Name, Line: d.Line, Unit: d.Unit, Timeout: d.Timeout, MaxGap: d.MaxGap})
	}
	for _, p := range b.Pots {
		c.Pots = append(c.Pots, p.Name)
	}
	return c
}

// open gives the bench's line a new pipe.
func (r *rig) open(devices.LineConfig) (modbus.Port, error) {
	near, far := pipe.New()
	if r.front != nil {
		line := far
		var bench *pipe.End
		bench, far = pipe.New()
		go r.front(line, bench)
	}
	go func() { _ = r.Serve(context.Background(), far) }() // ends when the near end closes
	return near, nil
}

// Write is the person who reads what the session says.
func (r *rig) Write(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.out.Write(p)
	if bytes.Contains(p, []byte("Press the bench's enable button")) && !r.nobody {
		before := r.heatJ()
		time.AfterFunc(2*time.Second, func() {
			assert.Equal(r.t, before, r.heatJ(), "nothing is heated between the words and the press")
			r.PressEnable()
		})
	}
	r.hands(string(p))
	r.dips(string(p))
	for word, do := range r.saying {
		if bytes.Contains(p, []byte(word)) {
			do()
		}
	}
	return len(p), nil
}

// hands do what the session asks for, a second later.
func (r *rig) hands(words string) {
	for word, do := range map[string]func() error{
		"Press the emergency stop.":             func() error { return r.Inject(simbench.EStopOpened, simbench.Place{}) },
		"Release it.":                           func() error { return r.Clear(simbench.EStopOpened, simbench.Place{}) },
		"Open the cut-out":                      func() error { return r.Inject(simbench.CutOutOpened, simbench.Place{}) },
		"reset it by hand.\n":                   func() error { return r.Clear(simbench.CutOutOpened, simbench.Place{}) },
		"Switch the supply of device power off": r.restart,
		"Switch the fan off.":                   func() error { return r.Inject(simbench.FanStopped, simbench.Place{}) },
		"Switch it on again.":                   func() error { return r.Clear(simbench.FanStopped, simbench.Place{}) },
	} {
		if strings.Contains(words, word) && !r.idle {
			time.AfterFunc(time.Second, func() { assert.NoError(r.t, do()) })
		}
	}
}

// dips do what the session asks for with the melt probes, a second later: from the
// pot into the cup, and into the air, where they cool.
func (r *rig) dips(words string) {
	for i, p := range r.file.Pots {
		if strings.Contains(words, "Hold the tip of the melt probe of pot "+p.Name) && !r.idle {
			time.AfterFunc(time.Second, func() { r.dip(i) })
		}
		if strings.Contains(words, "DRY IT") {
			assert.NoError(r.t, r.Inject(simbench.PulledProbe, meltOf(i)))
			r.PutMeltBack(i)
		}
	}
}

// restart takes the supply off the power unit for five seconds.
func (r *rig) restart() error {
	at := simbench.Place{Unit: simbench.UnitPower}
	time.AfterFunc(5*time.Second, func() { assert.NoError(r.t, r.Clear(simbench.UnitRestarts, at)) })
	return r.Inject(simbench.UnitRestarts, at)
}

func (r *rig) said() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.out.String()
}

// words is that in one line: where it is broken depends on its numbers.
func (r *rig) words() string { return strings.Join(strings.Fields(r.said()), " ") }

// commission runs a session with what is typed.
func (r *rig) commission(ctx context.Context, typed string, anew bool) error {
	r.mu.Lock()
	r.out.Reset()
	r.mu.Unlock()
	err := Run(ctx, Options{
		Bench: r.file, Wiring: wiring(r.file), Open: r.open, Clock: r.clk, History: r.store,
		In: strings.NewReader(typed), Out: r, Version: "test", Anew: anew,
	})
	synctest.Wait()
	return err
}

// atTerminal runs a session with keys that are hit when the session says something, and
// nothing typed otherwise.
func (r *rig) atTerminal(ctx context.Context, hits map[string]string) error {
	in, keys := io.Pipe()
	for words, typed := range hits {
		r.saying[words] = func() {
			go func() { _, _ = io.WriteString(keys, typed) }()
		}
	}
	defer keys.Close()
	return Run(ctx, Options{
		Bench: r.file, Wiring: wiring(r.file), Open: r.open, Clock: r.clk, History: r.store,
		In: in, Terminal: true, Out: r, Version: "test",
	})
}

// keep puts a record on the disk.
func (r *rig) keep(kept *Record) {
	s := &session{Options: Options{History: r.store, Version: "test"}, record: kept}
	require.NoError(r.t, s.save())
}

// record is what is on the disk.
func (r *rig) record() *Record {
	rec, err := Load(r.store)
	require.NoError(r.t, err)
	return rec
}

func (r *rig) requireOff() {
	truth := r.Truth()
	require.False(r.t, truth.Contactor)
	for _, p := range truth.Pots {
		require.Zero(r.t, p.PowerW)
	}
}

func (r *rig) heatJ() float64 {
	sum := 0.0
	for _, p := range r.Truth().Pots {
		sum += p.HeatJ
	}
	return sum
}

// setTimeout sets the time-out of the power unit, as its owner would.
func (r *rig) setTimeout(ms uint16) {
	port, err := r.open(devices.LineConfig{})
	require.NoError(r.t, err)
	c := modbus.NewClient(port, 19200, r.clk)
	d := &modbus.Device{Unit: simbench.UnitPower, Timeout: 100 * time.Millisecond}
	_, err = c.Exchange(d, modbus.Request{
		Function: modbus.WriteRegister, Address: r.Devices()[1].TimeoutRegister, Quantity: 1, Data: modbus.AppendRegisters(nil, ms),
	})
	require.NoError(r.t, err)
	<-c.Close()
}

func meltOf(pot int) simbench.Place { return simbench.Place{Pot: pot, Probe: registers.Melt} }

func plateOf(pot int) simbench.Place { return simbench.Place{Pot: pot, Probe: registers.Plate} }
