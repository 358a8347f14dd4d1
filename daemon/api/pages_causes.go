package api

import (
	"fmt"
	"net/http"
	"time"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/causes"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/view"
)

// causesPage is what the template of the causes is filled with.
type causesPage struct {
	head
	causes.Answer
	About, Promise, Nothing, Made string
	Faults                        []string
	Parts                         []findingPart
	Filtered, WithoutStore        bool
}

// findingPart is one fault. Where nothing is concluded its figures are folded away, unless
// it is the one that was asked for.
type findingPart struct {
	causes.Finding
	Says          []string
	Shown, Folded []group
	Lists         []linesPart
	Open          bool
	Labels        view.Labels
}

// group is figures under a heading, linesPart words under one.
type group struct {
	Head string
	Rows []rowPart
}

type linesPart struct {
	Head  string
	Lines []string
}

// rowPart is one figure in words, and as a plot where it is worth one.
type rowPart struct {
	Name, Verdict, Facts string
	Named                bool
	Plot                 *dotPlot
}

// question is what the address asks for.
func question(r *http.Request) causes.Question {
	q := r.URL.Query()
	return causes.Question{Fault: q.Get("fault"), Recipe: q.Get("recipe"), Mould: q.Get("mould")}
}

// causesWithin is how long an answer may take (E: five seconds of a desk computer for five
// thousand shots, so half a minute on a small one).
const causesWithin = time.Minute

// causesOf answers the question of a request; ok is false after an answer that says why not.
func (s *server) causesOf(w http.ResponseWriter, r *http.Request) (a causes.Answer, ok bool) {
	if s.History == nil {
		return causes.Answer{Findings: []causes.Finding{}}, true
	}
	if fromElsewhere(w, r) {
		return a, false
	}
	done, ok := s.turn(w, r, causesWithin)
	if !ok {
		tooMany(w)
		return a, false
	}
	defer done()
	a, err := causes.Of(s.History, question(r))
	if err != nil {
		pastProblem(w, err)
	}
	return a, err == nil
}

// causes tells what goes with a fault, in figures.
func (s *server) causes(w http.ResponseWriter, r *http.Request) {
	if a, ok := s.causesOf(w, r); ok {
		writeJSON(w, http.StatusOK, a)
	}
}

// causesPage shows it.
func (s *server) causesPage(w http.ResponseWriter, r *http.Request) {
	a, ok := s.causesOf(w, r)
	if !ok {
		return
	}
	p := causesPage{
		head: s.head(r, view.Texts().Causes, "/causes"), Answer: a, About: causes.Title, Promise: causes.Promise, Nothing: causes.Nothing, Made: causes.Made,
		Faults: cause.Names(), Filtered: a.Question != causes.Question{}, WithoutStore: s.History == nil,
	}
	for _, f := range a.Findings {
		p.Parts = append(p.Parts, p.part(f, causes.Unit(unitOf(r))))
	}
	show(w, http.StatusOK, "causes.html", p)
}

func (p causesPage) part(f causes.Finding, u causes.Unit) findingPart {
	own := group{causes.OwnWords, p.rows(f, f.Causes, u, true)}
	others := group{causes.AllWords, p.rows(f, f.Others, u, false)}
	part := findingPart{Finding: f, Says: f.Conclusion(u), Labels: p.Labels, Open: p.Question.Fault != ""}
	if f.Decides {
		part.Shown, part.Folded = []group{own}, []group{others}
	} else {
		part.Folded = []group{own, others}
	}
	for _, l := range []linesPart{
		{causes.Hint, f.HintLines()}, {causes.Without, f.Unseen}, {causes.LateWords, f.LaterLines()}, {causes.RateWords, f.RateLines()}, {causes.LeftWords, f.LeftLines()},
	} {
		if len(l.Lines) > 0 {
			part.Lists = append(part.Lists, l)
		}
	}
	return part
}

// rows puts figures into words. Those that the trade does not name have a plot only where
// they go with the fault.
func (p causesPage) rows(f causes.Finding, rows []causes.Row, u causes.Unit, plots bool) (parts []rowPart) {
	for _, r := range rows {
		part := rowPart{Name: r.Name(), Verdict: r.Verdict(u), Facts: r.Facts(u), Named: r.Says == causes.Named}
		if r.Says != causes.NotRecorded && (plots || r.Says == causes.Listed) {
			part.Plot = dotsOf(f.Fault, r, u, p.Labels, p.Carry)
		}
		parts = append(parts, part)
	}
	return parts
}

// The plot of a figure: its size in its own units, of which a phone shows about one a
// pixel, and how many shots fit.
const (
	dotsWide, dotsHigh = 360.0, 130.0
	dotsLeft, dotsEdge = 58.0, 8.0
	dotsFoot           = 18.0
	dotsMost           = 60
)

// dotPlot is a figure of every shot, run by run.
type dotPlot struct {
	Wide, High, Left, Foot float64
	Alt, Last              string
	Fault, Clean           string // what the two shapes are
	Ticks                  []dotTick
	Runs                   []dotRun
	Dots                   []dotMark
}

type dotTick struct {
	Y     float64
	Words string
}

// dotRun is where a run begins, and its number where there is room for it.
type dotRun struct {
	X, Middle float64
	Words     string
}

type dotMark struct {
	X, Y           float64
	Faulty         bool
	Words, Address string
}

func dotsOf(fault string, r causes.Row, u causes.Unit, l view.Labels, carry string) *dotPlot {
	dots := r.Dots
	p := &dotPlot{Wide: dotsWide, High: dotsHigh, Left: dotsLeft, Foot: dotsHigh - dotsFoot, Fault: fault, Clean: l.CleanShot}
	if from := len(dots) - dotsMost; from > 0 {
		for from < len(dots) && dots[from].Run == dots[from-1].Run {
			from++
		}
		dots = dots[from:]
		p.Last = fmt.Sprintf(l.DotsLast, len(dots))
	}
	if len(dots) == 0 {
		return nil
	}
	p.Alt = fmt.Sprintf(l.DotsAlt, r.Figure, len(dots), fault)
	low, high := dots[0].Value, dots[0].Value
	for _, d := range dots {
		low, high = min(low, d.Value), max(high, d.Value)
	}
	y := func(v float64) float64 {
		if low == high {
			return dotsHigh / 2
		}
		return dotsEdge + (high-v)/(high-low)*(dotsHigh-dotsFoot-2*dotsEdge)
	}
	p.Ticks = []dotTick{{y(high), u.Value(r.Kind, high)}}
	if low < high {
		p.Ticks = append(p.Ticks, dotTick{y(low), u.Value(r.Kind, low)})
	}
	step := (dotsWide - dotsLeft - dotsEdge) / float64(len(dots))
	for i, d := range dots {
		x := dotsLeft + (float64(i)+0.5)*step
		if i == 0 || dots[i-1].Run != d.Run {
			p.Runs = append(p.Runs, runOfDots(d.Run, i, dots, step))
		}
		outcome := l.CleanShot
		if d.Faulty {
			outcome = fault
		}
		p.Dots = append(p.Dots, dotMark{X: x, Y: y(d.Value), Faulty: d.Faulty,
			Words:   fmt.Sprintf(l.DotOf, d.Run, d.Shot, outcome, u.Value(r.Kind, d.Value)),
			Address: fmt.Sprintf("/runs/%d%s#shot-%d", d.Run, carry, d.Shot)})
	}
	return p
}

// roomForNumber is how wide a run has to be drawn for its number to stand under it.
const roomForNumber = 22.0

func runOfDots(run int64, first int, dots []causes.Dot, step float64) dotRun {
	n := 0
	for _, d := range dots {
		if d.Run == run {
			n++
		}
	}
	out := dotRun{X: dotsLeft + float64(first)*step, Middle: dotsLeft + (float64(first)+float64(n)/2)*step}
	if float64(n)*step >= roomForNumber {
		out.Words = fmt.Sprint(run)
	}
	return out
}

func causesOperations() []describe.Operation {
	asks := []describe.Field{
		{Name: "fault", Says: "only this fault", Choices: cause.Names(), Example: "bled"}, {Name: "recipe", Says: "only shots of this recipe"}, {Name: "mould", Says: "only shots of this mould"},
	}
	may := []*describe.Kind{doesNotFit, otherSite, tooBusy, notReadable}
	return []describe.Operation{
		{
			Route: "GET /api/v1/causes", Group: groupTry, Does: "What goes with a fault, over all shots", In: asks,
			Answers: []describe.Answer{{Status: 200, Body: causes.Answer{}, Says: "What was found"}}, Problems: may,
		},
		aPage("/causes", "What goes with a fault", append(asks, inFahrenheitField), may...),
	}
}
