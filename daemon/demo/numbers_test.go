package demo

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"runtime"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/frames"
)

// newVirtual returns a demo in virtual time: the whole program, from the
// simulated bench over Modbus frames to the published frame, without a page. It
// must be called inside a synctest bubble.
func newVirtual(t *testing.T, o Options) *Demo {
	t.Helper()
	var err error
	if o.Bench == nil {
		o.Bench, err = config.DemoBench(nil)
		require.NoError(t, err)
	}
	o.Speed, o.InMemory, o.Version, o.Log = 1, true, "test", slog.New(slog.DiscardHandler)
	d, err := New(o)
	require.NoError(t, err)
	return d
}

// held is one pot's half hour, from five minutes after everything was ready.
type held struct {
	n              float64
	about, indeed  float64 // sums of squares
	overC, plateOC float64
}

// outcome is what one seed came to.
type outcome struct {
	readyAfter time.Duration
	firstReady [3]time.Duration // each pot for the first time; zero for never
	verdict    Verdict
	pots       [3]held
	maxW       float64
	minuteW    float64
	trips      int
	foreseen   foreseen
}

const (
	framesAMinute = 300
	settle        = 5 * time.Minute // the last pot is called ready at the edge of its band
	holdFor       = 30 * time.Minute
)

// runSeed lets a demo run until it has held for half an hour.
func runSeed(t *testing.T, seed uint64) outcome {
	d := newVirtual(t, Options{Seed: seed})
	ctx, end := context.WithCancel(context.Background())
	defer end()
	var o outcome
	var minute []float64
	patience := Patience
	err := d.Run(ctx, func(f *frames.Frame) {
		truth := d.Bench.Truth()
		o.foreseen.see(f)
		for _, c := range f.Conditions {
			if c.Latched {
				o.trips++
			}
		}
		drawn := 0.0
		for i, p := range truth.Pots {
			drawn += f.Outputs.Duty[i] * d.Settings.Pots[i].HeaterW
			if f.Pots[i].State == control.Ready && o.firstReady[i] == 0 {
				o.firstReady[i] = f.Time
			}
			o.pots[i].plateOC = math.Max(o.pots[i].plateOC, p.PlateC-d.Settings.Pots[i].PlateLimitC)
		}
		o.maxW = math.Max(o.maxW, drawn)
		minute = append(minute, drawn)
		if len(minute) > framesAMinute {
			minute = minute[1:]
		}
		o.minuteW = math.Max(o.minuteW, sum(minute)/framesAMinute)
		if f.Ready && o.readyAfter == 0 {
			o.readyAfter, o.verdict = f.Time, d.Verdict()
			patience = f.Time + settle + holdFor
		}
		if o.readyAfter > 0 && f.Time > o.readyAfter+settle {
			for i, p := range truth.Pots {
				h := &o.pots[i]
				off := p.MeltC - d.Settings.Pots[i].SetpointC
				h.n++
				h.indeed += off * off
				h.about += (off + p.MeltProbeErrorC) * (off + p.MeltProbeErrorC)
			}
		}
		if f.Time > patience {
			end()
		}
	})
	require.NoError(t, err)
	for i, p := range d.Verdict().Pots {
		o.pots[i].overC = p.OvershootC
	}
	return o
}

func sum(xs []float64) (total float64) {
	for _, x := range xs {
		total += x
	}
	return total
}

// spread is between the first ready pot and the last.
func (o *outcome) spread() time.Duration {
	r := o.firstReady[:]
	return slices.Max(r) - slices.Min(r)
}

func (h held) rms() float64       { return math.Sqrt(h.about / h.n) }
func (h held) trueRMS() float64   { return math.Sqrt(h.indeed / h.n) }
func worst(a, b float64) float64  { return math.Max(a, b) }
func minutes(d time.Duration) any { return fmt.Sprintf("%4.1f min", d.Minutes()) }

// TestNumbersOfTheDemoBench prints what the controller comes to on the simulated
// bench, as many as there are seeds, judged by the true melt: every pot ready, overshoot at
// most 2 °C, held within 0.3 °C RMS, the circuit never over its rating. The
// holding error is given twice: as the probe could know it (its own fixed error,
// drawn for each seed within class 2, left out) and as it truly is.
func TestNumbersOfTheDemoBench(t *testing.T) {
	if testing.Short() {
		t.Skip("evenings at the bench take some seconds")
	}
	t.Parallel()
	outcomes := make([]outcome, seeds)
	var group sync.WaitGroup
	free := make(chan struct{}, 4)
	for i := range outcomes {
		group.Go(func() {
			free <- struct{}{}
			defer func() { <-free }()
			synctest.Test(t, func(t *testing.T) { outcomes[i] = runSeed(t, uint64(i+1)) })
		})
	}
	group.Wait()
	set := virtualSettings(t)
	t.Log("seed  ready     spread    overshoot °C          hold RMS °C        (with the probe's own error)  plate over limit °C  most W  minute W")
	var over, hold float64
	var spreads []time.Duration
	for i, o := range outcomes {
		spreads = append(spreads, o.spread())
		p := o.pots
		t.Logf("%4d  %s  %4.0f s  %4.2f %4.2f %4.2f   %.2f %.2f %.2f   (%.2f %.2f %.2f)   %.1f %.1f %.1f   %.0f  %.0f", i+1, minutes(o.readyAfter), o.spread().Seconds(),
			p[0].overC, p[1].overC, p[2].overC, p[0].rms(), p[1].rms(), p[2].rms(), p[0].trueRMS(), p[1].trueRMS(), p[2].trueRMS(),
			p[0].plateOC, p[1].plateOC, p[2].plateOC, o.maxW, o.minuteW)
		require.True(t, o.verdict.Ready, "seed %d never became ready", i+1)
		require.Zero(t, o.trips, "seed %d tripped", i+1)
		require.LessOrEqual(t, o.maxW, set.Circuit.MaxW, "seed %d", i+1)
		require.LessOrEqual(t, o.minuteW, set.Circuit.ContinuousW, "seed %d", i+1)
		for _, h := range p {
			over, hold = worst(over, h.overC), worst(hold, h.rms())
			require.LessOrEqual(t, h.overC, 2.0, "seed %d", i+1)
			require.LessOrEqual(t, h.rms(), 0.3, "seed %d", i+1)
		}
	}
	slices.Sort(spreads)
	t.Logf("ready together: spread %v in the median, %v at worst", spreads[len(spreads)/2], spreads[len(spreads)-1])
	t.Logf("worst overshoot %.2f °C, worst hold %.2f °C RMS", over, hold)
	t.Logf("the melt, predicted %.0f min before:", frames.ForeseenIn.Minutes())
	for _, phase := range []string{firstMinutes, control.Heating.String(), control.Curing.String(), control.Cooling.String(), control.Holding.String()} {
		t.Logf("%-33s %s", phase, foreseenIn(outcomes, phase))
	}
}

func virtualSettings(t *testing.T) control.Settings {
	t.Helper()
	bench, err := config.DemoBench(nil)
	require.NoError(t, err)
	s, err := config.Settings(bench, config.DemoRecipe())
	require.NoError(t, err)
	return s
}

// TestNumbersOfFourHours prints what four hours at the bench take in virtual
// time, what they hold in memory while they last, and what they leave behind.
func TestNumbersOfFourHours(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector, which has others to look at")
	}
	began, goroutines, before := time.Now(), runtime.NumGoroutine(), heap()
	var early, late int64
	synctest.Test(t, func(t *testing.T) {
		d := newVirtual(t, Options{Seed: 1})
		ctx, end := context.WithCancel(context.Background())
		defer end()
		require.NoError(t, d.Run(ctx, func(f *frames.Frame) {
			switch {
			case f.Time > 4*time.Hour:
				late = heap()
				end()
			case f.Time > time.Minute && early == 0:
				early = heap()
			}
		}))
		require.Greater(t, d.Daemon.Hub().Latest().Cycle, uint64(4*3600*5-10))
	})
	t.Logf("four hours in %.1f s; the heap held %.1f MB more than after a minute; %.1f MB and %d goroutines are left behind",
		time.Since(began).Seconds(), megabytes(late-early), megabytes(heap()-before), runtime.NumGoroutine()-goroutines)
	require.Less(t, megabytes(late-early), 8.0)
	require.LessOrEqual(t, goroutinesLeft(goroutines), goroutines)
}

func megabytes(bytes int64) float64 { return float64(bytes) / 1e6 }

// heap is what is in use after a collection, in bytes.
func heap() int64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}
