package judge_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
)

// column is a figure of an evening.
type column int

const (
	heat       column = iota // heat-up, times the limit's
	over                     // °C over the target in it, once there
	plate                    // °C over the plate's limit, in any phase
	shownPlate               // the same as the probe shows it
	hold                     // RMS °C about what the probe shows
	about                    // RMS °C about the target
	swing                    // RMS °C about its own mean
	cold                     // recovery from 20 mL cold, times the limit's
	coldOver                 // °C over the target after it
	cool                     // from cure into band, times the limit's
	coolUnder                // °C under the target after it
	columns
)

// evening is what a loop came to on one pot with one seed.
type evening [columns]float64

func eveningOf(p *judge.Pot, o []rig.Outcome) evening {
	e := evening{
		heat: o[judge.HeatUp].IntoS / p.Limit[judge.HeatUp].IntoS, over: o[judge.HeatUp].OverC,
		hold: o[judge.Hold].ShownRMSC, about: o[judge.Hold].RMSC,
		cold: o[judge.Cold].IntoS / p.Limit[judge.Cold].IntoS, coldOver: o[judge.Cold].OverC,
		cool: o[judge.Cool].IntoS / p.Limit[judge.Cool].IntoS, coolUnder: o[judge.Cool].UnderC,
		plate: math.Inf(-1), shownPlate: math.Inf(-1),
	}
	e[swing] = math.Sqrt(math.Max(0, e[about]*e[about]-o[judge.Hold].MeanC*o[judge.Hold].MeanC))
	for _, x := range o {
		e[plate], e[shownPlate] = max(e[plate], x.PlateOverC), max(e[shownPlate], x.ShownPlateOverC)
	}
	return e
}

// sheet is what a loop came to: for every pot an evening a seed.
type sheet [][]evening

// runs are a column's figures of all runs.
func (s sheet) runs(c column) (all []float64) {
	for _, pot := range s {
		for _, e := range pot {
			all = append(all, e[c])
		}
	}
	return all
}

// pots are a column's medians of every pot.
func (s sheet) pots(c column) (all []float64) {
	for i := range s {
		all = append(all, middle(s[i:i+1].runs(c)))
	}
	return all
}

// middle is the median, of an even number the mean of the two.
func middle(xs []float64) float64 {
	s := slices.Sorted(slices.Values(xs))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// judged lets every loop have its evenings with every pot: a sheet a loop.
func judged(pots []*judge.Pot, loops func(*judge.Pot) []judge.Contender, o rig.Options, n uint64) ([]string, []sheet) {
	all := make([][][]evening, len(pots)) // by pot, loop and seed
	names := make([][]string, len(pots))
	sideBySide(pots, func(i int, p *judge.Pot) {
		for _, c := range loops(p) {
			var one []evening
			for seed := range n {
				one = append(one, eveningOf(p, p.Run(c.Make, o, firstSeed+seed)))
			}
			all[i], names[i] = append(all[i], one), append(names[i], c.Name)
		}
	})
	sheets := make([]sheet, len(names[0]))
	for _, byLoop := range all {
		for k, one := range byLoop {
			sheets[k] = append(sheets[k], one)
		}
	}
	return names[0], sheets
}

func ours(*judge.Pot) []judge.Contender { return []judge.Contender{{Name: "ours", Make: judge.Ours}} }

// both are the cascade alone, which is ours without the model's eyes, and ours.
func both(p *judge.Pot) []judge.Contender {
	return append([]judge.Contender{{Name: "cascade, stored heat", Make: judge.FromCascade}}, ours(p)...)
}

func allLoops(p *judge.Pot) []judge.Contender { return append(p.References(), both(p)...) }

// tuning is what was tuned on what.
const tuning = `
Judged with seeds from 1000 on: 15 named pots, and random pots drawn from seed 1000.
Ours: its constants marked E (control/loop, control/model, control/cascade) were tuned on the same named
pots with seeds 1 to 3 and on 24 other random pots (seed 1). So on the named pots only readings and the
maker's errors are new to it; only the random pots are wholly new, but for the tenth: what takes a plate's
excess away was chosen on it, and on 40 more (seed 2). It is told rated watts and typed volume.
References: tuned by rule from a step test on the very pot that they are judged on, near its target (seed 1,
the maker's errors left out). The lower bounds of their fitted delays and how they track were chosen in
their favour, the first on the named pots with seed 1000.
Hold: RMS about what the melt probe shows (the target less its constant offset, ±0.3 °C drawn anew for every
pot and seed, which no loop can know), and beside it about the target. Plate: over its limit in truth, and as
its probe shows it but for lag and noise (±1 °C drawn likewise). Times are over the physical limit's. "pot" is
the worst pot's median, "run" the worst run; over and under are true temperatures.`

const head = `
                         heat-up ÷ limit        over °C      plate shown  hold RMS °C: shown   target       20 mL cold ÷ limit  over °C      cool ÷ limit under
                         med   90 %  pot   run  med   run    run   run    med   pot   run    med   run    med   pot   run    med   run    med   run    run`

func (s sheet) log(t *testing.T, name string) {
	m := func(c column) float64 { return middle(s.runs(c)) }
	pot := func(c column) float64 { return slices.Max(s.pots(c)) }
	run := func(c column) float64 { return slices.Max(s.runs(c)) }
	t.Logf("%-22s %5.2f %5.2f %5.2f %5.2f  %5.2f %5.2f  %5.2f %5.2f  %5.3f %5.3f %5.3f  %5.3f %5.3f  %5.2f %5.2f %5.2f  %5.2f %5.2f  %5.2f %5.2f %5.2f", name,
		m(heat), at(ninety, s.runs(heat)), pot(heat), run(heat), m(over), run(over), run(plate), run(shownPlate),
		m(hold), pot(hold), run(hold), m(about), run(about),
		m(cold), pot(cold), run(cold), m(coldOver), run(coldOver), m(cool), run(cool), run(coolUnder))
}

// notBeforeTheLimit: no loop that keeps to the plate's limit may be faster than the
// limit but by what its own start of a phase was the better one: a probe that reads
// 0.3 °C high leaves 5 % less to cool.
func (s sheet) notBeforeTheLimit(t *testing.T) {
	assert.GreaterOrEqual(t, slices.Min(s.runs(heat)), 1.0, "the heat-up")
	assert.GreaterOrEqual(t, slices.Min(slices.Concat(s.runs(cool), s.runs(cold))), 0.95, "the other phases")
}

// TestNumbersOfTheLoops prints the table of all loops, holds ours to what it is
// accepted by, and the textbooks' to being better in no more than one of time and
// overshoot. With late readings and behind windows only plate and hold are held to
// anything: a melt over an oil bath goes further over there after a cold addition.
// Where not all is judged, these are tried on three pots.
func TestNumbersOfTheLoops(t *testing.T) {
	if testing.Short() {
		t.Skip("two hundred simulated evenings take some seconds")
	}
	t.Log(tuning)
	n, some := seeds(t), named()
	if !full() {
		some = []*judge.Pot{some[0], some[6], some[12]}
	}
	t.Run("named", func(t *testing.T) { judgeNamed(t, n) })
	for _, r := range []struct {
		name string
		o    rig.Options
	}{
		{"0.3 s old, 2 % lost", rig.Late()},
		{"window of 2 s", windowed(2 * time.Second)},
		{"window of 20 s", windowed(20 * time.Second)},
	} {
		t.Run(r.name, func(t *testing.T) {
			_, s := judged(some, ours, r.o, n)
			t.Log(head)
			s[0].log(t, r.name)
			s[0].notBeforeTheLimit(t)
			bound{"plate over its limit, °C, every run", slices.Max(s[0].runs(plate)), 1.0, 0.5, nil}.check(t)
			assert.LessOrEqual(t, slices.Max(s[0].runs(swing)), 0.10, "what is made of the hold")
			if r.o.Window > 2*time.Second {
				bound{"hold, RMS °C, median", middle(s[0].runs(hold)), 0.15, 0.10, nil}.check(t)
			}
		})
	}
	t.Run("random", func(t *testing.T) { judgeRandom(t, n) })
}

func windowed(d time.Duration) rig.Options {
	o := rig.Usual()
	o.Window = d
	return o
}

func judgeNamed(t *testing.T, n uint64) {
	names, s := judged(named(), allLoops, rig.Usual(), n)
	last := len(s) - 1
	t.Log(head)
	for k := range s {
		s[k].log(t, names[k])
	}
	for k := range s {
		t.Log(names[k] + ", on each pot")
		for i, p := range named() {
			s[k][i:i+1].log(t, p.Spec.Name)
		}
	}
	s[last-1].notBeforeTheLimit(t)
	s[last].notBeforeTheLimit(t)
	s[last].accept(t)
	for k := range s[:last-1] {
		s[last].notBeatenBy(t, s[k], names[k])
	}
}

func judgeRandom(t *testing.T, n uint64) {
	pots, refused := judge.RandomPots(2*int(max(n, 2)), firstSeed)
	names, s := judged(pots, both, rig.Usual(), n)
	t.Log(head)
	for k := range s {
		s[k].log(t, names[k])
		s[k].notBeforeTheLimit(t)
	}
	t.Logf("%d random pots; %d more were too slow for any loop", len(pots), refused)
	bound{"heat-up ÷ limit, 90 % of the runs", at(ninety, s[1].runs(heat)), 1.35, 1.20, nil}.check(t)
	s[1].acceptTruth(t)
}

// miss is a figure of ours that is not accepted and known, so that it gets no worse.
type miss struct {
	upTo float64
	why  string
}

// bound is what a figure of ours must come to, and what it should.
type bound struct {
	what              string
	have, accept, aim float64
	known             *miss
}

func (b bound) check(t *testing.T) {
	t.Helper()
	met, most := "the aim is met", b.accept
	switch {
	case b.have > b.accept && b.known != nil:
		met, most = fmt.Sprintf("NOT ACCEPTED, known to %.2f (%s)", b.known.upTo, b.known.why), b.known.upTo
	case b.have > b.accept:
		met = "NOT ACCEPTED"
	case b.have > b.aim:
		met = "the aim is missed"
	}
	t.Logf("%-36s %6.3f  accepted to %4.2f, aim %4.2f: %s", b.what, b.have, b.accept, b.aim, met)
	assert.LessOrEqual(t, b.have, most, b.what)
}

// accept holds ours to the project's own bounds on the named pots.
func (s sheet) accept(t *testing.T) {
	for _, b := range []bound{
		{"heat-up ÷ limit, median", middle(s.runs(heat)), 1.20, 1.06, nil},
		{"heat-up ÷ limit, every pot", slices.Max(s.pots(heat)), 1.5, 1.25, nil},
		{"over, °C, median", middle(s.runs(over)), 0.5, 0.4, nil},
		{"hold, RMS °C, median", middle(s.runs(hold)), 0.08, 0.05, nil},
		{"hold, RMS °C, every pot", slices.Max(s.pots(hold)), 0.15, 0.07, nil},
		{"20 mL cold ÷ limit, median", middle(s.runs(cold)), 1.6, 1.15, nil},
		{"20 mL cold ÷ limit, every pot", slices.Max(s.pots(cold)), 2.5, 1.6, nil},
	} {
		b.check(t)
	}
	s.acceptTruth(t)
}

// acceptTruth is what no run may exceed.
func (s sheet) acceptTruth(t *testing.T) {
	for _, b := range []bound{
		{"over, °C, every run", slices.Max(s.runs(over)), 1.0, 0.8, nil},
		{"plate over its limit, °C, every run", slices.Max(s.runs(plate)), 1.0, 0.5, nil},
		{"over after 20 mL cold, °C, every run", slices.Max(s.runs(coldOver)), 1.5, 1.0, nil},
	} {
		b.check(t)
	}
}

// notBeatenBy: another loop is not both faster and less far over, by medians, on any
// pot and on all, in the heat-up and after a cold addition.
func (s sheet) notBeatenBy(t *testing.T, other sheet, name string) {
	for _, phase := range []struct {
		name       string
		time, over column
	}{{"heat-up", heat, over}, {"20 mL cold", cold, coldOver}} {
		faster, lower := 0, 0
		for i, p := range named() {
			quick, low := beats(other[i:i+1], s[i:i+1], phase.time), beats(other[i:i+1], s[i:i+1], phase.over)
			if quick {
				faster++
			}
			if low {
				lower++
			}
			assert.False(t, quick && low, "%s on %s, %s", name, p.Spec.Name, phase.name)
		}
		t.Logf("%-20s %-10s faster than ours on %d pots, less far over on %d, of %d", name, phase.name, faster, lower, len(s))
		assert.False(t, beats(other, s, phase.time) && beats(other, s, phase.over), "%s on all pots, %s", name, phase.name)
	}
}

// beats reports whether one sheet's median is below another's.
func beats(one, other sheet, c column) bool { return middle(one.runs(c)) < middle(other.runs(c)) }
