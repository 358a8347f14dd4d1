package judge_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
	"meltwarden/control/loop"
	"meltwarden/control/model"
	"meltwarden/control/reading"
)

// firstHeat is how a bench's first heat went.
type firstHeat struct {
	*together
	ended         []control.Warming
	left          []*loop.Known
	tookS         float64
	meltC, plateC float64 // the hottest of any
	drawnJ        float64
	inputs        []control.Input
	duties        [][]float64
}

// warmed lets a bench have its first heat with pots of raw paste, on 15 A at 120 V. The seed
// is of the readings, and of what the maker gets wrong about the pots. In every cycle befalls
// may change what the bench is told.
func warmed(t *testing.T, seed uint64, befalls func(n int, in *control.Input), specs ...zoo.Spec) *firstHeat {
	h := &firstHeat{together: togetherOn(t, circuit.Smooth, 0, 0)}
	h.noise = rand.New(rand.NewPCG(seed, 77))
	var names []string
	for i := range specs {
		s := &specs[i]
		s.Misjudge(h.noise)
		h.plants = append(h.plants, zoo.New(s, zoo.Start{}))
		h.set.Pots = append(h.set.Pots, control.PotSettings{
			Name: s.Name, HeaterW: s.RatedW, VolumeML: s.TypedML(), PlateLimitC: s.PlateLimitC, CureC: judge.CureC - 1,
			Dwell: time.Minute, SetpointC: judge.PourC, BandC: 2, SteadyFor: time.Minute, StirWithin: time.Minute,
		})
		names = append(names, s.Name)
	}
	h.set = control.ForFirstHeat(h.set, names)
	h.bench = control.NewBench(h.set)
	minutes := 15
	if befalls != nil {
		minutes = 4 // it has befallen by then
	}
	for n := 0; n < 5*60*minutes && !h.over(); n++ {
		h.tick(n, befalls)
	}
	for i := range h.plants {
		h.ended = append(h.ended, h.frame.Pots[i].Warming)
		known, worth, _ := h.bench.Known(i)
		if h.left = append(h.left, nil); worth {
			h.left[i] = &known
		}
	}
	return h
}

func (h *firstHeat) over() bool {
	for i := range h.frame.Pots {
		if h.frame.Pots[i].Warming == control.Warms {
			return false
		}
	}
	return h.frame.Cycle > 0
}

// tick is a cycle, with what becomes of it.
func (h *firstHeat) tick(n int, befalls func(int, *control.Input)) {
	h.in.Commands = h.in.Commands[:0]
	h.read(n)
	if befalls != nil {
		befalls(n, &h.in)
	}
	h.in.Round()
	kept := h.in
	kept.Pots = append([]control.PotReadings(nil), h.in.Pots...)
	h.inputs = append(h.inputs, kept)
	h.bench.Step(&h.in, &h.frame)
	h.duties = append(h.duties, append([]float64(nil), h.frame.Outputs.Duty...))
	for i := range h.plants {
		duty := h.frame.Outputs.Duty[i]
		for range 4 {
			h.plants[i].Step(duty)
		}
		h.drawnJ += duty * h.set.Pots[i].HeaterW * h.set.Period.Seconds()
		h.meltC, h.plateC = max(h.meltC, h.plants[i].TopC()), max(h.plateC, h.plants[i].PlateC())
	}
	assert.LessOrEqual(h.t, h.frame.PowerW, h.set.Circuit.MaxW)
	h.tookS = float64(n) * h.set.Period.Seconds()
}

// three are some of the named pots.
func three() []zoo.Spec {
	all := zoo.Named()
	return []zoo.Spec{all[2], all[3], all[0]}
}

// TestFirstHeatKeepsItsBounds warms pots of any kind, some of them three at a time: no paste
// comes near to where it gels, and no pot is heated for longer than is said.
func TestFirstHeatKeepsItsBounds(t *testing.T) {
	t.Parallel()
	pots, random := zoo.Named(), 6
	if full() {
		random = 60
	}
	from := rand.New(rand.NewPCG(firstSeed, 3))
	for range random {
		pots = append(pots, zoo.Sample(from))
	}
	meltC, plateC, tookS, told := 0.0, 0.0, 0.0, 0
	for i := 0; i+3 <= len(pots); i += 3 {
		h := warmed(t, uint64(i), nil, pots[i:i+3]...)
		assert.Equal(t, control.HeatEnabled, h.frame.Heat, "nothing trips: %v", h.frame.Conditions)
		assert.True(t, h.over())
		meltC, plateC, tookS = max(meltC, h.meltC), max(plateC, h.plateC), max(tookS, h.tookS)
		for _, w := range h.ended {
			if w == control.Understood || w == control.TakesLittle {
				told++
			}
		}
	}
	t.Logf("%d pots, three at a time: melts up to %.1f °C, plates up to %.1f °C, the longest took %.0f s; %d told something", len(pots), meltC, plateC, tookS, told)
	assert.Less(t, meltC, 53.0, "and 55 trips")
	assert.Less(t, plateC, control.FirstHeatPlateC+1)
	assert.Less(t, tookS, control.FirstHeatFor.Seconds()+100)
	assert.Greater(t, told, 4*len(pots)/5)
}

// TestNoPressNoFirstHeat leaves the button alone.
func TestNoPressNoFirstHeat(t *testing.T) {
	h := warmed(t, 1, func(_ int, in *control.Input) { in.Contacts.Enable = contact(false) }, three()...)
	assert.Zero(t, h.drawnJ)
	for i := range h.ended {
		assert.Equal(t, control.Warms, h.ended[i], "it waits")
		assert.Nil(t, h.left[i])
	}
}

// TestAProbeComesOffInAFirstHeat takes one pot's probe away: its heat is cut, and nothing of
// it is kept.
func TestAProbeComesOffInAFirstHeat(t *testing.T) {
	off, hotter := 400, 0.0
	for name, take := range map[string]func(*control.PotReadings){
		"melt":  func(p *control.PotReadings) { p.Melt = reading.Temperature{Fault: reading.Open} },
		"plate": func(p *control.PotReadings) { p.Plate = reading.Temperature{Fault: reading.Open} },
	} {
		h := warmed(t, 1, func(n int, in *control.Input) {
			if n >= off {
				take(&in.Pots[0])
			}
		}, three()...)
		for n := off + 10; n < len(h.duties); n++ {
			hotter = max(hotter, h.duties[n][0])
		}
		assert.Zero(t, hotter, "%s probe: no heat once it is off", name)
		assert.Nil(t, h.left[0], "%s probe", name)
	}
}

// TestFirstHeatReplays steps a second bench through what the first one was told, from
// settings that were kept as text.
func TestFirstHeatReplays(t *testing.T) {
	h := warmed(t, 1, nil, three()...)
	text, err := json.Marshal(h.set)
	require.NoError(t, err)
	var settings control.Settings
	require.NoError(t, json.Unmarshal(text, &settings))
	again, frame := control.NewBench(settings), control.Frame{}
	for n := range h.inputs {
		again.Step(&h.inputs[n], &frame)
		require.Equal(t, h.duties[n], frame.Outputs.Duty, "cycle %d", n)
	}
	for i := range h.left {
		require.NotNil(t, h.left[i])
		known, worth, _ := again.Known(i)
		assert.True(t, worth)
		assert.Equal(t, *h.left[i], known)
	}
}

// TestWhatIsNotWarmed names one pot of three, and leaves another without a plate probe.
func TestWhatIsNotWarmed(t *testing.T) {
	evening := control.Settings{Pots: []control.PotSettings{{Name: "a"}, {Name: "b", Probes: reading.MeltOnly}, {Name: "c", PlateLimitC: 60}}}
	s := control.ForFirstHeat(evening, []string{"a", "b"})
	assert.Equal(t, control.FirstHeatFor, s.Pots[0].FirstHeat.For)
	assert.Zero(t, s.Pots[1].FirstHeat.For, "what it lacks would be guessed at by what is to be found out")
	assert.Zero(t, s.Pots[2].FirstHeat.For)
	assert.Equal(t, 60.0, s.Pots[2].PlateLimitC, "no limit is raised")
	assert.Zero(t, s.Limits.MeltTripC, "nor is a trip")
	assert.False(t, evening.Pots[0].FirstHeat.Is(), "the evening's settings stay as they are")
	text, err := json.Marshal(evening)
	require.NoError(t, err)
	assert.NotContains(t, string(text), "FirstHeat", "settings of evenings are kept as they always were")
}

// begun is how first sessions went that began with one kind of knowledge.
type begun struct {
	heat, over []float64    // times over the limit's, kelvin
	said       [4][]float64 // how far off the word was, of the heat-up, after shares of it
	recalled   int          // still gone by after a quarter
}

// saidAfter are the shares of the heat-up after which a word is looked at: the first is as
// heat begins.
var saidAfter = [4]float64{0.005, 0.1, 0.25, 0.5}

func (g *begun) add(p *judge.Pot, known *loop.Known, seed uint64) {
	rise := []rig.Phase{{TargetC: judge.CureC, ForS: 40 * 60}}
	out, after := toldIn(p, judge.Recalling(known), seed, rise, saidAfter[:]...)
	g.heat, g.over = append(g.heat, out[0].IntoS/p.Limit[judge.HeatUp].IntoS), append(g.over, out[0].OverC)
	for i := range g.said {
		g.said[i] = append(g.said[i], after[i].off)
	}
	if after[2].recalled {
		g.recalled++
	}
}

func (g *begun) log(t *testing.T, name string) {
	if len(g.heat) == 0 {
		return
	}
	t.Logf("%-28s %5.3f %5.3f  %5.2f %5.2f  %s  %s  %s  %s  %3d of %3d", name, at(median, g.heat), at(worst, g.heat), at(median, g.over), at(worst, g.over),
		percents(g.said[0]), percents(g.said[1]), percents(g.said[2]), percents(g.said[3]), g.recalled, len(g.heat))
}

// bare is what a plate shows of itself that is heated with nothing on it, to 110 °C and left
// to cool: all else stays what it was taken for.
func bare(s zoo.Spec, seed uint64) *loop.Known {
	from := rand.New(rand.NewPCG(seed, 78))
	s.Misjudge(from)
	p := zoo.New(&s, zoo.Start{})
	p.Happen(zoo.Event{Kind: zoo.Lift})
	f := model.New(model.Pot{HeaterW: s.RatedW, MeltJPerK: 0.5, Probes: reading.PlateOnly})
	for n, duty := 0, 0.6; n < 5*480; n++ {
		for range 4 {
			p.Step(duty)
		}
		_, plateC := p.Read(from)
		f.Step(duty, 0.2, fresh(plateC), reading.Temperature{Fault: reading.Missing})
		if f.Sight(duty).HeldC > 110 {
			duty = 0
		}
	}
	meltJPerK := s.TypedML() * control.MeltJPerMLK
	shown, k := f.Known(), model.New(model.Pot{HeaterW: s.RatedW, MeltJPerK: meltJPerK}).Known()
	k.PlateJPerK, k.ElementS, k.PlateProbeS = shown.PlateJPerK, shown.ElementS, shown.PlateProbeS
	k.CouplingWK.Value, k.Warmed = 0.003*meltJPerK, true // as it is taken for
	return &loop.Known{Model: k}
}

// thicker is a pot whose paste takes up half of the heat that its thin melt does, from cold
// until it is thin.
func thicker(s zoo.Spec) *judge.Pot {
	s.Gel.FromC, s.Gel.ThickC, s.Gel.Share = -20, -10, 0.5
	return judge.NewPot(s)
}

// unstirred is a pot in which nobody stirs.
func unstirred(s zoo.Spec) zoo.Spec {
	s.Stir = zoo.Stirring{}
	return s
}

// TestNumbersOfFirstHeat prints the first session of pots of which nothing is known, of
// those that had their first heat, and of those that had a whole evening: how long they take
// and how far they go over, and how far off the word is of how long they still need. Simulated
// paste takes up as much heat as a thin melt (E), which a real one may not: thick paste takes
// up half, until it is thin; and nobody may stir in a first heat. What a plate shows that is
// heated with nothing on it is of no use.
func TestNumbersOfFirstHeat(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of simulated sessions")
	}
	t.Parallel()
	var nothing, first, plate, evening, lazy, thickNothing, thickFirst begun
	var kept, keptLazy, keptThick, pots int
	left := func(n *int, s zoo.Spec) *loop.Known {
		k := warmed(t, secondSeed, nil, s).left[0]
		if k != nil {
			*n++
		}
		return k
	}
	for i, p := range named() {
		if !full() && i%10 != 0 {
			continue // JUDGE_SEEDS has all of them
		}
		pots++
		paste, still, thick := left(&kept, p.Spec), left(&keptLazy, unstirred(p.Spec)), thicker(p.Spec)
		half := left(&keptThick, thick.Spec)
		for k := range seeds(t) {
			seed := firstSeed + k
			nothing.add(p, nil, seed)
			first.add(p, paste, seed)
			if full() {
				lazy.add(p, still, seed)
				plate.add(p, bare(p.Spec, secondSeed), seed)
				evening.add(p, leaves(p, secondSeed), seed)
				thickNothing.add(thick, nil, seed)
				thickFirst.add(thick, half, seed)
			}
		}
		n := len(nothing.heat) - 1
		t.Logf("%-20s word as heat begins off by %3.0f %%, after a first heat %3.0f %%", p.Spec.Name, 100*nothing.said[0][n], 100*first.said[0][n])
	}
	t.Logf("something was kept of %d of %d pots, of %d where nobody stirred, of %d with thick paste", kept, pots, keptLazy, keptThick)
	t.Log("\n                             heat-up ÷ limit  over °C     said as heat begins,  1/10,  1/4,  1/2 of the way: off   gone by it\n" +
		"                             med   worst  med   worst  med,  90 %     med,  90 %   med,  90 %   med,  90 %   after 1/4")
	nothing.log(t, "nothing known")
	first.log(t, "first heat")
	lazy.log(t, "first heat, nobody stirred")
	plate.log(t, "bare plate")
	evening.log(t, "an evening")
	thickNothing.log(t, "thick paste, nothing known")
	thickFirst.log(t, "thick paste, first heat")
	assert.Less(t, at(ninety, first.said[0]), 0.7*at(ninety, nothing.said[0]))
	assert.Less(t, at(worst, first.heat), 1.05*at(worst, nothing.heat))
	assert.Less(t, at(worst, first.over), at(worst, nothing.over)+0.1)
	if full() {
		assert.LessOrEqual(t, at(ninety, lazy.said[0]), at(ninety, nothing.said[0]), "no worse than a guess where nobody stirred")
		assert.LessOrEqual(t, at(ninety, thickFirst.said[0]), at(ninety, thickNothing.said[0]), "nor with thick paste")
	}
}
