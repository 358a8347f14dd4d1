package demo

import (
	"context"
	"log/slog"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/devices/simbench"
	"meltwarden/devices/simbench/physics"
)

// The pots of the demo as they are here: the second has a plate probe only, the third a
// melt probe only.
const plateOnly, meltOnly = 1, 2

// halvedBench is the demo's bench file without two of its channels.
func halvedBench(t *testing.T) *config.Bench {
	t.Helper()
	whole, err := config.DemoBench(nil)
	require.NoError(t, err)
	var kept []string
	lines := strings.Split(string(whole.Typed), "\n")
	for i := 0; i < len(lines); i++ {
		if strings.Contains(lines[i], "role: melt, pot: middle") || strings.Contains(lines[i], "role: plate, pot: right") {
			i++ // and the line that goes on with it
			continue
		}
		kept = append(kept, lines[i])
	}
	b, err := config.ParseBench("bench.yaml", []byte(strings.Join(kept, "\n")), nil)
	require.NoError(t, err)
	require.Equal(t, reading.PlateOnly, b.Pots[plateOnly].Probes)
	require.Equal(t, reading.MeltOnly, b.Pots[meltOnly].Probes)
	return b
}

// thermometer is a maker who reads a melt by hand every three minutes, and within twenty
// seconds where the pot waits for it, up to 1.5 °C off.
type thermometer struct {
	random       *rand.Rand
	readAt, wait time.Duration
	typed        int
}

// reads says what the maker types at a time, if anything.
func (h *thermometer) reads(now time.Duration, p *control.PotFrame, trueC float64) (c float64, types bool) {
	if p.Wait != control.WaitHand && math.IsNaN(p.Hand.DoubtedC) {
		h.wait = now
	}
	if now-h.readAt < 3*time.Minute && now-h.wait < 20*time.Second {
		return 0, false
	}
	h.readAt, h.wait = now, now
	h.typed++
	return math.Round(10*(trueC+1.5*(2*h.random.Float64()-1))) / 10, true
}

// TestPotsWithOneProbeOverTheLine: the whole program on a bench of a whole pot and one of
// each kind, from cold to ready, with a simulated hand at the thermometer.
func TestPotsWithOneProbeOverTheLine(t *testing.T) {
	if testing.Short() {
		t.Skip("two hours in virtual time take half a minute")
	}
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		d, err := New(Options{Bench: halvedBench(t), Speed: 1, InMemory: true, Version: "test", Seed: 3, Log: slog.New(slog.DiscardHandler)})
		require.NoError(t, err)
		ctx, end := context.WithCancel(context.Background())
		defer end()
		hand := thermometer{random: rand.New(rand.NewPCG(3, 9))}
		readyAt, trips, in, n := time.Duration(0), 0, 0, 0
		overC, plateC := math.Inf(-1), 0.0
		err = d.Run(ctx, func(f *frames.Frame) {
			truth := d.Bench.Truth()
			for _, c := range f.Conditions {
				if c.Severity == guard.Trip {
					trips++
				}
			}
			p := &f.Pots[plateOnly]
			assert.False(t, p.Melt.Wired() || f.Pots[meltOnly].Plate.Wired(), "nothing is invented")
			if e := p.MeltEstimate; e.Known() {
				if n++; math.Abs(truth.Pots[plateOnly].MeltC-e.C) <= e.WithinC {
					in++
				}
			}
			overC, plateC = math.Max(overC, truth.Pots[plateOnly].MeltC-p.TargetC), math.Max(plateC, truth.Pots[meltOnly].PlateC)
			if c, types := hand.reads(f.Time, p, truth.Pots[plateOnly].MeltC); types {
				_ = d.Daemon.Submit(history.Mark{Command: control.Command{Kind: control.HandReading, Pot: plateOnly, C: c}})
			}
			if f.Ready {
				readyAt = f.Time
			}
			if f.Ready || f.Time > 150*time.Minute {
				end()
			}
		})
		require.NoError(t, err)
		truth := d.Bench.Truth()
		t.Logf("all ready after %v, %d readings typed; plate only: %.1f °C true at %.1f, band right %.1f %% of the time; melt only: plate %.0f °C at most",
			readyAt.Round(time.Second), hand.typed, truth.Pots[plateOnly].MeltC, d.Settings.Pots[plateOnly].SetpointC, 100*float64(in)/float64(n), plateC)
		assert.Positive(t, readyAt)
		assert.Zero(t, trips)
		assert.InDelta(t, d.Settings.Pots[plateOnly].SetpointC, truth.Pots[plateOnly].MeltC, 4)
		assert.Greater(t, float64(in)/float64(n), 0.9)
		assert.Less(t, plateC, 245.0, "5 °C below the trip of a bench")
	})
}

// halfEvening is an ordinary evening of pots with one probe each, in turns.
func halfEvening(t *testing.T, seed uint64) *quick {
	random := rand.New(rand.NewPCG(seed, 4712))
	q := newQuick(t, seed, []physics.PlateKind{physics.Cast, physics.Thin}[seed%2])
	for i := range q.settings.Pots {
		q.settings.Pots[i].Probes = []reading.Probes{reading.PlateOnly, reading.MeltOnly}[(i+int(seed))%2]
	}
	q.step = control.NewBench(q.settings)
	plan, noise := q.ordinary(random, eveningLasts), unrest(random)
	hands := make([]thermometer, len(q.settings.Pots))
	for i := range hands {
		hands[i].random = random
	}
	q.spoil = func(in *control.Input) {
		noise(in)
		halve(in, q.settings.Pots)
	}
	q.passEvening(plan, func() { q.measure(hands) })
	return q
}

// halve takes away what the pots have no probe for.
func halve(in *control.Input, pots []control.PotSettings) {
	for i := range in.Pots {
		if !pots[i].Probes.HasMelt() {
			in.Pots[i].Melt = reading.Temperature{}
		}
		if !pots[i].Probes.HasPlate() {
			in.Pots[i].Plate = reading.Temperature{}
		}
	}
}

// measure lets the maker read the melts that have no probe.
func (q *quick) measure(hands []thermometer) {
	truth := simbench.Truth{}
	for i := range q.f.Pots {
		p := &q.f.Pots[i]
		if p.Probes.HasMelt() || p.State == control.Lifted {
			continue
		}
		if truth.Pots == nil {
			truth = q.bench.Truth()
		}
		if c, types := hands[i].reads(q.f.Time, p, truth.Pots[i].MeltC); types {
			q.marks = append(q.marks, control.Command{Kind: control.HandReading, Pot: i, C: c})
		}
	}
}

// TestOrdinarySessionsOfHalvesDoNotTrip is TestOrdinarySessionsDoNotTrip for pots with one
// probe: half as many, one where tests are short.
func TestOrdinarySessionsOfHalvesDoNotTrip(t *testing.T) {
	t.Parallel()
	sessions := 5 * seeds / 2
	if testing.Short() {
		sessions = 1
	}
	heard, trips := map[guard.Code]int{}, 0
	for seed := range uint64(sessions) {
		q := halfEvening(t, seed+1)
		for c, n := range q.heard {
			heard[c] += n
		}
		for c, n := range q.tripped {
			trips += n
			t.Logf("seed %d: %s latched %d times", seed+1, c, n)
		}
	}
	t.Logf("%d ordinary sessions of pots with one probe: %d trips; listed: %v", sessions, trips, heard)
	assert.Zero(t, trips)
}
