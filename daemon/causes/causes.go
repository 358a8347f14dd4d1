// Package causes looks over the maker's own shots for what goes with a fault. It holds the
// shots that came out with the fault against those that came out clean, only ever within
// a run, because two evenings differ in more than anybody records: weather, batch,
// hands. What it promises:
//
//   - A cause is a hypothesis. The fault's own causes, from the table of daemon/cause,
//     come first; every other figure stands below them, so that nothing is hidden.
//   - Figures are ranked by the size of their effect: in which part of the pairs of a
//     spoilt and a clean shot of the same run the spoilt one has more of it.
//   - A cause is named only when chance alone would seldom come as far, counting that all
//     figures and all faults were looked at, when the effect is larger than how the
//     figure is measured, and when it is on the side that the table says.
//   - Where counts can not decide it is silent, and says how many more shots would.
//   - Figures that rise together are named as not told apart.
//   - What a re-inspection found days later is left out: it is never charged to
//     temperature. So are marks taken back and baits nobody judged; all are counted.
//
// A look is not corrected for those before it. Who looks after every evening is told of
// something by chance alone about twice as often (TestNumbersOfLookingEveryEvening prints
// it).
//
// From run to run the run is the unit. That is told as a hint and never names a cause: of
// causes that act by the run, few are hinted at by three to eight runs (the numbers are
// printed by TestNumbersOfRuns). And where faults grow more frequent through a run for a
// reason that nobody records, whatever else grows with the run goes with them.
package causes

import (
	"cmp"
	"math"
	"slices"
	"time"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/exact"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// Level is how seldom chance alone may come as far as what is named a cause (C).
const Level = 0.05

// seed is where whatever is drawn by chance begins, so that it comes out the same
// every time.
const seed = 1

// Run is one run that is looked at.
type Run struct {
	ID      int64
	Began   time.Time
	Recipe  string
	Version int
	Shots   []history.Shot
}

// Finding is what the shots say about one fault.
type Finding struct {
	Fault string `json:"fault"`
	// Faulty and Clean are how many shots came out so, Runs how many runs have both; of
	// the shots, Alike are in runs where all came out alike, which say nothing.
	Faulty int `json:"faulty"`
	Clean  int `json:"clean"`
	Runs   int `json:"runs_with_both"`
	Alike  int `json:"shots_in_runs_alike"`
	// LeftOut are the shots that are not looked at, by their reason.
	LeftOut []LeftOut `json:"left_out"`
	// Later are the shots that showed it only days later, whatever they were at demould.
	Later []Ref `json:"later"`
	// Looked is how many figures could be looked at, Smallest the smallest chance that
	// the counts can come to for one of them; Decides is false where that, times
	// Looked, is above Level. Each is how many shots of both outcomes in one run would
	// decide.
	Looked   int           `json:"figures_looked_at"`
	Smallest frames.Chance `json:"smallest_chance"`
	Decides  bool          `json:"decides"`
	Each     int           `json:"each_to_decide"`
	// Causes are the fault's own, Others all figures that the table does not name for
	// it; both with the largest effect first. Unseen are the causes that no figure shows.
	Causes []Row    `json:"causes"`
	Others []Row    `json:"others"`
	Unseen []string `json:"causes_without_a_figure"`
	// Rates are how often it came out so by mould and by recipe version.
	Rates []Rate `json:"rates"`
}

// LeftOut are shots that are not looked at.
type LeftOut struct {
	Why   string `json:"why"`
	Shots []Ref  `json:"shots"`
}

// Ref names a shot.
type Ref struct {
	Run  int64 `json:"run"`
	Shot int   `json:"shot"`
}

// Says is what can be said of a figure. Only Named calls it a cause.
type Says string

// What can be said.
const (
	Named       Says = "goes with it"
	Listed      Says = "goes with it, and is not a cause that the trade names"
	Opposite    Says = "goes with it the other way than the trade says"
	Small       Says = "no larger than how it is measured"
	Chance      Says = "may be chance"
	TooFew      Says = "too few to tell"
	NotRecorded Says = "nothing to compare"
)

// Row is one figure held against a fault.
type Row struct {
	Cause  string     `json:"cause"` // in words; "" for a figure that the table does not name
	Figure string     `json:"figure"`
	Kind   cause.Kind `json:"-"`
	Unit   string     `json:"unit"` // of its differences
	Side   cause.Side `json:"-"`
	// Pairs, Share, Shift, Low and High are those of exact.Ranked; an open end is not
	// known. The shift is in Unit.
	Pairs int           `json:"pairs"`
	Share frames.Figure `json:"share"`
	Shift frames.Figure `json:"difference"`
	Low   frames.Figure `json:"difference_low"`
	High  frames.Figure `json:"difference_high"`
	// Within is how the figure is measured, in the same unit.
	Within float64 `json:"measured_within"`
	// Alone is how likely it is by chance if nothing else had been looked at, Chance
	// with all figures and faults counted; not
	// known where it says nothing.
	Alone  frames.Chance `json:"chance_alone"`
	Chance frames.Chance `json:"chance"`
	Says   Says          `json:"says"`
	// Missing is how many of the shots do not have it.
	Missing int `json:"not_recorded"`
	// Together are the figures that rise with it and go with the fault as well.
	Together []string `json:"not_told_apart_from"`
	// More is about how many more shots would show it, if it is as large as it looks;
	// not known where it is named already, or where no number would do.
	More frames.Figure `json:"more_shots"`
	// Between is the rank correlation from run to run, and BetweenChance how likely that
	// is by chance with all figures counted; not known where runs are too few.
	Between       frames.Figure `json:"between_runs"`
	BetweenChance frames.Chance `json:"between_runs_chance"`
	// Dots are the shots that have the figure.
	Dots []Dot `json:"-"`
}

// Dot is a shot in a figure.
type Dot struct {
	Ref
	Value  float64
	Faulty bool
}

// Rate is how often a fault came in some of the shots, with its interval (95 %).
type Rate struct {
	Of     string        `json:"of"`
	Faulty int           `json:"faulty"`
	Shots  int           `json:"shots"`
	Low    frames.Figure `json:"low"`
	High   frames.Figure `json:"high"`
}

// Look looks over runs for every fault that was seen at demould, the most frequent first.
func Look(runs []Run) []Finding {
	var all []Finding
	for _, fault := range shot.Verdicts() {
		if f, any := look(fault, runs); any {
			all = append(all, f)
		}
	}
	correct(all)
	for i := range all {
		all[i].conclude()
	}
	slices.SortStableFunc(all, func(a, b Finding) int { return cmp.Compare(b.Faulty, a.Faulty) })
	return all
}

// look is without the correction for the other faults; any is false where nobody saw the
// fault, and for "clean".
func look(fault string, runs []Run) (f Finding, any bool) {
	known, ok := cause.Of(fault)
	if !ok {
		return f, false
	}
	seen, left := outcomes(fault, runs)
	f = Finding{
		Fault: fault, LeftOut: left, Later: later(fault, runs), Unseen: append([]string{}, known.Unseen...),
		Causes: []Row{}, Others: []Row{}, Rates: []Rate{}, // no list is null in JSON
	}
	for _, r := range seen {
		faulty, clean := r.counts()
		f.Faulty, f.Clean = f.Faulty+faulty, f.Clean+clean
		if faulty > 0 && clean > 0 {
			f.Runs++
		} else {
			f.Alike += faulty + clean
		}
	}
	if f.Faulty == 0 {
		return f, false
	}
	f.Rates = append(f.Rates, rates(seen)...)
	f.hold(known, seen)
	return f, true
}

// hold holds every figure against the outcomes.
func (f *Finding) hold(known cause.Fault, seen []run) {
	figures := known.Figures()
	rows, compared := make([]Row, len(figures)), make([]exact.Ranked, len(figures))
	for j, figure := range figures {
		rows[j], compared[j] = row(figure, seen)
		for _, c := range known.Seen {
			if c.Figure == figure {
				rows[j].Cause, rows[j].Side = c.Name, c.Side
			}
		}
		if rows[j].varies() {
			f.Looked++
		}
	}
	f.Smallest = frames.Chance(exact.Reach(both(seen, nil)))
	f.Decides = f.Looked > 0 && float64(f.Smallest)*float64(f.Looked) <= Level
	f.Each = exact.Each(max(f.Looked, 1), Level)
	chances := make([]float64, len(figures))
	if f.Decides {
		chances = exact.Largest(len(figures), groups(seen, figures), seed)
	}
	across(rows, seen, figures)
	alike := together(seen, figures)
	for j := range rows {
		r := &rows[j]
		switch reach := exact.Reach(both(seen, figures[j])); {
		case !r.varies():
			r.Chance, r.Says = frames.Chance(frames.Unknown()), NotRecorded
		case !f.Decides || reach*float64(f.Looked) > Level:
			r.Chance, r.Says = frames.Chance(frames.Unknown()), TooFew
		default:
			r.Chance, r.More = frames.Chance(chances[j]), more(compared[j], len(r.Dots), Level/float64(f.Looked))
		}
		for k := range rows {
			if k != j && alike[j][k] && rows[k].Alone <= Level && r.Alone <= Level {
				r.Together = append(r.Together, rows[k].Figure)
			}
		}
		if r.Cause != "" {
			f.Causes = append(f.Causes, *r)
		} else {
			f.Others = append(f.Others, *r)
		}
	}
	slices.SortStableFunc(f.Causes, bySize)
	slices.SortStableFunc(f.Others, bySize)
}

// varies reports whether there is anything to compare.
func (r Row) varies() bool { return r.Pairs > 0 && r.Alone.Known() }

// effect is the size of an effect, from -1/2 to 1/2, on the side that the table says;
// either way where it says none.
func (r Row) effect() float64 {
	off := float64(r.Share) - 0.5
	if r.Side == 0 {
		return math.Abs(off)
	}
	return off * float64(r.Side)
}

// bySize puts the larger effect first, and what could not be compared last.
func bySize(a, b Row) int {
	switch {
	case a.varies() && b.varies():
		return cmp.Compare(b.effect(), a.effect())
	case a.varies():
		return -1
	case b.varies():
		return 1
	}
	return 0
}

// units are those of a difference in a figure of each kind.
var units = map[cause.Kind]string{cause.Difference: "K", cause.Temperature: "K", cause.Seconds: "s", cause.Minutes: "min", cause.Count: "shots"}

// row compares a figure within runs.
func row(figure *cause.Figure, seen []run) (r Row, compared exact.Ranked) {
	r = Row{Figure: figure.Name, Kind: figure.Kind, Unit: units[figure.Kind], Within: figure.Within, Together: []string{}, More: frames.Unknown(), Between: frames.Unknown(), BetweenChance: frames.Chance(frames.Unknown())}
	var blocks []exact.Block
	for _, run := range seen {
		var b exact.Block
		for _, s := range run.shots {
			v := figure.Of(s.Shot)
			switch {
			case !v.Known():
				r.Missing++
				continue
			case s.faulty:
				b.With = append(b.With, float64(v))
			default:
				b.Without = append(b.Without, float64(v))
			}
			r.Dots = append(r.Dots, Dot{Ref{run.ID, s.Number}, float64(v), s.faulty})
		}
		blocks = append(blocks, b)
	}
	compared = exact.Compare(blocks)
	r.Pairs, r.Share = compared.Pairs, frames.Figure(compared.Share)
	r.Shift, r.Low, r.High = frames.Figure(compared.Shift), frames.Figure(compared.Low), frames.Figure(compared.High)
	r.Alone = frames.Chance(frames.Unknown())
	if compared.Error > 0 {
		r.Alone = frames.Chance(compared.P)
	}
	return r, compared
}

// most is the largest number of shots that is worth telling (E: years of evenings).
const most = 300

// more is how many more shots would show what was seen, at a level.
func more(c exact.Ranked, shots int, level float64) frames.Figure {
	wanted := float64(shots) * (c.Times(level) - 1)
	if !(wanted <= most) {
		return frames.Unknown()
	}
	return frames.Figure(math.Ceil(max(wanted, 1)))
}

// correct counts that several faults were looked at (Holm): only those whose counts can
// decide are, the others could have named nothing.
func correct(all []Finding) {
	var deciding []*Finding
	var least []float64
	for i := range all {
		if f := &all[i]; f.Decides {
			p := 1.0
			for _, rows := range [][]Row{f.Causes, f.Others} {
				for _, r := range rows {
					if r.Chance.Known() {
						p = min(p, float64(r.Chance))
					}
				}
			}
			deciding, least = append(deciding, f), append(least, p)
		}
	}
	for i, p := range exact.Holm(least) {
		for _, rows := range [][]Row{deciding[i].Causes, deciding[i].Others} {
			for j := range rows {
				rows[j].Chance = min(1, rows[j].Chance*frames.Chance(p/least[i]))
			}
		}
	}
}

// conclude says of every figure what can be said.
func (f *Finding) conclude() {
	for _, rows := range [][]Row{f.Causes, f.Others} {
		for j := range rows {
			r := &rows[j]
			if r.Says != "" {
				continue
			}
			switch {
			case r.Chance > Level:
				r.Says = Chance
			case math.Abs(float64(r.Shift)) < r.Within:
				r.Says = Small
			case r.Cause == "":
				r.Says = Listed
			case r.effect() < 0:
				r.Says = Opposite
			default:
				r.Says = Named
			}
			if r.Chance <= Level {
				r.More = frames.Unknown()
			}
		}
	}
}
