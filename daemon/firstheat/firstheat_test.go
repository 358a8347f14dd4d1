package firstheat

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/plan"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// TestMain makes what packs cycles, which is there once for all, outside of any bubble.
func TestMain(m *testing.M) {
	if err := new(cycles.Reader).Each(cycles.Encode([]cycles.Record{{}}), func(*cycles.Record) error { return nil }); err != nil {
		panic(err)
	}
	goleak.VerifyTestMain(m)
}

// rig is a person at the demo's bench over a pipe, in virtual time.
type rig struct {
	*simbench.Bench
	t     *testing.T
	o     Options
	store *history.Store

	mu     sync.Mutex
	out    bytes.Buffer
	nobody bool
	saying map[string]func() // what happens when the session says something
}

// onBench runs a test in a bubble.
func onBench(t *testing.T, test func(r *rig)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := &rig{t: t, saying: map[string]func(){}}
		file, err := config.DemoBench(nil)
		require.NoError(t, err)
		settings, err := config.Settings(file, config.DemoRecipe())
		require.NoError(t, err)
		c := simbench.Config{Seed: 1}
		for _, p := range settings.Pots {
			c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, VolumeML: p.VolumeML, HeaterW: p.HeaterW})
		}
		clk := clock.New(1)
		r.Bench, err = simbench.New(c, clk)
		require.NoError(t, err)
		r.store, err = history.Open(t.TempDir())
		require.NoError(t, err)
		r.o = Options{
			Bench: file, Recipe: config.DemoRecipe(), Clock: clk, History: r.store, Connect: func() (*devices.Bus, error) {
				near, far := pipe.New()
				go func() { _ = r.Serve(context.Background(), far) }() // ends when the near end closes
				return devices.Open(daemon.Wiring(file), func(devices.LineConfig) (modbus.Port, error) { return near, nil }, clk)
			},
			Out: r, Log: slog.New(slog.DiscardHandler), Version: "test", Simulated: r.Bench,
		}
		test(r)
		for _, p := range r.Truth().Pots {
			assert.Zero(t, p.PowerW)
		}
		assert.False(t, r.Truth().Contactor)
		require.NoError(t, r.store.Close())
	})
}

// Write is the person who reads what the session says.
func (r *rig) Write(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.out.Write(p)
	if bytes.Contains(p, []byte("Press the bench's enable button")) && !r.nobody {
		before := r.heatJ()
		time.AfterFunc(5*time.Second, func() {
			assert.Equal(r.t, before, r.heatJ(), "nothing is heated between the words and the press")
			r.PressEnable()
		})
	}
	for word, do := range r.saying {
		if bytes.Contains(p, []byte(word)) {
			do()
		}
	}
	return len(p), nil
}

func (r *rig) heatJ() (sum float64) {
	for _, p := range r.Truth().Pots {
		sum += p.HeatJ
	}
	return sum
}

// heat runs a first heat and returns what it said.
func (r *rig) heat(ctx context.Context) (string, error) {
	r.mu.Lock()
	r.out.Reset()
	r.mu.Unlock()
	err := Run(ctx, r.o)
	synctest.Wait()
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.out.String(), err
}

// recalled is what the first evening begins with.
func (r *rig) recalled() []daemon.Recalled {
	r.t.Helper()
	set, err := config.Settings(r.o.Bench, r.o.Recipe)
	require.NoError(r.t, err)
	all, err := daemon.Recall(r.store, r.o.Bench, set, daemon.StartOf(r.o.Bench, r.o.Recipe, "test"))
	require.NoError(r.t, err)
	return all
}

// nothingKept is a bench of which nothing is known.
func (r *rig) nothingKept(pots ...int) {
	r.t.Helper()
	all := r.recalled()
	for _, i := range pots {
		assert.Equal(r.t, "first heat: nothing is known of it yet", all[i].String(), "pot %d", i)
	}
}

// TestFirstHeatIsKept: from cold to what the first evening begins with, over the line. No
// paste comes near to where it gels, the run plays back bit for bit, no batch begins, and
// what an evening has left goes before it.
func TestFirstHeatIsKept(t *testing.T) {
	onBench(t, func(r *rig) {
		wallC, meltC, plateC := 0.0, 0.0, 0.0
		watching, end := context.WithCancel(r.t.Context())
		go func() {
			for watching.Err() == nil { // a keen hand
				for i, p := range r.Truth().Pots {
					wallC, meltC, plateC = max(wallC, p.WallC), max(meltC, p.MeltC), max(plateC, p.PlateC)
					r.Stir(i)
				}
				time.Sleep(5 * time.Second)
			}
		}()
		said, err := r.heat(r.t.Context())
		end()
		require.NoError(t, err, said)
		t.Logf("%s\nmelt up to %.1f °C, its wall %.1f, a plate %.1f", said, meltC, wallC, plateC)
		assert.Less(t, meltC, 50.0)
		assert.Less(t, wallC, 65.0)
		assert.Less(t, plateC, 75.0)
		day := time.Now().Local().Format(time.DateOnly)
		evening, err := config.Settings(r.o.Bench, r.o.Recipe)
		require.NoError(t, err)
		for i, p := range r.recalled() {
			assert.Equal(t, "known from first heat of "+day, p.String())
			require.NotNil(t, p.Known)
			evening.Pots[i].Known = p.Known
		}
		var f control.Frame
		control.NewBench(evening).Step(&control.Input{Pots: make([]control.PotReadings, len(evening.Pots))}, &f)
		for i := range f.Pots {
			assert.True(t, f.Pots[i].Recalled, "the first evening's frames go by it")
		}
		runs, err := r.store.Runs(history.Filter{})
		require.NoError(t, err)
		require.Len(t, runs, 1)
		assert.Equal(t, "First heat of "+r.o.Bench.Name+": raw paste warmed to 45 °C", runs[0].Title)
		assert.Equal(t, history.Finished, runs[0].State)
		assert.True(t, runs[0].FirstHeat)
		back, err := r.store.Replay(runs[0].ID)
		require.NoError(t, err)
		assert.Nil(t, back.Differs)
		batches, err := r.store.Batches()
		require.NoError(t, err)
		assert.Empty(t, batches)

		kept := r.recalled()[0]
		require.NoError(t, r.store.KeepKnown(runs[0].ID, []history.Known{{At: time.Now(), Pot: kept.Pot, Digest: kept.Digest, Figures: "{}"}}))
		set, err := config.Settings(r.o.Bench, r.o.Recipe)
		require.NoError(t, err)
		names, left := toWarm(set, r.recalled())
		assert.Len(t, names, 2)
		assert.Equal(t, []string{"pot " + kept.Pot + " is left cold: it is known from evenings with another plate limit"}, left)
		said, err = r.heat(r.t.Context())
		require.ErrorContains(t, err, "let it cool", "the pots are warm: %s", said)
	})
}

// TestNobodyStirs: what is not stirred takes up too little, and no plan rests on that.
func TestNobodyStirs(t *testing.T) {
	onBench(t, func(r *rig) {
		said, err := r.heat(r.t.Context())
		require.NoError(r.t, err, said)
		assert.Contains(r.t, strings.Join(strings.Fields(said), " "), "pot right: takes up no more heat than any pot is taken to, so nothing of it is kept")
		r.nothingKept(2)
		evening, err := config.Settings(r.o.Bench, r.o.Recipe)
		require.NoError(r.t, err)
		guessed := plan.Rehearse(evening, 21).Ready
		for i, p := range r.recalled() {
			evening.Pots[i].Known = p.Known
		}
		rests := plan.Rehearse(evening, 21).Ready
		r.t.Logf("all ready, foreseen: %v by guesses, %v after nobody stirred", guessed.Round(time.Second), rests.Round(time.Second))
		assert.InDelta(r.t, guessed.Seconds(), rests.Seconds(), 60)
	})
}

// TestNobodyPresses: nothing is heated, and nothing kept.
func TestNobodyPresses(t *testing.T) {
	onBench(t, func(r *rig) {
		r.nobody = true
		said, err := r.heat(r.t.Context())
		require.ErrorContains(t, err, "nobody pressed the enable button within 10 minutes")
		assert.Contains(t, said, "Still waiting for a press")
		assert.Zero(t, r.heatJ())
		r.nothingKept(0, 1, 2)
	})
}

// TestInterruptedFirstHeat ends with heat off, and what was half done is not kept.
func TestInterruptedFirstHeat(t *testing.T) {
	onBench(t, func(r *rig) {
		ctx, end := context.WithCancel(r.t.Context())
		r.saying["1:30"] = end
		_, err := r.heat(ctx)
		require.ErrorIs(t, err, ErrStopped)
		assert.Positive(t, r.heatJ())
		r.nothingKept(0, 1, 2)
	})
}

// TestWhatEndsAFirstHeat: a probe that comes off, an emergency stop; and a bench that is not
// cold, or can not be read, is not heated.
func TestWhatEndsAFirstHeat(t *testing.T) {
	at := simbench.Place{Pot: 0, Probe: registers.Melt}
	for want, befall := range map[string]func(r *rig){
		"pot left: its probes can not be read": func(r *rig) { require.NoError(t, r.Inject(simbench.OpenProbe, at)) },
		"emergency stop": func(r *rig) {
			r.saying["0:45"] = func() { go func() { assert.NoError(t, r.Inject(simbench.EStopOpened, simbench.Place{})) }() }
		},
		"pot left has tripped": func(r *rig) {
			r.saying["0:45"] = func() { go func() { assert.NoError(t, r.Inject(simbench.OpenProbe, at)) }() }
		},
	} {
		onBench(t, func(r *rig) {
			befall(r)
			said, err := r.heat(r.t.Context())
			require.Error(t, err, said)
			assert.Contains(t, strings.ToLower(err.Error()), want, said)
			r.nothingKept(0)
		})
	}
}

// TestNoRecordNoFirstHeat: without a record of commissioning no line is opened.
func TestNoRecordNoFirstHeat(t *testing.T) {
	require.ErrorIs(t, Run(t.Context(), Options{}), ErrRefused)
}

// TestSettingsOfAFirstHeat: what is kept with the run says what was done.
func TestSettingsOfAFirstHeat(t *testing.T) {
	file, err := config.DemoBench(nil)
	require.NoError(t, err)
	evening, err := config.Settings(file, config.DemoRecipe())
	require.NoError(t, err)
	s := control.ForFirstHeat(evening, []string{evening.Pots[0].Name})
	assert.LessOrEqual(t, s.Limits.MeltTripC, 55.0)
	assert.LessOrEqual(t, s.Limits.PlateTripC, 85.0)
	assert.Equal(t, []time.Duration{control.FirstHeatFor, 0, 0}, []time.Duration{s.Pots[0].FirstHeat.For, s.Pots[1].FirstHeat.For, s.Pots[2].FirstHeat.For})
}

// TestControllersAreLeftCold: what a controller gives its heater nobody knows, so nothing is
// to be found out by it.
func TestControllersAreLeftCold(t *testing.T) {
	s := control.Settings{Pots: []control.PotSettings{{Name: "left", Controller: control.Controller{RestC: 5}}, {Name: "right"}}}
	names, left := toWarm(s, make([]daemon.Recalled, 2))
	assert.Equal(t, []string{"right"}, names)
	assert.Equal(t, []string{"pot left is left cold: a controller of its own heats it, and nobody knows what that gives"}, left)
	s = control.ForFirstHeat(s, []string{"left", "right"})
	assert.Zero(t, s.Pots[0].FirstHeat.For)
	assert.Positive(t, s.Pots[1].FirstHeat.For)
}
