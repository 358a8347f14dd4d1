package batch

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"meltwarden/control/dose"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
)

// Equal spells a dose.
func Equal(d frames.Figure) string {
	if !d.Known() {
		return "heat dose " + review.NotRecorded
	}
	return count(float64(d), "equal minute")
}

// count spells a number of things, whole from ten on.
func count(v float64, one string) string {
	number := spell(v)
	if number == "1" {
		return number + " " + one
	}
	return number + " " + one + "s"
}

// spell is a dose without its unit.
func spell(v float64) string {
	if v < 9.95 {
		return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0")
	}
	return fmt.Sprintf("%.0f", v)
}

func minutes(f frames.Figure) string { return fmt.Sprintf("%.0f min", float64(f)) }

// String says how much is left.
func (l Left) String() string {
	switch {
	case !l.ML.Known():
		return "what is left is " + review.NotRecorded
	case l.Unsaid > 0:
		return fmt.Sprintf("at most %.0f mL left", float64(l.ML))
	}
	return fmt.Sprintf("≈ %.0f mL left", float64(l.ML))
}

// why says what the estimate leaves out; "" for nothing.
func (l Left) why() string {
	var words []string
	if l.Unsaid > 0 {
		words = append(words, fmt.Sprintf("drawn without an amount: %d of %d times", l.Unsaid, l.Draws))
	}
	if l.NotML > 0 {
		words = append(words, fmt.Sprintf("additions not in mL, not counted: %d", l.NotML))
	}
	return strings.Join(words, "; ")
}

// Title names the batch: "batch 12: slate".
func (b Batch) Title() string { return b.Number() + ": " + b.Colour }

// Words are lot, rest, reheats and dose in one line.
func (b Batch) Words() string {
	words := []string{b.Left.String(), b.ReheatWords(), Equal(b.DoseMin)}
	if b.Lot != "" {
		words = append([]string{lotWords(b.Lot)}, words...)
	}
	return strings.Join(words, ", ")
}

// Line is the batch in one line: "batch 12: slate, lot 1, ≈ 140 mL left, 1 reheat, 38
// equal minutes".
func (b Batch) Line() string { return b.Title() + ", " + b.Words() }

// Number is the batch by its number: "batch 12".
func (b Batch) Number() string { return fmt.Sprintf("batch %d", b.ID) }

// lotWords says of a lot that it is one.
func lotWords(lot string) string {
	if strings.Contains(strings.ToLower(lot), "lot") {
		return lot
	}
	return "lot " + lot
}

// Since says when it was first and last in a pot.
func (b Batch) Since() string {
	first, last := b.Heats[0].Began.Format(time.DateOnly), b.Heats[len(b.Heats)-1].Began.Format(time.DateOnly)
	if first == last {
		return first
	}
	return first + " to " + last
}

// ReheatWords says how often it was reheated.
func (b Batch) ReheatWords() string {
	switch b.Reheats {
	case 0:
		return "no reheat"
	case 1:
		return "1 reheat"
	}
	return fmt.Sprintf("%d reheats", b.Reheats)
}

// Spread is the same history at both ends of the published activation energies.
func (b Batch) Spread() string {
	if !b.DoseMin.Known() {
		return ""
	}
	return fmt.Sprintf("%s at %.1f kJ/mol, %s at %.1f kJ/mol", spell(float64(b.LowMin)), dose.LowKJ, spell(float64(b.HighMin)), dose.HighKJ)
}

// Fact is something that is known of a batch.
type Fact struct{ Name, Value string }

// Facts are all figures of a batch in words; kJ is the activation energy in kJ/mol.
func (b Batch) Facts(kJ float64) []Fact {
	left := b.Left.String()
	if why := b.Left.why(); why != "" {
		left += " (" + why + ")"
	}
	facts := []Fact{
		{"colour", b.Colour}, {"base", orNot(b.Base)}, {"lot", orNot(b.Lot)}, {"made", orNot(b.Made)},
		{"left, an estimate", left},
		{"reheats", fmt.Sprint(b.Reheats)},
		{fmt.Sprintf("above %.0f °C (%.0f °F)", dose.HotC, dose.HotC*1.8+32), minutes(b.HotMin)},
		{"of it since cured", minutes(b.CuredMin)},
		{fmt.Sprintf("heat dose, at %.4g kJ/mol", kJ), Equal(b.DoseMin)},
	}
	if spread := b.Spread(); spread != "" {
		facts = append(facts, Fact{"the same at both ends of what is published", spread})
	}
	return append(facts, Fact{"hot or perhaps hot, and not measured", minutes(b.UnknownMin)})
}

func orNot(typed string) string {
	if typed == "" {
		return review.NotRecorded
	}
	return typed
}

// Session is a batch's time in one run, in words.
type Session struct {
	Run           int64
	When          string
	Pot           int    // from 1
	Dose, Sum     string // heat dose in this run, and by its end
	Hot           string // for how long
	Drawn, Change string
}

// Sessions are the runs of the batch, in order, each with what it had by its end.
func (b Batch) Sessions(kJ float64) []Session {
	var all []Session
	sum := b.Heats[0].Heat
	for i, h := range b.Heats {
		if i > 0 {
			sum = sum.Plus(h.Heat)
		}
		s := Session{
			Run: h.Run, When: h.Began.Format("2006-01-02 15:04"), Pot: h.Pot + 1,
			Dose: Equal(h.Heat.DoseMin(kJ)), Sum: Equal(sum.DoseMin(kJ)),
			Hot: hotWords(h), Drawn: drawnWords(h.Drawn), Change: addedWords(h.Added),
		}
		all = append(all, s)
	}
	return all
}

// hotWords say for how long the batch was hot in a run, and for how long nobody knows.
func hotWords(h history.BatchHeat) string {
	words := fmt.Sprintf("hot %s, %s of it since cured", minutes(frames.Figure(h.Heat.MinutesAbove(dose.HotC))), minutes(frames.Figure(h.Heat.CuredS/60)))
	if h.Heat.UnknownS >= 60 {
		words += "; not measured " + minutes(frames.Figure(h.Heat.UnknownS/60))
	}
	return words
}

func drawnWords(typed []string) string {
	if len(typed) == 0 {
		return "no draw marked"
	}
	unsaid := 0
	var said []string
	for _, t := range typed {
		if t == "" {
			unsaid++
		} else {
			said = append(said, t)
		}
	}
	switch {
	case unsaid == len(typed):
		return fmt.Sprintf("drawn %d times, how much is %s", unsaid, review.NotRecorded)
	case unsaid > 0:
		return fmt.Sprintf("drawn %s, and %d times without an amount", strings.Join(said, ", "), unsaid)
	}
	return "drawn " + strings.Join(said, ", ")
}

func addedWords(added []history.Additive) string {
	var words []string
	for _, a := range added {
		words = append(words, strings.TrimSpace(orNot(a.Amount)+" "+a.What))
	}
	if len(words) == 0 {
		return ""
	}
	return "added " + strings.Join(words, ", ")
}

// Shot is a shot with the batch in it, in words.
type Shot struct {
	Run     int64         `json:"run"`
	Number  int           `json:"number"`
	When    string        `json:"-"`
	Dose    string        `json:"-"`
	DoseMin frames.Figure `json:"dose_min"`
	Verdict string        `json:"verdict"`
	Spoiled bool          `json:"spoiled"`
}

// Shots are the shots that were made of a batch, the oldest first, without those that were
// taken back.
func Shots(s *history.Store, b Batch) ([]Shot, error) {
	all := []Shot{}
	for _, h := range b.Heats {
		shots, err := s.Shots(h.Run)
		if err != nil {
			return nil, err
		}
		for _, sh := range shots {
			if sh.Withdrawn || h.Pot >= len(sh.Card.Pots) {
				continue
			}
			had := sh.Card.Pots[h.Pot].DoseMin
			all = append(all, Shot{
				Run: h.Run, Number: sh.Number, When: sh.Wall.Format("2006-01-02 15:04"), Dose: Equal(had), DoseMin: had,
				Verdict: review.VerdictLine(sh.Verdicts), Spoiled: sh.Spoiled(),
			})
		}
	}
	return all, nil
}

// Why says what a heat dose is, how it is reckoned with an activation energy in kJ/mol, and
// what it is not.
func Why(kJ float64) string {
	return fmt.Sprintf("Equal minutes are the minutes at %.0f °C (350 °F) that would have aged the melt as much, by the Arrhenius law "+
		"with %.4g kJ/mol: 10 °C hotter counts %.1f times. Published for PVC are %.1f, about %.0f and %.1f kJ/mol; set yours in the bench file "+
		"(dose: {activation-energy: %.0f kJ/mol}). The sum is the trapezoid's over every reading. Time without a usable reading is not made up "+
		"but counted as unknown, and with more than a twentieth of it there is no dose. What a melt had before the program started, or after it ended, "+
		"is not in it. This compares your own potfuls; it foretells no yellowing.",
		dose.ReferenceC, kJ, dose.Pace(dose.ReferenceC+10, kJ), dose.LowKJ, dose.DefaultKJ, dose.HighKJ, dose.DefaultKJ)
}

// String says what the maker's own batches say of such doses, or why they say nothing.
func (a Advice) String() string {
	y, n := len(a.Yellowed), len(a.Others)
	words := ""
	switch {
	case y == 0 && a.NoColour == 0:
		words = fmt.Sprintf("No batch of yours has been called scorched at demould, and %d were judged: nothing to go by.", n)
	case y == 0:
		words = "No batch of yours has been called scorched by its colour: nothing to go by."
	case !a.Enough():
		words = fmt.Sprintf("Too few to say anything: %s, at %s; %s. %s", yellowWords(y), rangeOf(a.Yellowed), othersWords(n), moreWords(y, n))
	case !a.Speaks():
		words = fmt.Sprintf("Heat does not tell them apart: %s, at %s; %s, with %s.", yellowWords(y), rangeOf(a.Yellowed), othersWords(n), rangeOf(a.Others))
	default:
		words = a.spoken()
	}
	if a.NoColour > 0 {
		words += fmt.Sprintf(" Shots called scorched without a colour count for no batch: %d.", a.NoColour)
	}
	if a.LeftOut > 0 {
		words += fmt.Sprintf(" Left out, because the dose is not known or was reckoned otherwise: %d.", a.LeftOut)
	}
	return words
}

// spoken is the advice where the count can say something.
func (a Advice) spoken() string {
	y, n, below := len(a.Yellowed), len(a.Others), a.Below()
	words := fmt.Sprintf("Your batches that yellowed had had %s by then (%d of them); ", rangeOf(a.Yellowed), y)
	if below == n {
		return words + fmt.Sprintf("all %d that did not had less than %s.", n, spell(a.Yellowed[0]))
	}
	return words + fmt.Sprintf("of %d that did not, %d had less than %s and %d as much or more.", n, below, spell(a.Yellowed[0]), n-below)
}

func yellowWords(n int) string {
	if n == 1 {
		return "1 batch yellowed"
	}
	return fmt.Sprintf("%d batches yellowed", n)
}

func othersWords(n int) string {
	if n == 1 {
		return "1 did not"
	}
	return fmt.Sprintf("%d did not", n)
}

// moreWords says how many more batches that did not yellow could make the count speak.
func moreWords(y, n int) string {
	more := 1
	for !enough(y, n+more) {
		more++
	}
	return fmt.Sprintf("It takes %d more without yellowing, all of them with less heat.", more)
}

func rangeOf(sorted []float64) string {
	least, most := sorted[0], slices.Max(sorted)
	if spell(least) == spell(most) {
		return count(least, "equal minute")
	}
	return spell(least) + " to " + count(most, "equal minute")
}

// Region says which of some batches have had as much as those that yellowed; "" where none
// has, or nothing can be said.
func (b Book) Region(of ...Batch) string {
	var who []string
	for _, x := range of {
		if x.InRegion {
			who = append(who, fmt.Sprintf("%s has had %s", x.Title(), Equal(x.DoseMin)))
		}
	}
	if len(who) == 0 {
		return ""
	}
	return fmt.Sprintf("%s. %s For your information: heat goes on as before.", strings.Join(who, ", "), b.Advice)
}
