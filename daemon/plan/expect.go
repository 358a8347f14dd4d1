package plan

import (
	"math"
	"slices"
	"time"

	"meltwarden/control"
)

// Earlier is an earlier run on the bench that began cold and came to be ready without a
// stop.
type Earlier struct {
	Run   int64     `json:"run"`
	Began time.Time `json:"began"`
	// Took is from the press that enabled heat until all pots were ready, hands included;
	// Foreseen is what a rehearsal of it makes of that, by what is known of the pots now;
	// zero where there is none.
	Took     time.Duration `json:"-"`
	Foreseen time.Duration `json:"-"`
}

// MostEarlier is how many earlier runs count, the newest (E): pots and hands change.
const MostEarlier = 5

// Expected is how long something takes.
type Expected struct {
	// Foreseen is what the rehearsal makes of it.
	Foreseen time.Duration
	// Middle is the best guess, and From to To holds it in 8 of 10.
	Middle, From, To time.Duration
	// Ratio is Middle over Foreseen; Runs is how many earlier runs are in it, of which the
	// ratios go from Least to Most.
	Ratio, Least, Most float64
	Runs               int
}

// What is believed of the ratio of what a run takes to its rehearsal before there is one
// on the bench. Grades: E, from seeds 1 to 9 of the simulated bench; the range of a first
// heat is wider than it was there, because a real pot may be any; so is that after one, because
// real paste may take up heat otherwise.
const (
	priorKnown, sigmaKnown = 1.0, 0.08
	priorFirst, sigmaFirst = 0.93, 0.15
	priorRuns              = 0.5 // it counts as half a run for the middle,
	priorSpread            = 3.0 // and as three for the spread
	// eightOfTen is the deviation, in standard deviations, inside of which 8 of 10 lie
	// (normal distribution: 1.28), a little wider because the deviation itself is guessed.
	eightOfTen = 1.35
)

// Basis is what a rehearsal rests on, of the pot that is known least.
type Basis uint8

// The bases, from the least on.
const (
	OnGuesses Basis = iota
	OnFirstHeats
	OnEvenings
)

// Expect says how long something takes that a rehearsal foresees so, by what that rests on.
// The logarithms of the ratios are taken for normal.
func Expect(foreseen time.Duration, basis Basis, earlier []Earlier) Expected {
	prior, sigma := math.Log(priorKnown), sigmaKnown
	switch basis {
	case OnGuesses:
		prior, sigma = math.Log(priorFirst), sigmaFirst
	case OnFirstHeats:
		sigma = sigmaFirst
	}
	e := Expected{Foreseen: foreseen, Least: math.Inf(1), Most: math.Inf(-1)}
	var logs []float64
	for _, run := range earlier {
		if run.Foreseen <= 0 || len(logs) == MostEarlier {
			continue
		}
		ratio := run.Took.Seconds() / run.Foreseen.Seconds()
		logs = append(logs, math.Log(ratio))
		e.Least, e.Most = min(e.Least, ratio), max(e.Most, ratio)
	}
	e.Runs = len(logs)
	n, sum := float64(e.Runs), priorRuns*prior
	for _, l := range logs {
		sum += l
	}
	mid := sum / (n + priorRuns)
	squares := priorSpread * sigma * sigma
	for _, l := range logs {
		squares += (l - mid) * (l - mid)
	}
	off := eightOfTen * math.Sqrt(squares/(n+priorSpread)*(1+1/(n+priorRuns+1)))
	e.Ratio = math.Exp(mid)
	at := func(log float64) time.Duration { return time.Duration(float64(foreseen) * math.Exp(log)) }
	e.Middle, e.From, e.To = at(mid), at(mid-off), at(mid+off)
	return e
}

// Past is an earlier run before it is rehearsed.
type Past struct {
	Run      int64
	Began    time.Time
	Took     time.Duration
	Settings control.Settings
	RoomC    float64 // degrees Celsius
}

// Unforeseen are earlier runs that nobody rehearses.
func Unforeseen(past []Past) (all []Earlier) {
	for _, p := range past {
		all = append(all, Earlier{Run: p.Run, Began: p.Began, Took: p.Took})
	}
	return all
}

// Hindsight rehearses earlier runs, the newest first, with the pots as they are known now.
// One that was the same but for its room is not rehearsed again.
func Hindsight(past []Past, now control.Settings, roomC float64, rehearse func(control.Settings, float64) Course) []Earlier {
	all := Unforeseen(past)
	for n, p := range past {
		set := now
		set.Pots = slices.Clone(p.Settings.Pots)
		for i := range set.Pots {
			set.Pots[i].Known = now.Pots[i].Known
		}
		if ready := rehearse(set, roomC).Ready; ready > 0 {
			all[n].Foreseen = time.Duration(float64(ready) * roomShare(set, p.RoomC, roomC))
		}
	}
	return all
}

// roomShare is by how much longer a heat-up takes in one room than in another, both in
// degrees Celsius: that of a melt behind a constant conductance from a plate at its limit,
// t ~ ln((plate − room)/(plate − cure)) (lumped heating, elementary), in the mean of the
// pots. It spares a rehearsal for each room.
func roomShare(set control.Settings, roomC, overC float64) float64 {
	sum := 0.0
	for _, p := range set.Pots {
		needs := func(c float64) float64 { return math.Log((p.PlateLimitC - c) / (p.PlateLimitC - p.CureC)) }
		sum += needs(roomC) / needs(overC)
	}
	return sum / float64(len(set.Pots))
}
