package daemon

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/loop"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/clock"
)

// TestMissedCyclesAreNotMadeUpFor: the next cycle is due on the same beat, in the
// future.
func TestMissedCyclesAreNotMadeUpFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := cycle{period: 200 * time.Millisecond, clk: clock.New(1)}
		time.Sleep(50 * time.Millisecond)
		assert.Equal(t, 200*time.Millisecond, c.next(0))
		time.Sleep(1000 * time.Millisecond) // now 1050 ms
		assert.Equal(t, 1000*time.Millisecond, c.next(200*time.Millisecond), "at once, once")
		assert.Equal(t, 1200*time.Millisecond, c.next(1000*time.Millisecond))
	})
}

// TestSleepIsAMissedCycle: the wall's clock went on while ours stood still. A fast
// clock can not tell, and a wall clock that is set back is no sleep.
func TestSleepIsAMissedCycle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slept := func(speed float64, wall time.Duration) time.Duration {
			c := cycle{clk: clock.New(speed)}
			assert.Zero(t, c.asleep(), "there is no cycle before the first")
			time.Sleep(200 * time.Millisecond)
			c.wall = c.wall.Add(-wall)
			return c.asleep()
		}
		assert.Zero(t, slept(1, 0))
		assert.Zero(t, slept(1, sleepMatters-time.Millisecond))
		assert.Equal(t, 8*time.Hour, slept(1, 8*time.Hour))
		assert.Zero(t, slept(1, -8*time.Hour))
		assert.Zero(t, slept(20, 8*time.Hour))
	})
}

func TestAllOffIsNeverRefused(t *testing.T) {
	q := newQueue()
	mark := history.Mark{Command: control.Command{Kind: control.Stir, Pot: 1}}
	for range queued {
		require.NoError(t, q.put(mark))
	}
	require.ErrorIs(t, q.put(mark), errFull)
	off := history.Mark{Command: control.Command{Kind: control.AllOff, Afar: true}, From: "phone blue"}
	require.NoError(t, q.put(off))
	require.NoError(t, q.put(history.Mark{Command: control.Command{Kind: control.AllOff}}))
	got := q.drain(nil)
	assert.Len(t, got, queued+1)
	assert.Equal(t, off, got[0], "with who said it first")
	assert.Empty(t, q.drain(nil))
	assert.NoError(t, q.put(mark))
}

// TestWatchdogRefusesAsWellAsPromises: only a finished cycle feeds it.
func TestWatchdogRefusesAsWellAsPromises(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := watchdog{clk: clock.New(1)}
		time.Sleep(time.Second)
		assert.ErrorContains(t, w.starved(), "no control cycle has finished yet")
		w.feed()
		assert.NoError(t, w.starved())
		time.Sleep(starvedAfter)
		assert.NoError(t, w.starved())
		time.Sleep(time.Millisecond)
		assert.ErrorContains(t, w.starved(), "the last control cycle finished 2.0 s ago")
		w.feed()
		assert.NoError(t, w.starved())
	})
}

// TestJournalWritesChanges, each once, and no numbers.
func TestJournalWritesChanges(t *testing.T) {
	var out bytes.Buffer
	j := journal{
		log:  slog.New(slog.NewTextHandler(&out, nil)),
		pots: []control.PotSettings{{Name: "left"}},
	}
	lines := func(f control.Frame) []string {
		out.Reset()
		j.note(&frames.Frame{Frame: f})
		return strings.Split(strings.TrimSpace(out.String()), "\n")
	}
	trip := []guard.Condition{{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true}}
	heating := control.Frame{Heat: control.HeatEnabled, Pots: []control.PotFrame{{State: control.Heating, MeltC: 90}}}
	assert.Len(t, lines(heating), 2)
	heating.Pots[0].MeltC = 91
	assert.Equal(t, []string{""}, lines(heating), "a number is no news")

	heating.Heat, heating.Conditions, heating.Pots[0].State = control.HeatTripped, trip, control.Tripped
	said := lines(heating)
	assert.Len(t, said, 3)
	assert.Contains(t, said[1], "code=e_stop_open pot=bench latched=true")
	assert.Equal(t, []string{""}, lines(heating))

	heating.Conditions = nil
	assert.Contains(t, lines(heating)[0], "msg=cleared code=e_stop_open")

	heating.Conditions = []guard.Condition{{Code: guard.MeltUnusable, Severity: guard.Trip, Active: true}}
	assert.Contains(t, lines(heating)[0], "pot=left latched=false")
	heating.Conditions[0].Latched = true
	assert.Contains(t, lines(heating)[0], "pot=left latched=true", "from now on it takes a person")
	heating.Conditions[0].Active = false
	assert.Equal(t, []string{""}, lines(heating), "latched as before")
}

// TestJournalTellsOfLines: open, lost and why, each once.
func TestJournalTellsOfLines(t *testing.T) {
	var out bytes.Buffer
	j := journal{log: slog.New(slog.NewTextHandler(&out, nil))}
	said := func(l devices.LineStatus) string {
		out.Reset()
		l.Name = "bench"
		j.noteLines([]devices.LineStatus{l})
		return out.String()
	}
	assert.Empty(t, said(devices.LineStatus{}), "not tried yet")
	assert.Contains(t, said(devices.LineStatus{LastError: "no such port"}), `why="no such port"`)
	assert.Empty(t, said(devices.LineStatus{LastError: "no such port"}))
	assert.Contains(t, said(devices.LineStatus{Open: true, LastError: "no such port"}), "line is open")
	assert.Empty(t, said(devices.LineStatus{Open: true, LastError: "no such port"}))
	assert.Contains(t, said(devices.LineStatus{LastError: "no such port"}), "line is not open", "lost for the same reason")
	mute := devices.LineStatus{LastError: "no such port", Mute: []string{"power"}}
	assert.Contains(t, said(mute), "device=power")
	assert.Empty(t, said(mute))
}

// TestHosts: one address is one name; every address is all of this computer's, and
// never the wildcard itself.
func TestHosts(t *testing.T) {
	assert.Equal(t, []string{"192.0.2.7"}, Hosts("192.0.2.7:8420"))
	assert.Equal(t, []string{"bench.example"}, Hosts("bench.example:8420"))
	assert.Nil(t, Hosts("no port"))
	for _, every := range []string{":8420", "0.0.0.0:8420", "[::]:8420"} {
		assert.NotEmpty(t, Hosts(every), every)
		assert.NotContains(t, Hosts(every), "0.0.0.0")
		assert.NotContains(t, Hosts(every), "::")
	}
}

// TestFollowEndsWithItsContext.
func TestFollowEndsWithItsContext(t *testing.T) {
	d := New(Options{Clock: clock.New(1), Log: slog.New(slog.DiscardHandler)})
	ctx, end := context.WithCancel(t.Context())
	seen := make(chan uint64, 1)
	over := make(chan struct{})
	go func() {
		defer close(over)
		d.follow(ctx, func(f *frames.Frame) { seen <- f.Cycle })
	}()
	d.hub.Publish(&frames.Frame{Frame: control.Frame{Cycle: 7}})
	assert.Equal(t, uint64(7), <-seen)
	end()
	<-over
}

// TestSleepOfTheComputerIsAMissedCycle: the wall's clock went on, ours stood still.
func TestSleepOfTheComputerIsAMissedCycle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := cycle{clk: clock.New(1)}
		assert.Zero(t, c.asleep(), "the first cycle has nothing to compare with")
		time.Sleep(time.Hour)
		assert.Zero(t, c.asleep(), "both clocks went on")
		c.wall = c.wall.Add(-time.Hour) // as if the wall's had gone on by an hour more
		assert.Equal(t, time.Hour, c.asleep())
		assert.Zero(t, c.asleep())
	})
}

// TestATrialEndsOneWayOrTheOther, also where two of them end in one cycle.
func TestATrialEndsOneWayOrTheOther(t *testing.T) {
	var n notice
	events := func(trials ...loop.Trial) []history.Event {
		f := control.Frame{Pots: make([]control.PotFrame, len(trials))}
		for i, trial := range trials {
			f.Pots[i].Trial = trial
		}
		return n.of(&f)
	}
	under := loop.Trial{Swing: 7, Of: 7}
	assert.Empty(t, events(loop.Trial{}, loop.Trial{Done: true}))
	assert.Empty(t, events(under, under))
	assert.Equal(t, []history.Event{{Kind: history.TrialBroken, Pot: 0}, {Kind: history.TrialDone, Pot: 1}}, events(loop.Trial{}, loop.Trial{Done: true}))
	assert.Empty(t, events(loop.Trial{}, loop.Trial{Done: true}))
}

// TestWhatIsKnownInWords, also where a trial has tuned a pot that was not understood.
func TestWhatIsKnownInWords(t *testing.T) {
	from, known := time.Date(2026, 2, 8, 20, 0, 0, 0, time.Local), &loop.Known{}
	for want, r := range map[string]Recalled{
		"first heat: nothing is known of it yet":           {},
		"known from 2026-02-08, 1 session":                 {Known: known, From: from, Sessions: 1},
		"known from 2026-02-08, 3 sessions":                {Known: known, From: from, Sessions: 3},
		"tried out by 2026-02-08, and not known otherwise": {Known: known, Tuned: true, From: from, Sessions: 2},
	} {
		assert.Equal(t, want, r.String())
	}
}
