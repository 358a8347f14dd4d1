package calibrate

import (
	"bytes"
	"context"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

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

// rig is a person at a simulated bench over pipes, in virtual time.
type rig struct {
	*simbench.Bench
	t     *testing.T
	file  *config.Bench
	store *history.Store
	clk   *clock.Clock

	mu    sync.Mutex
	out   bytes.Buffer
	hands map[string]func() // what a person does who reads that
}

// baths are what the words of a session have somebody put all melt probes into, in °C.
type baths struct{ ice, boiling, cup float64 }

var asMeant = baths{0, 99.974, 60} // at 0 m

// onBench runs a test in a bubble, with all melt probes in the baths that are asked for.
func onBench(t *testing.T, seed uint64, in baths, test func(r *rig)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := &rig{t: t, clk: clock.New(1)}
		var err error
		r.file, err = config.DemoBench(nil)
		require.NoError(t, err)
		c := simbench.Config{Seed: seed}
		for _, p := range r.file.Pots {
			c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, VolumeML: 200, HeaterW: p.HeaterW})
		}
		r.Bench, err = simbench.New(c, r.clk)
		require.NoError(t, err)
		r.store, err = history.Open(t.TempDir())
		require.NoError(t, err)
		defer func() { require.NoError(t, r.store.Close()) }()
		r.hands = map[string]func(){
			"ICE, 0.0": func() { r.dip(in.ice) }, "BOILING WATER,": func() { r.dip(in.boiling) }, "TOGETHER.": func() { r.dip(in.cup) },
		}
		test(r)
		truth := r.Truth()
		require.False(t, truth.Contactor)
		for _, p := range truth.Pots {
			require.Zero(t, p.HeatJ, "nothing is heated, ever")
		}
	})
}

func (r *rig) dip(c float64) {
	time.AfterFunc(3*time.Second, func() {
		for i := range r.file.Pots {
			r.DipMelt(i, c)
		}
	})
}

// open gives the bench's line a new pipe.
func (r *rig) open(devices.LineConfig) (modbus.Port, error) {
	near, far := pipe.New()
	go func() { _ = r.Serve(context.Background(), far) }() // ends when the near end closes
	return near, nil
}

// Write is the person who reads what the session says.
func (r *rig) Write(p []byte) (int, error) {
	r.mu.Lock()
	r.out.Write(p)
	r.mu.Unlock()
	for words, do := range r.hands {
		if bytes.Contains(p, []byte(words)) {
			do()
		}
	}
	return len(p), nil
}

// flat is what was said with its lines joined.
func (r *rig) flat() string { return strings.Join(strings.Fields(r.said()), " ") }

func (r *rig) said() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.out.String()
}

// calibrate runs a session with words, or with what is typed where there are none.
func (r *rig) calibrate(ctx context.Context, change func(*Options), words ...string) error {
	r.mu.Lock()
	r.out.Reset()
	r.mu.Unlock()
	o := Options{
		Bench: r.file, Wiring: wiring(r.file), Open: r.open, Clock: r.clk, History: r.store,
		In: strings.NewReader(""), Out: r, Version: "test", Words: words,
	}
	if change != nil {
		change(&o)
	}
	err := Run(ctx, o)
	synctest.Wait()
	return err
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

// standing is what is on record of the melt probe of a pot.
func (r *rig) standing(pot string) Standing {
	all, err := Load(r.store, r.file)
	require.NoError(r.t, err)
	return standingOf(all, "melt "+pot)
}

func meltOf(pot int) simbench.Place { return simbench.Place{Pot: pot, Probe: registers.Melt} }
