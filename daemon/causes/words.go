package causes

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
)

// Unit is how temperatures are told.
type Unit bool

// The units.
const (
	Celsius    Unit = false
	Fahrenheit Unit = true
)

// Words that head the parts of an answer, on the page and in the terminal.
const (
	Title     = "What goes with a fault"
	Promise   = "Over your own shots, each held only against others of its own run; what was the same all evening can not be seen so. What goes with a fault may be its cause, and may go with it for another reason: change one thing, and see."
	OwnWords  = "What the trade takes for causes, the largest effect first"
	AllWords  = "All other figures"
	Without   = "No figure shows"
	LeftWords = "Left out"
	Hint      = "From run to run"
	LateWords = "Seen only days later: never charged to temperature"
	RateWords = "How often it came (95 % interval)"
	Nothing   = "No fault was seen at demould in these shots, so there is nothing to look for. Judge every shot, the clean ones too."
	Made      = "These shots are invented: they are from a simulated bench."
)

// difference spells a distance in a figure; value a figure itself.
func (u Unit) difference(k cause.Kind, v float64) string {
	switch k {
	case cause.Difference, cause.Temperature:
		if u == Fahrenheit {
			return spell(1.8*v, 1) + " °F"
		}
		return spell(v, 1) + " °C"
	case cause.Seconds:
		return spell(v, 0) + " s"
	case cause.Minutes:
		return spell(v, 1) + " min"
	}
	return spell(v, 1)
}

// spell writes a number; one that rounds to nothing has no side.
func spell(v float64, decimals int) string {
	scale := math.Pow(10, float64(decimals))
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', decimals, 64)
}

// Value spells a figure of a shot.
func (u Unit) Value(k cause.Kind, v float64) string {
	switch {
	case k == cause.Count:
		return spell(v, 0)
	case k == cause.Temperature && u == Fahrenheit:
		return u.difference(k, v+32/1.8)
	}
	return u.difference(k, v)
}

// side is the word for having more or less of a figure.
func side(k cause.Kind, v float64) string {
	words := [2]string{"less", "more"}
	if k == cause.Count {
		words = [2]string{"earlier", "later"}
	}
	if v < 0 {
		return words[0]
	}
	return words[1]
}

// Often spells how often chance alone does something.
func Often(p frames.Chance) string {
	switch {
	case !p.Known():
		return "not told"
	case p < 0.0001:
		return "less than 1 time in 10 000"
	case p > 0.95:
		return "nearly always"
	case p > 0.15:
		return fmt.Sprintf("%.0f times in 10", math.Round(float64(10*p)))
	}
	return fmt.Sprintf("1 time in %.0f", rounded(1/float64(p)))
}

// rounded is a number to two figures: more of them would tell what nobody knows.
func rounded(n float64) float64 {
	scale := math.Pow(10, math.Floor(math.Log10(n))-1)
	if scale < 1 {
		scale = 1
	}
	return math.Round(n/scale) * scale
}

// Heading is a finding in one line.
func (f Finding) Heading() string {
	return fmt.Sprintf("%s: %s against %d clean, in %s with both", f.Fault, shots(f.Faulty), f.Clean, count(f.Runs, "run"))
}

func shots(n int) string { return count(n, "shot") }

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// Conclusion is what can be said of a fault, and why no more.
func (f Finding) Conclusion(u Unit) []string {
	if !f.Decides {
		return []string{f.silence()}
	}
	var lines []string
	apart := true
	for _, r := range f.Causes {
		if r.Says == Named {
			lines = append(lines, fmt.Sprintf("%s goes with it: %s%s.", upper(r.Cause), r.size(f.Fault, u), r.together()))
			apart = apart && len(r.Together) == 0
		}
	}
	switch {
	case len(lines) > 0 && apart:
		return append(lines, "That is a hypothesis: change one thing, and see.")
	case len(lines) > 0:
		return append(lines, "That is a hypothesis. What is not told apart rose and fell together: only shots in which one changes and the others do not would tell.")
	}
	return []string{f.noCause()}
}

// silence says why nothing is concluded, and what would change that.
func (f Finding) silence() string {
	here := fmt.Sprintf("%d %s, %d clean: nothing is concluded.", f.Faulty, f.Fault, f.Clean)
	switch {
	case f.Clean == 0:
		return here + " There is no clean shot to hold them against: judge the clean ones as well."
	case f.Runs == 0:
		return here + " No run has both, and two runs differ in more than is recorded: judge every shot of a run, the clean ones as well."
	case f.Looked == 0:
		return here + " No figure was recorded in both."
	}
	text := fmt.Sprintf("%s However far apart a figure lies, the smallest chance that these counts can reach within their runs is %.2g (%s), and %s are looked at. With %d of each in one run",
		here, float64(f.Smallest), Often(f.Smallest), count(f.Looked, "figure"), f.Each)
	if n := f.moreRuns(); n > 0 {
		text += fmt.Sprintf(", or with %d runs like the %d with both,", f.Runs+n, f.Runs)
	}
	return text + " it could be told."
}

// moreRuns is how many more runs like those with both outcomes would let the counts
// decide; zero where no number would.
func (f Finding) moreRuns() int {
	ways := math.Log(2 / float64(f.Smallest)) // of all runs
	if f.Smallest >= 1 || f.Runs == 0 {
		return 0
	}
	wanted := math.Log(2 * float64(f.Looked) / Level)
	return int(math.Ceil(wanted*float64(f.Runs)/ways)) - f.Runs
}

// noCause says that no cause stands out, and how far off the nearest is.
func (f Finding) noCause() string {
	text := "No cause is named: none of the trade's stands out from chance on the side where it would have to be"
	var rows []Row
	for _, r := range f.Causes {
		if r.Says == Chance && r.effect() > 0 {
			rows = append(rows, r)
		}
	}
	if len(rows) == 0 {
		return text + "."
	}
	text += fmt.Sprintf(". Furthest apart is %s; with all that is looked at, chance alone would do as much %s.", rows[0].Cause, Often(rows[0].Chance))
	if more := rows[0].More; more.Known() {
		text += fmt.Sprintf(" If it is real and as large as it looks, some %.0f more shots like these would mostly show it (an estimate).", rounded(float64(more)))
	}
	return text
}

// size is how large an effect is, as large as the evidence allows it, and how often chance
// alone would do as much.
func (r Row) size(fault string, u Unit) string {
	shift := float64(r.Shift)
	unit := ""
	if r.Kind == cause.Count {
		unit = " shots"
	}
	return fmt.Sprintf("%s%s %s in the %s ones (%s); somewhere among all that is looked at, chance alone does as much %s",
		u.difference(r.Kind, math.Abs(shift)), unit, side(r.Kind, shift), fault, r.interval(u), Often(r.Chance))
}

// interval is what the difference may be.
func (r Row) interval(u Unit) string {
	if !r.Low.Known() || !r.High.Known() {
		return "too few to bound it"
	}
	low, _, _ := strings.Cut(u.signed(r.Kind, r.Low), " ")
	return fmt.Sprintf("95 %%: %s to %s", low, u.signed(r.Kind, r.High))
}

// signed spells a distance with its side.
func (u Unit) signed(k cause.Kind, v frames.Figure) string {
	text := u.difference(k, float64(v))
	if v > 0 && strings.ContainsAny(text, "123456789") {
		return "+" + text
	}
	return text
}

// pairWords is in how many pairs the spoilt shot has more, or less where that is more often.
func (r Row) pairWords() string {
	share := float64(r.Share)
	halves := math.Round(2 * float64(r.Pairs) * max(share, 1-share)) // a tie counts for one
	return fmt.Sprintf("%s in %g of %s", side(r.Kind, share-0.5), halves/2, count(r.Pairs, "pair"))
}

// Facts are the figure's difference, pairs, chance and gaps in one line; "" where there is
// nothing to compare.
func (r Row) Facts(u Unit) string {
	if r.Says == NotRecorded {
		return ""
	}
	facts := []string{fmt.Sprintf("%s (%s)", u.signed(r.Kind, r.Shift), r.interval(u)), r.pairWords()}
	if r.Chance.Known() {
		facts = append(facts, fmt.Sprintf("chance alone does as much %s, somewhere among all that is looked at %s", Often(r.Alone), Often(r.Chance)))
	}
	if r.Missing > 0 {
		facts = append(facts, "not recorded in "+shots(r.Missing))
	}
	return strings.Join(facts, "; ")
}

// Name is the cause, or the figure where the table names none.
func (r Row) Name() string {
	if r.Cause == "" {
		return r.Figure
	}
	return r.Cause
}

// Verdict is what can be said of the figure.
func (r Row) Verdict(u Unit) string {
	text := string(r.Says)
	switch {
	case r.Says == Small:
		text += fmt.Sprintf(" (%s)", u.difference(r.Kind, r.Within))
	case r.Says == NotRecorded && len(r.Dots) == 0:
		text = "not recorded"
	case r.Says == NotRecorded:
		text = "nothing to compare: not both outcomes in one run, or all alike"
	}
	return text + r.together()
}

// together says what else it may be.
func (r Row) together() string {
	if len(r.Together) == 0 {
		return ""
	}
	return "; not told apart from: " + strings.Join(r.Together, ", ")
}

// betweenWords is the hint from run to run.
func (r Row) betweenWords(fault string) string {
	more := "more"
	if r.Between < 0 {
		more = "less"
	}
	return fmt.Sprintf("%s: runs that had more %s had %s of it (rank correlation %+.2f; chance alone does as much %s). A hint at most: runs differ in more than this.",
		r.Figure, fault, more, float64(r.Between), Often(r.BetweenChance))
}

// HintLines are what goes with the fault from run to run.
func (f Finding) HintLines() (lines []string) {
	for _, r := range slices.Concat(f.Causes, f.Others) {
		if r.BetweenChance <= Level {
			lines = append(lines, r.betweenWords(f.Fault))
		}
	}
	return lines
}

// words are the names of shots.
func words(all []Ref) string {
	const named = 12 // (C) more of them nobody looks up
	var refs []string
	for i, s := range all {
		if i == named {
			refs = append(refs, fmt.Sprintf("and %d more", len(all)-named))
			break
		}
		refs = append(refs, fmt.Sprintf("run %d shot %d", s.Run, s.Shot))
	}
	return strings.Join(refs, ", ")
}

// LaterLines are the shots that showed the fault only days later, and what may be behind
// that.
func (f Finding) LaterLines() (lines []string) {
	if len(f.Later) == 0 {
		return nil
	}
	lines = append(lines, fmt.Sprintf("%s, counted as what they were at demould: %s", shots(len(f.Later)), words(f.Later)))
	if f.Fault == "bled" {
		lines = append(lines, cause.Migration()...)
	}
	return lines
}

// LeftLines are the shots that say nothing, and why.
func (f Finding) LeftLines() (lines []string) {
	for _, l := range f.LeftOut {
		lines = append(lines, fmt.Sprintf("%s, %s: %s", shots(len(l.Shots)), l.Why, words(l.Shots)))
	}
	if f.Alike > 0 {
		lines = append(lines, shots(f.Alike)+", all of their run came out alike: nothing to compare within it")
	}
	return lines
}

// RateLines are the rates.
func (f Finding) RateLines() (lines []string) {
	for _, r := range f.Rates {
		lines = append(lines, fmt.Sprintf("%s: %d of %d (%.0f to %.0f %%)", r.Of, r.Faulty, r.Shots, 100*float64(r.Low), 100*float64(r.High)))
	}
	return lines
}

func upper(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
