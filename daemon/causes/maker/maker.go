// Package maker invents makers with a known cause of their faults, for tests only: what
// looks for causes is to be held against makers it had no part in. It knows nothing of
// how they are looked at, and was written down before that was.
//
// A maker shoots 20 to 60 baits in 3 to 8 runs. What goes on in a run hangs together as
// it does at a bench: the mould warms with every shot and cools in the breaks, the melt is
// held longer and ages, hands are slower in one run than in another, a probe that was
// put back reads a little otherwise. Faults come by a logistic curve of one cause, of a
// stated size, on top of a base rate that differs from run to run for reasons nobody
// records. All figures here are estimates (E) or common practice (C).
package maker

import (
	"math"
	"math/rand/v2"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// Cause is what makes a maker's baits bleed.
type Cause int

// The causes.
const (
	None     Cause = iota // chance alone
	HotPots               // the hottest pot against its own target
	Spread                // pots unlike beside their targets
	HotMould              // the mould's temperature
	LongDraw              // seconds from the first draw to the push
)

// String is the cause in words.
func (c Cause) String() string {
	return [...]string{"none", "hot pots", "spread", "hot mould", "long draw"}[c]
}

// Fault is the word for what the makers' cause does.
const Fault = "bled"

// Plan is what a maker is made from.
type Plan struct {
	Seed  uint64
	Cause Cause
	// Size is by how much the log-odds of a fault rise with one standard deviation of
	// the cause, over all of the maker's shots. With a fault in three shots of ten at
	// the mean, one standard deviation below and above it have about 14 and 54 of a
	// hundred for a size of 1, 5 and 76 for 2, 2 and 90 for 3.
	Size float64
	// ByRun lets the cause act by its mean in the run and no more by each shot: an
	// evening that was hot as a whole. The size is then that of one standard deviation of
	// these means. (It was added after what looks for causes.)
	ByRun bool
}

// Run is one run of a maker.
type Run struct{ Shots []history.Shot }

// pots of every maker, with their set-points in degrees Celsius.
var pots = []struct {
	name, colour string
	targetC      float64
}{{"left", "slate", 168}, {"middle", "ivory", 165}, {"right", "rust", 171}}

// truth is what was so at a shot, whatever the probes said.
type truth struct {
	deviationC               []float64
	mouldC, roomC, drawS     float64
	heldMin, stirS, agedFrom float64
	plateC                   []float64
}

// maker is one while it is made.
type maker struct {
	Plan
	*rand.Rand
	runs  [][]truth
	unsee []float64 // of each run, in log-odds: what nobody records
}

// Make invents a maker.
func Make(p Plan) []Run {
	m := &maker{Plan: p, Rand: rand.New(rand.NewPCG(p.Seed, 0x6d616b6572))}
	shots := m.IntN(41) + 20
	runs := min(m.IntN(6)+3, shots/4)
	for i := range runs {
		left := shots / (runs - i)
		n := left
		if i < runs-1 {
			n = min(max(left+m.IntN(5)-2, 3), shots-3*(runs-i-1))
		}
		shots -= n
		m.runs = append(m.runs, m.run(n))
		m.unsee = append(m.unsee, 0.5*m.NormFloat64())
	}
	return m.judged()
}

// run is what was so at n shots of one evening.
func (m *maker) run(n int) []truth {
	room := 20 + 3*m.NormFloat64()
	mould := room + 20*m.Float64()
	held := 1 + 14*m.Float64()
	aged := 40 * m.Float64() * float64(m.IntN(2)) // half of the potfuls had been heated before
	slow := math.Exp(0.15 * m.NormFloat64())
	stood := make([]float64, len(pots)) // how the pots stood all evening, beside their targets
	for i := range stood {
		stood[i] = m.NormFloat64()
	}
	together := 0.0 // what they have in common drifts from shot to shot
	var all []truth
	for range n {
		together = 0.5*together + 1.3*m.NormFloat64()
		t := truth{
			mouldC: mould, roomC: room + 0.5*m.NormFloat64(), heldMin: held, agedFrom: aged,
			drawS: slow * 30 * math.Exp(0.4*m.NormFloat64()), stirS: 40 * math.Exp(0.4*m.NormFloat64()),
		}
		for i := range pots {
			t.deviationC = append(t.deviationC, stood[i]+together+2*m.NormFloat64())
			t.plateC = append(t.plateC, pots[i].targetC+18+4*m.NormFloat64())
		}
		all = append(all, t)
		wait := 6 * math.Exp(0.4*m.NormFloat64()) // minutes to the next shot
		held += wait
		mould = room + (mould+11-room)*math.Exp(-wait/20) // 60 g warm 1.5 kg by 11 K (E)
	}
	return all
}

// of is the cause as it truly was at a shot.
func (c Cause) of(t truth) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, d := range t.deviationC {
		low, high = min(low, d), max(high, d)
	}
	switch c {
	case HotPots:
		return high
	case Spread:
		return high - low
	case HotMould:
		return t.mouldC
	case LongDraw:
		return t.drawS
	}
	return 0
}

// at is the cause as it acts in the shots of a run.
func (m *maker) at(run []truth) []float64 {
	var each []float64
	sum := 0.0
	for _, t := range run {
		each = append(each, m.Cause.of(t))
		sum += m.Cause.of(t)
	}
	if m.ByRun {
		for i := range each {
			each[i] = sum / float64(len(run))
		}
	}
	return each
}

// scale is the mean and the standard deviation of the cause over all shots; without a
// cause it varies by nothing.
func (m *maker) scale() (mean, deviation float64) {
	var n, sum, squares float64
	for _, run := range m.runs {
		for _, v := range m.at(run) {
			n, sum, squares = n+1, sum+v, squares+v*v
		}
	}
	mean = sum / n
	return mean, math.Sqrt(max(squares/n-mean*mean, 0))
}

// judged lets faults come, and writes down what the probes said and the maker marked.
func (m *maker) judged() []Run {
	mean, deviation := m.scale()
	base := 0.2 + 0.2*m.Float64() // how often it goes wrong at the mean
	atMean := math.Log(base / (1 - base))
	mouldLost := m.IntN(5) == 0 // one run without the mould's probe
	var runs []Run
	for i, run := range m.runs {
		offset := make([]float64, len(pots)) // of the probes, this evening
		for p := range offset {
			offset[p] = 0.7 * m.NormFloat64()
		}
		var r Run
		acts := m.at(run)
		for n, t := range run {
			odds := atMean + m.unsee[i]
			if deviation > 0 {
				odds += m.Size * (acts[n] - mean) / deviation
			}
			s := history.Shot{Number: n + 1, Mould: "eel", Card: m.card(t, offset, mouldLost && i == 0)}
			m.judge(&s, m.Float64() < 1/(1+math.Exp(-odds)))
			r.Shots = append(r.Shots, s)
		}
		runs = append(runs, r)
	}
	return runs
}

// card is what was recorded: with the probes' offsets and unrest, and with gaps.
func (m *maker) card(t truth, offset []float64, mouldLost bool) shot.Card {
	c := shot.Card{
		MouldC: m.sometimes(0.9, t.mouldC+1.5*m.NormFloat64()), RoomC: m.sometimes(0.95, t.roomC+0.3*m.NormFloat64()),
		DrawToPushS: m.sometimes(0.9, max(t.drawS+2*m.NormFloat64(), 1)),
	}
	if mouldLost {
		c.MouldC = frames.Unknown()
	}
	low, high := math.Inf(1), math.Inf(-1)
	for i, p := range pots {
		d := t.deviationC[i] + offset[i] + 0.3*m.NormFloat64()
		seen := m.sometimes(0.99, d)
		low, high = min(low, float64(seen)), max(high, float64(seen))
		c.Pots = append(c.Pots, shot.Pot{
			Name: p.name, Colour: p.colour, State: control.Ready.String(),
			MeltC: seen + frames.Figure(p.targetC), TargetC: frames.Figure(p.targetC), BandC: 2, DeviationC: seen,
			SlopeCPerMin: frames.Figure(0.5 * m.NormFloat64()), PlateC: frames.Figure(t.plateC[i] + m.NormFloat64()),
			HeldMin: frames.Figure(t.heldMin), SinceStirS: frames.Figure(t.stirS), DrawToPushS: c.DrawToPushS,
			DoseMin: frames.Figure(t.agedFrom + t.heldMin*0.5*math.Exp(0.09*t.deviationC[i])),
		})
	}
	c.SpreadC = frames.Figure(high - low) // unknown with an unknown pot
	return c
}

// sometimes is a figure that is recorded with a chance.
func (m *maker) sometimes(chance, v float64) frames.Figure {
	if m.Float64() >= chance {
		return frames.Unknown()
	}
	return frames.Figure(v)
}

// judge is what the maker says of a bait, now and days later. One mark in fifty is
// taken back, one bait in twenty not judged; other faults come and go by chance, and a
// colour that travels over days does too.
func (m *maker) judge(s *history.Shot, bled bool) {
	s.Withdrawn = m.IntN(50) == 0
	if m.IntN(20) == 0 {
		return
	}
	say := func(fault string, day int) { s.Verdicts = append(s.Verdicts, shot.Verdict{Fault: fault, Day: day}) }
	other := m.IntN(16) == 0
	if bled {
		say(Fault, 0)
	}
	if other {
		say([]string{"short", "seam", "bubbles"}[m.IntN(3)], 0)
	}
	if !bled && !other {
		say(shot.Clean, 0)
	}
	if m.IntN(20) == 0 {
		say(Fault, 3)
	}
}
