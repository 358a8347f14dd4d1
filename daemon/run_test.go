package daemon

import (
	"context"
	"database/sql"
	"errors"
	"log/slog"
	"net"
	"path/filepath"
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
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/simbench"
)

// rig is a daemon over a pipe from a simulated bench, in virtual time.
type rig struct {
	*Daemon
	bench *simbench.Bench
	end   context.CancelFunc
	over  chan error
}

// start starts the demo's bench. It must be called inside a bubble. change may be nil.
func start(t *testing.T, change func(*Options, *simbench.Bench)) *rig {
	t.Helper()
	file, err := config.DemoBench(nil)
	require.NoError(t, err)
	return startOn(t, file, change)
}

func startOn(t *testing.T, file *config.Bench, change func(*Options, *simbench.Bench)) *rig {
	t.Helper()
	served := make(chan error, 1)
	t.Cleanup(func() { <-served }) // the daemon has hung up
	return startOver(t, file, func(bench *simbench.Bench) devices.Opener {
		ours, theirs := pipe.New()
		go func() { served <- bench.Serve(context.Background(), ours) }()
		return func(devices.LineConfig) (modbus.Port, error) { return theirs, nil }
	}, change)
}

// startOver starts it over lines of a test's own.
func startOver(t *testing.T, file *config.Bench, open func(*simbench.Bench) devices.Opener, change func(*Options, *simbench.Bench)) *rig {
	t.Helper()
	settings, err := config.Settings(file, config.DemoRecipe())
	require.NoError(t, err)
	c := simbench.Config{Seed: 1}
	for _, p := range settings.Pots {
		c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, VolumeML: p.VolumeML, HeaterW: p.HeaterW})
	}
	clk := clock.New(1)
	bench, err := simbench.New(c, clk)
	require.NoError(t, err)
	bus, err := devices.Open(Wiring(file), open(bench), clk)
	require.NoError(t, err)
	o := Options{Settings: settings, Bus: bus, Clock: clk, Log: slog.New(slog.DiscardHandler)}
	if change != nil {
		change(&o, bench)
	}
	ctx, end := context.WithCancel(context.Background())
	r := &rig{Daemon: New(o), bench: bench, end: end, over: make(chan error, 1)}
	go func() { r.over <- r.Run(ctx) }()
	t.Cleanup(end)
	return r
}

func proven(o *Options, b *simbench.Bench) { o.Simulated = b }

// enable presses the bench's button, which has to be seen open before, and waits
// until heat flows.
func (r *rig) enable(t *testing.T) {
	t.Helper()
	time.Sleep(2 * time.Second)
	r.bench.PressEnable()
	time.Sleep(2 * time.Second)
	truth := r.bench.Truth()
	require.True(t, truth.Contactor)
	require.Positive(t, truth.Pots[0].PowerW)
}

func requireCold(t *testing.T, b *simbench.Bench) {
	t.Helper()
	truth := b.Truth()
	require.False(t, truth.Contactor)
	for _, p := range truth.Pots {
		require.Zero(t, p.PowerW)
	}
}

// TestUnprovenHeatersStayCold: on a bench that is not this program's own
// simulation a person may press as often as he likes, and every frame says why.
func TestUnprovenHeatersStayCold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := start(t, func(o *Options, _ *simbench.Bench) { o.Settings.Limits.HeatersProven = true }) // a claim counts nothing
		published, cancel := r.Hub().Subscribe()
		ctx, end := context.WithCancel(context.Background())
		var watcher sync.WaitGroup
		seen := 0
		watcher.Go(func() {
			for {
				select {
				case f := <-published:
					seen++
					checkRefused(t, f)
				case <-ctx.Done():
					return
				}
			}
		})
		for range 20 {
			r.bench.PressEnable()
			time.Sleep(3 * time.Second)
		}
		end()
		watcher.Wait()
		cancel()
		assert.GreaterOrEqual(t, seen, 299, "five frames a second for a minute")
		requireCold(t, r.bench)
		for _, p := range r.bench.Truth().Pots {
			assert.Zero(t, p.HeatJ)
		}
		r.end()
		assert.NoError(t, <-r.over)
	})
}

func checkRefused(t *testing.T, f *frames.Frame) {
	assert.Equal(t, control.HeatBlocked, f.Heat)
	assert.False(t, f.Outputs.Contactor)
	assert.Equal(t, []float64{0, 0, 0}, f.Outputs.Duty)
	codes := map[guard.Code]bool{}
	for _, c := range f.Conditions {
		codes[c.Code] = true
	}
	assert.True(t, codes[guard.HeaterUnproven], "cycle %d", f.Cycle)
}

// address is a listener in memory that notes how the bench was when it closed.
type address struct {
	net.Listener // nil: only the methods below are called
	once         sync.Once
	closed       chan struct{}
	fail         chan error
	hotAtClose   func() bool
	wasHot       bool
}

func newAddress(b *simbench.Bench) *address {
	return &address{
		closed: make(chan struct{}), fail: make(chan error, 1),
		hotAtClose: func() bool { return b.Truth().Contactor },
	}
}

func (a *address) Accept() (net.Conn, error) {
	select {
	case err := <-a.fail:
		return nil, err
	case <-a.closed:
		return nil, net.ErrClosed
	}
}

func (a *address) Close() error {
	a.once.Do(func() {
		a.wasHot = a.hotAtClose()
		close(a.closed)
	})
	return nil
}

func (a *address) Addr() net.Addr { return &net.TCPAddr{} }

// TestHeatEndsBeforeThePage: the page is there until the heaters are off.
func TestHeatEndsBeforeThePage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var page *address
		r := start(t, func(o *Options, b *simbench.Bench) {
			proven(o, b)
			page = newAddress(b)
			o.Listener = page
		})
		r.enable(t)
		assert.NoError(t, r.watchdog.starved())
		began := time.Now()
		r.end()
		assert.NoError(t, <-r.over)
		assert.Less(t, time.Since(began), time.Second)
		<-page.closed
		assert.False(t, page.wasHot)
		requireCold(t, r.bench)

		time.Sleep(starvedAfter + time.Second)
		assert.Error(t, r.watchdog.starved(), "nobody feeds it any more")
	})
}

// TestNoPageNoHeat: a bench is not left hot without its page.
func TestNoPageNoHeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var page *address
		r := start(t, func(o *Options, b *simbench.Bench) {
			proven(o, b)
			page = newAddress(b)
			o.Listener = page
		})
		r.enable(t)
		lost := errors.New("the network is gone")
		page.fail <- lost
		assert.ErrorIs(t, <-r.over, lost)
		requireCold(t, r.bench)
	})
}

// TestUnconfirmedEndIsSaid: heaters that did not answer at the end are no success;
// their own time-out lets them go.
func TestUnconfirmedEndIsSaid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := start(t, proven)
		r.enable(t)
		require.NoError(t, r.bench.Inject(simbench.NoReply, simbench.Place{Unit: simbench.UnitPower}))
		began := time.Now()
		r.end()
		assert.ErrorContains(t, <-r.over, "did not confirm zero")
		assert.LessOrEqual(t, time.Since(began), stopWithin)
		time.Sleep(2*time.Second - time.Since(began))
		requireCold(t, r.bench)
	})
}

// TestDeadLineFeedsTheWatchdog: cycles go on without a single reading, so the
// program is healthy while the bench is not, and a line that hangs holds up
// neither.
func TestDeadLineFeedsTheWatchdog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := start(t, proven)
		time.Sleep(time.Second)
		require.NoError(t, r.bench.Inject(simbench.NoReply, simbench.Place{}))
		before := r.Hub().Latest().Cycle
		time.Sleep(time.Minute)
		assert.NoError(t, r.watchdog.starved())
		assert.GreaterOrEqual(t, r.Hub().Latest().Cycle, before+299)
		r.end()
		<-r.over
	})
}

// TestAllOffThroughAFullQueue: it reaches the heaters in the next cycle.
func TestAllOffThroughAFullQueue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := start(t, proven)
		r.enable(t)
		mark := history.Mark{Command: control.Command{Kind: control.Stir}}
		for r.Submit(mark) == nil { // until a mark is refused
			continue
		}
		require.NoError(t, r.Submit(history.Mark{Command: control.Command{Kind: control.AllOff}}))
		time.Sleep(2 * r.opts.Settings.Period)
		requireCold(t, r.bench)
		r.end()
		assert.NoError(t, <-r.over)
	})
}

// TestAnInterruptedRunGoesOnAsItWas: with the set-point that was changed before, heat
// blocked, and an event that says so.
func TestAnInterruptedRunGoesOnAsItWas(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		folder := t.TempDir()
		evening := func(during func(*rig)) {
			s, err := history.Open(folder)
			require.NoError(t, err)
			r := start(t, func(o *Options, b *simbench.Bench) { o.Simulated, o.History = b, s })
			time.Sleep(time.Second)
			during(r)
			time.Sleep(time.Second)
			r.end()
			require.NoError(t, <-r.over)
			require.NoError(t, s.Close())
		}
		evening(func(r *rig) {
			assert.InDelta(t, 171, r.Hub().Latest().Pots[1].SetpointC, 1e-9)
			require.NoError(t, r.Submit(history.Mark{Command: control.Command{Kind: control.Setpoint, Pot: 1, C: 173.5}, Amount: "173.5 C"}))
		})
		db, err := sql.Open("sqlite", filepath.Join(folder, history.FileName))
		require.NoError(t, err)
		_, err = db.Exec("UPDATE run SET state = 'interrupted'")
		require.NoError(t, err)
		require.NoError(t, db.Close())
		evening(func(r *rig) {
			assert.InDelta(t, 173.5, r.Hub().Latest().Pots[1].SetpointC, 1e-9)
			assert.Equal(t, control.HeatBlocked, r.Hub().Latest().Heat)
		})

		s, err := history.OpenExisting(folder)
		require.NoError(t, err)
		defer s.Close()
		events, err := s.Events(1)
		require.NoError(t, err)
		var kinds []history.Kind
		for _, e := range events {
			if e.Kind != history.Alarm && e.Kind != history.AlarmOver {
				kinds = append(kinds, e.Kind)
			}
		}
		assert.Equal(t, []history.Kind{history.NewSetpoint, history.NewSetpoint, history.GoesOn}, kinds)
		back, err := s.Replay(1)
		require.NoError(t, err)
		assert.Nil(t, back.Differs)
	})
}
