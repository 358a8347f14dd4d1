package demo

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
	"meltwarden/devices/simbench/physics"
)

// moments are how far the bench is when something begins to be wrong.
var moments = map[string]func(q *quick) bool{
	"cold":    func(q *quick) bool { return q.f.Heat == control.HeatEnabled },
	"heating": func(q *quick) bool { return q.f.Pots[0].MeltC > 100 },
	"holding": func(q *quick) bool { return q.f.Ready },
}

// trouble is what goes wrong with the first pot, and what is to be found of it.
type trouble struct {
	name, moment string
	begin        func(q *quick) error
	// finds is what latches in the end, within a time, zero for anything that stops
	// the whole bench.
	finds  guard.Code
	within time.Duration
	// off is how soon the heater must be off for good.
	off time.Duration
	// hottestC is what the plate may reach after it began, by the truth.
	hottestC float64
}

// broken is a trouble that is a fault of the simulated bench.
func broken(f simbench.Fault, probe registers.Role) func(*quick) error {
	return func(q *quick) error { return q.bench.Inject(f, simbench.Place{Probe: probe}) }
}

// wired is a trouble of how the bench is wired: it changes what is read.
func wired(change func(*control.Input)) func(*quick) error {
	return func(q *quick) error { q.spoil = change; return nil }
}

// toppedUp is a melt probe that comes out as a cold addition is marked.
func toppedUp(volumeML float64) func(*quick) error {
	return func(q *quick) error {
		q.bench.Add(0, volumeML)
		q.mark(control.ColourAdded, 0)
		return q.bench.Inject(simbench.PulledProbe, simbench.Place{Probe: registers.Melt})
	}
}

func crossed(in *control.Input) { in.Pots[0], in.Pots[1] = in.Pots[1], in.Pots[0] }

// reversed mirrors a reading at the temperature of the module's terminals, as
// swapped leads do.
func reversed(c *float64) { *c = 2*26 - *c }

var troubles = []trouble{
	{"melt probe falls out", "holding", broken(simbench.PulledProbe, registers.Melt), guard.MeltNotFollowing, 20 * time.Second, 4 * time.Second, 232},
	{"melt probe falls out", "heating", broken(simbench.PulledProbe, registers.Melt), guard.MeltNotFollowing, 40 * time.Second, 6 * time.Second, 238},
	{"melt probe out, a top-up marked", "holding", toppedUp(0), guard.MeltNotFollowing, 28 * time.Second, 4 * time.Second, 232},
	{"melt probe out, a top-up marked", "heating", toppedUp(0), guard.MeltNotFollowing, 45 * time.Second, 6 * time.Second, 238},
	{"melt probe out with a top-up", "holding", toppedUp(60), guard.MeltNotFollowing, 28 * time.Second, 4 * time.Second, 232},
	{"melt probe was never in", "cold", broken(simbench.PulledProbe, registers.Melt), guard.MeltNotFollowing, 4 * time.Minute, 4 * time.Minute, 238},
	{"plate probe comes off", "holding", broken(simbench.PulledProbe, registers.Plate), guard.PlateNotFollowing, time.Minute, 10 * time.Second, 240},
	{"plate probe comes off", "heating", broken(simbench.PulledProbe, registers.Plate), guard.PlateNotFollowing, 3 * time.Minute, 12 * time.Second, 250},
	{"plate probe was never on", "cold", broken(simbench.PulledProbe, registers.Plate), guard.HeaterDead, 2 * time.Minute, 2 * time.Minute, 250},
	{"relay sticks", "holding", broken(simbench.RelayWelded, ""), guard.RiseWhileOff, 30 * time.Second, 30 * time.Second, 230},
	// Of a pot that waits for the others, with its heater off, a rise tells it first.
	{"relay sticks", "heating", broken(simbench.RelayWelded, ""), 0, 90 * time.Second, 90 * time.Second, 285},
	{"heater fails", "cold", broken(simbench.HeaterFailed, ""), guard.HeaterDead, 2 * time.Minute, 2 * time.Minute, 60},
	{"heater fails", "heating", broken(simbench.HeaterFailed, ""), guard.HeaterDead, 10 * time.Minute, 10 * time.Minute, 238},
	{"heater fails", "holding", broken(simbench.HeaterFailed, ""), guard.HeaterDead, 10 * time.Minute, 10 * time.Minute, 230},
	{"melt probe noisy", "heating", broken(simbench.NoisyProbe, registers.Melt), guard.MeltUnusable, 30 * time.Second, 30 * time.Second, 238},
	{"plate probe noisy", "heating", broken(simbench.NoisyProbe, registers.Plate), guard.PlateUnusable, 30 * time.Second, 30 * time.Second, 238},
	// It has to move only while the pot is heated, and one that is early waits.
	{"melt probe frozen", "heating", broken(simbench.FrozenProbe, registers.Melt), guard.MeltFrozen, 90 * time.Second, 90 * time.Second, 238},
	{"plate probe frozen", "cold", broken(simbench.FrozenProbe, registers.Plate), guard.PlateFrozen, 70 * time.Second, 70 * time.Second, 200},
	{"melt leads swapped", "cold", wired(func(in *control.Input) { reversed(&in.Pots[0].Melt.C) }), guard.MeltReversed, 3 * time.Minute, 3 * time.Minute, 238},
	{"plate leads swapped", "cold", wired(func(in *control.Input) { reversed(&in.Pots[0].Plate.C) }), guard.PlateReversed, 30 * time.Second, 30 * time.Second, 60},
	{"probes crossed, one pot put away", "cold", func(q *quick) error {
		q.bench.Lift(1)
		q.mark(control.Lift, 1)
		q.spoil = crossed
		return nil
	}, 0, 90 * time.Second, 90 * time.Second, 120},
	{"probes crossed", "cold", wired(crossed), 0, 40 * time.Minute, 40 * time.Minute, 265},
	{"nobody at the bench", "holding", wired(func(in *control.Input) { in.Commands = nil }), guard.LeftAlone, 15*time.Minute + time.Second, 15*time.Minute + time.Second, 230},
	{"called away, marks from the phone", "holding", wired(func(in *control.Input) {
		for i := range in.Commands {
			in.Commands[i].Afar = true
		}
	}), guard.LeftAlone, 15*time.Minute + time.Second, 15*time.Minute + time.Second, 230},
}

// course is how a trouble went.
type course struct {
	found, off time.Duration
	plateC     float64 // the hottest the true plate was after it began
	meltC      float64
}

// what names what is to be found.
func (u *trouble) what() string {
	if u.finds == 0 {
		return "the whole bench"
	}
	return u.finds.String()
}

func (u *trouble) found(k guard.Condition) bool {
	return k.Latched && (k.Code == u.finds || u.finds == 0 && k.Code.Rule().Action == guard.AllOff)
}

// passes lets a trouble happen.
func (u *trouble) passes(t *testing.T, seed uint64, plate physics.PlateKind) (c course) {
	q := newQuick(t, seed, plate)
	q.passUntil(t, Patience, func() bool { return len(q.f.Pots) > 0 && moments[u.moment](q) })
	require.NoError(t, u.begin(q))
	began := q.f.Time
	for found := -1 * time.Second; found < 0 || q.f.Time-began < c.found+2*time.Minute; {
		q.cycle()
		truth := q.bench.Truth().Pots[0]
		c.plateC, c.meltC = math.Max(c.plateC, truth.PlateC), math.Max(c.meltC, truth.MeltC)
		if q.f.Outputs.Duty[0] > 0 {
			c.off = q.f.Time - began + q.settings.Period
		}
		if found < 0 && slices.ContainsFunc(q.f.Conditions, u.found) {
			found = q.f.Time - began
			c.found = found
		}
		if q.f.Time-began > time.Hour {
			t.Errorf("%s, %s, seed %d, plate %d: never found; %v", u.name, u.moment, seed, plate, q.f.Conditions)
			return c
		}
	}
	return c
}

// TestAPlateProbeThatWasNeverOnStaysTripped prints how long a melt reads cold over a
// plate whose probe is off it: so long the pot must not count as cold. No press lets it
// heat again.
func TestAPlateProbeThatWasNeverOnStaysTripped(t *testing.T) {
	if testing.Short() {
		t.Skip("evenings of computing: what runs beside the control is raced in real time")
	}
	for _, plate := range []physics.PlateKind{physics.Cast, physics.Thin} {
		q := newQuick(t, 31, plate)
		q.passUntil(t, Patience, func() bool { return q.f.Heat == control.HeatEnabled })
		require.NoError(t, q.bench.Inject(simbench.PulledProbe, simbench.Place{Probe: registers.Plate}))
		dead := func(c guard.Condition) bool { return c.Code == guard.HeaterDead && c.Latched }
		took := q.passUntil(t, 2*time.Minute, func() bool { return slices.ContainsFunc(q.f.Conditions, dead) })
		t.Logf("plate %d: told off after %v, the plate then truly at %.0f °C", plate, took.Round(time.Second), q.bench.Truth().Pots[0].PlateC)
		require.Less(t, q.bench.Truth().Pots[0].PlateC, 250.0, "the plate's trip")
		began, warm := q.f.Time, time.Duration(0)
		for q.f.Time < began+15*time.Minute {
			q.bench.PressEnable()
			for end := q.f.Time + 20*time.Second; q.f.Time < end; {
				q.cycle()
			}
			require.True(t, slices.ContainsFunc(q.f.Conditions, dead))
			require.Zero(t, q.f.Outputs.Duty[0])
			if warm == 0 && q.f.Pots[0].MeltC >= guard.TouchC {
				warm = q.f.Time - began
			}
		}
		t.Logf("plate %d: its melt is over %.0f °C %v after the trip, the plate truly at %.0f °C a quarter of an hour on", plate, guard.TouchC, warm, q.bench.Truth().Pots[0].PlateC)
		assert.Positive(t, warm)
		const coldFor = 8 * time.Minute // what counts as cold for long, as in the guard's table
		assert.LessOrEqual(t, warm, coldFor*2/5, "half of what counts as cold for long, with a margin")
	}
}

// TestNumbersOfTheTable prints how soon each trouble is found on simulated benches
// of both kinds of plate, and how hot the plate truly became.
func TestNumbersOfTheTable(t *testing.T) {
	if testing.Short() {
		t.Skip("a hundred and seventy evenings at the bench take some seconds")
	}
	t.Parallel()
	rows := make([]string, len(troubles))
	t.Run("rows", func(t *testing.T) {
		for i := range troubles {
			u := &troubles[i]
			t.Run(u.name+" "+u.moment, func(t *testing.T) {
				t.Parallel()
				rows[i] = u.row(t)
			})
		}
	})
	t.Log("\n" + strings.Join(rows, "\n"))
}

// row lets a trouble happen on some seeds and both kinds of plate, and returns its line.
func (u *trouble) row(t *testing.T) string {
	seedsEach := max(1, seeds/5)
	var worst course
	best := time.Hour
	for _, plate := range []physics.PlateKind{physics.Cast, physics.Thin} {
		for seed := range uint64(seedsEach) {
			c := u.passes(t, seed+31, plate)
			best = min(best, c.found)
			worst = course{max(worst.found, c.found), max(worst.off, c.off), max(worst.plateC, c.plateC), max(worst.meltC, c.meltC)}
		}
	}
	assert.LessOrEqual(t, worst.found, u.within)
	assert.LessOrEqual(t, worst.off, u.off)
	assert.LessOrEqual(t, worst.plateC, u.hottestC)
	return fmt.Sprintf("%-33s %-8s %-22s %6.1f to %6.1f s, heater off after %5.1f s, plate at most %3.0f °C, melt %3.0f °C",
		u.name, u.moment, u.what(), best.Seconds(), worst.found.Seconds(), worst.off.Seconds(), worst.plateC, worst.meltC)
}
