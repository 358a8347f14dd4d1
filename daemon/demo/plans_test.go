package demo

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/loop"
	"meltwarden/daemon"
	"meltwarden/daemon/history"
	planning "meltwarden/daemon/plan"
	"meltwarden/devices/clock"
)

// season is evenings on one bench, on which pots, probes and maker stay the same.
type season struct {
	seed  uint64
	known []*loop.Known
	past  []planning.Past
	planning.Rehearser
}

// marking is the maker's word on its way to the bench. Whoever is asked again whether a
// melt is clear, because it was said too early, says it again.
type marking struct {
	commands []control.Command
	clear    [3]bool
}

func (m *marking) say(k control.CommandKind, pot int) {
	m.commands = append(m.commands, control.Command{Kind: k, Pot: pot})
}

// Stirred implements simbench.Marks.
func (m *marking) Stirred(pot int) {
	if m.say(control.Stir, pot); m.clear[pot] {
		m.say(control.TickClear, pot)
	}
}

// Clear implements simbench.Marks.
func (m *marking) Clear(pot int) {
	m.clear[pot] = true
	m.say(control.TickClear, pot)
}

// passes lets the nth evening pass until all has been ready for two minutes, and learns
// from it. It returns how long the pots took to be ready from the press on, and the room.
func (s *season) passes(t *testing.T, set control.Settings, nth uint64) (took time.Duration, roomC float64) {
	clk := clock.Stepped()
	bench, err := newBench(set, Options{Seed: s.seed, Evening: nth}, clk)
	require.NoError(t, err)
	set.Limits.HeatersProven = bench.ProvesTimeout()
	var m marking
	bench.ReportTo(&m)
	step := control.NewBench(set)
	var in control.Input
	var f control.Frame
	began, ready := time.Duration(-1), time.Duration(-1)
	for ready < 0 || f.Time < ready+2*time.Minute {
		bench.Report(&in)
		in.Commands, m.commands = append(in.Commands[:0], m.commands...), nil
		in.Round()
		step.Step(&in, &f)
		bench.Apply(f.Outputs)
		if began < 0 && f.Heat == control.HeatEnabled {
			began = f.Time
		}
		if ready < 0 && f.Ready {
			ready = f.Time
		}
		require.Less(t, f.Time, longest)
		in.Elapsed = set.Period
		clk.Advance(in.Elapsed)
	}
	s.learn(step)
	return ready - began, bench.Truth().RoomC
}

// learn keeps what an evening has found out about the pots.
func (s *season) learn(bench *control.Bench) {
	for i := range s.known {
		if k, worth, _ := bench.Known(i); worth {
			s.known[i] = &k
		}
	}
}

// evening plans the nth evening, with so much of the recipe, lets it pass, and returns what
// was expected and what came.
func (s *season) evening(t *testing.T, b *config.Bench, share float64, nth uint64) (planning.Expected, time.Duration) {
	set, err := config.Settings(b, config.DemoRecipe())
	require.NoError(t, err)
	for i := range set.Pots {
		set.Pots[i].VolumeML *= share
		set.Pots[i].Known = s.known[i]
	}
	took, roomC := s.passes(t, set, nth)
	course := s.Rehearse(set, roomC)
	earlier := planning.Hindsight(s.past[:min(len(s.past), planning.MostEarlier)], set, roomC, s.Rehearse)
	p := planning.Of(planning.Given{Settings: set, Wanted: planning.Wanted{RoomC: roomC}, Course: &course, Earlier: earlier})
	s.past = slices.Insert(s.past, 0, planning.Past{Took: took, Settings: set, RoomC: roomC})
	return p.Ready, took
}

// planned counts how plans turned out.
type planned struct {
	n, tenth, inside int
	ratios           float64
}

func (y *planned) add(e planning.Expected, took time.Duration) {
	y.n++
	y.ratios += e.Middle.Seconds() / took.Seconds()
	if math.Abs(e.Middle.Seconds()/took.Seconds()-1) <= 0.1 {
		y.tenth++
	}
	if took >= e.From && took <= e.To {
		y.inside++
	}
}

func (y *planned) log(t *testing.T, name string) {
	t.Logf("%-11s plan within 10 %% of what came: %d of %d; that inside the stated range, which is to hold 8 of 10: %d of %d; plan ÷ came %.3f in the mean",
		name, y.tenth, y.n, y.inside, y.n, y.ratios/float64(y.n))
}

// TestPlanFromAHistory: the plan of an evening finds in the history what its pots are and
// what the earlier evening took; another heater is another bench.
func TestPlanFromAHistory(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated evening")
	}
	t.Parallel()
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer s.Close()
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	p := evenings()[3]
	p.pushes = p.pushes[:1]
	e, err := newEvening(p, b, "test", time.Now())
	require.NoError(t, err)
	planner := daemon.NewPlanner(b, s, "test")
	before, err := planner.Plan(config.DemoRecipe(), planning.Wanted{RoomC: math.NaN()})
	require.NoError(t, err)
	require.NoError(t, e.pass(context.Background()))
	require.NoError(t, e.write(s))
	recalled, err := daemon.Recall(s, b, e.settings, e.start)
	require.NoError(t, err)
	require.NoError(t, s.KeepKnown(1, daemon.Learnt(again(e), recalled, e.began)))

	room := e.bench.Truth().RoomC
	after, err := planner.Plan(config.DemoRecipe(), planning.Wanted{RoomC: room})
	require.NoError(t, err)
	enabled := slices.IndexFunc(e.kept, func(k history.Kept) bool { return k.Record.Kept.Heat == control.HeatEnabled })
	ready := slices.IndexFunc(e.kept, func(k history.Kept) bool { return k.Record.Kept.Ready })
	took := e.kept[ready].Record.Kept.Time - e.kept[enabled].Record.Kept.Time
	require.Len(t, after.Earlier, 1)
	assert.Equal(t, took.Round(time.Millisecond), after.Earlier[0].Took)
	assert.Equal(t, int64(1), after.Earlier[0].Run)
	assert.InEpsilon(t, after.Course.Ready.Seconds(), after.Earlier[0].Foreseen.Seconds(), 0.01, "the same pots in the same room")
	assert.Equal(t, 1, after.Ready.Runs)
	assert.Less(t, after.Ready.To-after.Ready.From, before.Ready.To-before.Ready.From, "a first heat has the wider range")
	assert.Contains(t, after.Recalled[0], "known from")
	assert.Empty(t, before.Earlier)
	assert.True(t, before.RoomAssumed)
	t.Logf("first heat: %.0f min (%.0f to %.0f); came %.0f; then: %.0f (%.0f to %.0f)", before.Ready.Middle.Minutes(), before.Ready.From.Minutes(), before.Ready.To.Minutes(),
		took.Minutes(), after.Ready.Middle.Minutes(), after.Ready.From.Minutes(), after.Ready.To.Minutes())

	again, err := planner.Plan(config.DemoRecipe(), planning.Wanted{RoomC: room})
	require.NoError(t, err)
	assert.Equal(t, after.Ready, again.Ready)
	other := *b
	other.Typed, other.Pots = append([]byte("# moved\n"), b.Typed...), slices.Clone(b.Pots)
	moved, err := daemon.NewPlanner(&other, s, "test").Plan(config.DemoRecipe(), planning.Wanted{RoomC: room})
	require.NoError(t, err)
	assert.Len(t, moved.Earlier, 1, "a comment makes no other bench")
	other.Pots[0].HeaterW += 100
	moved, err = daemon.NewPlanner(&other, s, "test").Plan(config.DemoRecipe(), planning.Wanted{RoomC: room})
	require.NoError(t, err)
	assert.Empty(t, moved.Earlier, "another heater does")
}

// TestNumbersOfPlans prints how a plan's ready time compares with what the simulated bench
// then does, evening after evening on benches that the plan's own figures were not made on
// (these are seeds 1 to 9): the first evening on each is a first heat, and two of the
// others are a scaled recipe. From one evening to the next the room, the mains, the
// readings, the hands' times, the volumes (±5 %), the contact of pot and plate and the
// stirring (±15 %, E: physics.Another) are drawn anew. PLAN_SEED=31 has other benches.
func TestNumbersOfPlans(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("minutes under the race detector, which has others to look at")
	}
	benches, evenings := uint64(3), uint64(6)
	if seeds > few {
		benches = 6 // as many as the readme's figures rest on
	}
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	from := uint64(21)
	if typed := os.Getenv("PLAN_SEED"); typed != "" {
		from, err = strconv.ParseUint(typed, 10, 64)
		require.NoError(t, err)
	}
	var first, known planned
	t.Log("seed evening  of the recipe  planned min    came min   planned ÷ came")
	for seed := from; seed < from+benches; seed++ {
		s := season{seed: seed, known: make([]*loop.Known, 3)}
		scaled := 0.8 + 0.4*rand.New(rand.NewPCG(seed, 1)).Float64()
		for nth := range evenings {
			share := 1.0
			if nth == 2 || nth == 4 {
				share = scaled
			}
			e, took := s.evening(t, b, share, nth)
			of := &known
			if nth == 0 {
				of = &first
			}
			of.add(e, took)
			t.Logf("%4d %7d %11.2f      %4.1f (%4.1f to %4.1f)   %4.1f     %.3f", seed, nth+1, share,
				e.Middle.Minutes(), e.From.Minutes(), e.To.Minutes(), took.Minutes(), e.Middle.Seconds()/took.Seconds())
		}
	}
	first.log(t, "first heats")
	known.log(t, "known pots")
	// The readme's figures: 26 and 24 of 30 came within 10 %, short of the 9 of 10 that is aimed at.
	assert.GreaterOrEqual(t, float64(known.tenth), 0.8*float64(known.n))
	assert.GreaterOrEqual(t, float64(known.inside), 0.8*float64(known.n))
	assert.GreaterOrEqual(t, first.inside, first.n/2)
}
