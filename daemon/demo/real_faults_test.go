//go:build unix

package demo

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// realFault is a fault in real time, over a pseudo-terminal.
type realFault struct {
	fault simbench.Fault
	at    simbench.Place
	// all is true where every heater has to be off, false where only the first pot's.
	all bool
	// onlyDevice: the program can not reach the heaters, and their own time-out ends it.
	onlyDevice bool
}

// TestNumbersOfFaultsInRealTime heats a bench for each fault, side by side, each behind a
// pseudo-terminal of its own at real time, spoils something on each, and prints how
// long its heaters still drew power. Then what was spoiled is mended, and nothing
// heats by itself.
func TestNumbersOfFaultsInRealTime(t *testing.T) {
	if testing.Short() {
		t.Skip("takes real time")
	}
	line := func(f simbench.Fault, unit uint8) realFault {
		return realFault{fault: f, at: simbench.Place{Unit: unit}, all: true}
	}
	probe := func(f simbench.Fault) realFault {
		return realFault{fault: f, at: simbench.Place{Probe: registers.Melt}}
	}
	silent := line(simbench.NoReply, 0)
	silent.onlyDevice = true
	cases := map[string]realFault{
		"dead line": silent, "dead contacts": line(simbench.NoReply, simbench.UnitContacts),
		"corrupt replies": line(simbench.CorruptReplies, 0), "late replies": line(simbench.LateReplies, 0),
		"exceptions": line(simbench.ExceptionReplies, simbench.UnitContacts), "lost replies": line(simbench.LostReplies, 0),
		"truncated replies": line(simbench.TruncatedReplies, 0), "garbage": line(simbench.GarbageReplies, 0),
		"alien replies": line(simbench.AlienReplies, 0), "restart of the power unit": line(simbench.UnitRestarts, simbench.UnitPower),
		"emergency stop": {fault: simbench.EStopOpened, all: true}, "cut-out": {fault: simbench.CutOutOpened, all: true},
		"fan": {fault: simbench.FanStopped, all: true}, "open probe": probe(simbench.OpenProbe),
		"grounded probe": probe(simbench.GroundedProbe), "sentinel": probe(simbench.SentinelReading),
	}
	var group sync.WaitGroup
	var mu sync.Mutex
	took := map[string]time.Duration{}
	for name, c := range cases {
		group.Go(func() {
			d := spoilInRealTime(t, name, c)
			mu.Lock()
			defer mu.Unlock()
			took[name] = d
		})
	}
	group.Wait()
	var all []time.Duration
	for name, d := range took {
		t.Logf("%-26s off after %.2f s", name, d.Seconds())
		all = append(all, d)
	}
	slices.Sort(all)
	t.Logf("%d faults in real time: median %.2f s, worst %.2f s", len(all), all[len(all)/2].Seconds(), all[len(all)-1].Seconds())
}

// spoilInRealTime returns how long after a fault the heaters it concerns still drew
// power.
func spoilInRealTime(t *testing.T, name string, c realFault) time.Duration {
	bench, err := config.DemoBench(nil)
	if !assert.NoError(t, err) {
		return 0
	}
	d, err := New(Options{Bench: bench, Speed: 1, Seed: 1, NoMaker: true, Version: "test", Log: slog.New(slog.DiscardHandler)})
	if !assert.NoError(t, err) {
		return 0
	}
	ctx, end := context.WithCancel(context.Background())
	over := make(chan error, 1)
	go func() { over <- d.Run(ctx, func(*frames.Frame) {}) }()
	defer func() {
		end()
		<-over // a device that was spoiled may not have confirmed zero
	}()
	heats := func() bool { return !slices.Contains(drawing(d.Bench), false) }
	// On a computer that is busy with so many benches the first press may find a late
	// reading in its way.
	if !assert.Eventually(t, func() bool {
		time.Sleep(1500 * time.Millisecond)
		if !heats() {
			d.Bench.PressEnable()
			time.Sleep(2 * time.Second)
		}
		return heats()
	}, 30*time.Second, time.Millisecond, name) {
		return 0
	}
	began := d.Bench.Truth().At
	assert.NoError(t, d.Bench.Inject(c.fault, c.at))
	var after time.Duration
	off := func() bool {
		on := drawing(d.Bench)
		after = d.Bench.Truth().At - began
		return !on[0] && (!c.all || !slices.Contains(on, true))
	}
	assert.Eventually(t, off, 10*time.Second, time.Millisecond, name)
	limit := 2 * time.Second
	assert.LessOrEqual(t, after, limit+100*time.Millisecond, name) // and the time between two looks
	time.Sleep(2 * time.Second)
	assert.NoError(t, d.Bench.Clear(c.fault, c.at))
	for range 30 {
		time.Sleep(100 * time.Millisecond)
		if !c.all {
			continue // a probe that is lost for a moment holds its heater off while it lasts
		}
		assert.NotContains(t, drawing(d.Bench), true, name+": nothing heats by itself")
	}
	if c.all {
		assert.NotEqual(t, control.HeatEnabled, d.Daemon.Hub().Latest().Heat, name)
	}
	return after
}
