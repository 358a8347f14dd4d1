// Package batch follows potfuls through their reheats: what is left of one, how long it
// was hot, its heat dose, and what the maker's own yellowed batches say of such doses.
// Page, API and terminal take figures and words from here. All of it is information: no
// decision about heat rests on it, and no limit is made up.
package batch

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/control/dose"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// Book is every batch there is, and what can be learnt from them.
type Book struct {
	Batches []Batch `json:"batches"`
	Advice  Advice  `json:"yellowed"`
	// KJ is the activation energy of the newest run, in kJ/mol: all is reckoned with it.
	KJ float64 `json:"activation_energy_kj_per_mol"`
}

// Batch is one potful through all its sessions. Doses are in equal minutes at
// dose.ReferenceC, unknown where too much of the time is.
type Batch struct {
	history.Batch
	DoseMin frames.Figure `json:"dose_min"`
	// LowMin and HighMin are the same history at the lowest and the highest published
	// activation energy.
	LowMin  frames.Figure `json:"dose_at_lowest_energy_min"`
	HighMin frames.Figure `json:"dose_at_highest_energy_min"`
	// HotMin is how long it was above dose.HotC, CuredMin how much of that after it had
	// been cured; UnknownMin is the time of which nobody knows.
	HotMin     frames.Figure `json:"hot_min"`
	CuredMin   frames.Figure `json:"hot_since_cured_min"`
	UnknownMin frames.Figure `json:"unknown_min"`
	// Reheats counts the sessions after the first in which it was hot.
	Reheats int  `json:"reheats"`
	Left    Left `json:"left"`
	// InRegion is true where its dose is one at which batches of the maker's yellowed, as
	// far as the count says anything.
	InRegion bool `json:"as_much_as_yellowed"`
}

// Left is what is left of a batch by what was typed: an estimate.
type Left struct {
	// ML is unknown where nobody typed how much was made.
	ML frames.Figure `json:"ml"`
	// Draws are those marked, Unsaid how many of them without an amount: then ML is the
	// most there can be. NotML counts additions that were typed in something else than mL.
	Draws  int `json:"draws"`
	Unsaid int `json:"draws_without_amount"`
	NotML  int `json:"additions_not_in_ml"`
}

// Of opens the book of a history.
func Of(s *history.Store) (Book, error) {
	kept, err := s.Batches()
	if err != nil {
		return Book{}, err
	}
	b, err := bookOf(s, kept)
	if err != nil {
		return b, err
	}
	judged, err := s.Judged()
	if err != nil {
		return b, err
	}
	b.Heed(adviceOf(b.Batches, judged, b.KJ))
	return b, nil
}

// None is the book where nothing is kept.
func None() Book { return Book{Batches: []Batch{}, Advice: adviceOf(nil, nil, 0)} }

// Heed takes advice, and marks the batches that have had as much as those that yellowed.
func (b *Book) Heed(a Advice) {
	b.Advice = a
	for i := range b.Batches {
		b.Batches[i].InRegion = a.reaches(b.Batches[i].DoseMin)
	}
}

// Near is the book of a run: the batches in its pots and the newest that were made before,
// without the advice, which takes a look at every judged shot.
func Near(s *history.Store, run int64) (Book, error) {
	kept, err := s.BatchesNear(run)
	if err != nil {
		return Book{}, err
	}
	return bookOf(s, kept)
}

func bookOf(s *history.Store, kept []history.Batch) (b Book, err error) {
	b.Batches = []Batch{}
	if b.KJ, err = s.DoseKJ(); err != nil {
		return b, err
	}
	for _, k := range kept {
		b.Batches = append(b.Batches, batchOf(k, b.KJ))
	}
	return b, nil
}

func batchOf(k history.Batch, kJ float64) Batch {
	b := Batch{Batch: k, Left: leftOf(k)}
	var all shot.Heat
	var sessions []int64
	for _, h := range k.Heats {
		all = all.Plus(h.Heat)
		if h.Heat.MinutesAbove(dose.HotC) > 0 && !slices.Contains(sessions, h.Session) {
			sessions = append(sessions, h.Session)
		}
	}
	b.Reheats = max(0, len(sessions)-1)
	b.DoseMin, b.LowMin, b.HighMin = all.DoseMin(kJ), all.DoseMin(dose.LowKJ), all.DoseMin(dose.HighKJ)
	b.HotMin, b.CuredMin = frames.Figure(all.MinutesAbove(dose.HotC)), frames.Figure(all.CuredS/60)
	b.UnknownMin = frames.Figure(all.UnknownS / 60)
	return b
}

// leftOf is what was made and added in mL, less what was drawn with an amount.
func leftOf(k history.Batch) Left {
	l := Left{ML: frames.Unknown()}
	if made, err := quantity.ParseVolume(k.Made); err == nil {
		l.ML = frames.Figure(made.ML)
	}
	for _, h := range k.Heats {
		for _, a := range h.Added {
			ml := quantity.AmountML(a.Amount)
			if ml == 0 {
				l.NotML++
			}
			l.ML += frames.Figure(ml)
		}
		for _, typed := range h.Drawn {
			ml := quantity.AmountML(typed)
			l.Draws++
			if ml == 0 {
				l.Unsaid++
			}
			l.ML -= frames.Figure(ml)
		}
	}
	l.ML = max(l.ML, 0)
	return l
}

// Batch is the batch with a number; ok is false where there is none.
func (b Book) Batch(id int64) (found Batch, ok bool) {
	i := slices.IndexFunc(b.Batches, func(x Batch) bool { return x.ID == id })
	if i < 0 {
		return Batch{}, false
	}
	return b.Batches[i], true
}

// In is the batch in a pot, an index, of a run; ok is false where none is kept.
func (b Book) In(run int64, pot int) (found Batch, ok bool) {
	for _, x := range b.Batches {
		if x.at(run, pot) != nil {
			return x, true
		}
	}
	return Batch{}, false
}

// at is the batch's time in a pot of a run, nil where it was not in it.
func (b Batch) at(run int64, pot int) *history.BatchHeat {
	for i := range b.Heats {
		if h := &b.Heats[i]; h.Run == run && h.Pot == pot {
			return h
		}
	}
	return nil
}

// RestIn reports whether a pot of a run held the rest of the batch, which was made before.
func (b Batch) RestIn(run int64, pot int) bool {
	h := b.at(run, pot)
	return h != nil && h.Own != b.ID
}

// mostOffers is how many batches are offered for a pot.
const mostOffers = 12

// Offers are the batches of which a pot of a run may hold the rest: made in an earlier
// run, in no pot of this one, and not used up; those of its own colour first, then the
// newest.
func (b Book) Offers(run int64, pot int) (all []Batch) {
	mine, ok := b.In(run, pot)
	if !ok || len(mine.Heats) > 1 && mine.Heats[0].Run == run {
		return nil // a later run goes on with it
	}
	began := mine.at(run, pot).Began
	for _, x := range slices.Backward(b.Batches) {
		here := slices.ContainsFunc(x.Heats, func(h history.BatchHeat) bool { return h.Run == run })
		if !here && x.Heats[0].Began.Before(began) && x.Left.ML != 0 {
			all = append(all, x)
		}
	}
	slices.SortStableFunc(all, func(a, c Batch) int { return other(a, mine) - other(c, mine) })
	return all[:min(len(all), mostOffers)]
}

// other is 1 for a batch of another colour, 0 for one of the same.
func other(b, than Batch) int {
	if strings.EqualFold(b.Colour, than.Colour) {
		return 0
	}
	return 1
}

// Potfuls are what a recipe puts into each of these pots.
func Potfuls(r *config.Recipe, pots []string) []history.Potful {
	all := make([]history.Potful, len(pots))
	for i, pot := range pots {
		for _, c := range r.Colours {
			if c.Pot == pot {
				all[i] = history.Potful{Colour: c.Name, Base: c.Base, Lot: c.Lot, Made: c.Volume.Typed}
			}
		}
	}
	return all
}

// Set says that a pot, an index, of a run holds the rest of a batch; zero says that it was
// new. A past run that was kept without batches gets them first.
func Set(s *history.Store, run int64, pot int, batch int64) error {
	ids, err := s.InPots(run)
	if err != nil {
		return err
	}
	if len(ids) == 0 {
		if err := add(s, run); err != nil {
			return err
		}
	}
	return s.SetBatch(run, pot, batch)
}

// add gives the pots of a past run batches of their own.
func add(s *history.Store, run int64) error {
	about, err := s.Run(run)
	if err != nil {
		return err
	}
	if about.State == history.Recording { // who records it knows nothing of what its pots had before
		return fmt.Errorf("run %d: begun by a program that kept no batches, and still recorded; say it when it is over; %w", run, history.ErrBatch)
	}
	settings, err := s.Settings(run)
	if err != nil {
		return err
	}
	typed, err := s.Typed(run)
	if err != nil {
		return err
	}
	pots := make([]string, len(settings.Pots))
	for i, p := range settings.Pots {
		pots[i] = p.Name
	}
	potfuls := make([]history.Potful, len(pots))
	if recipe, err := config.ParseRecipe("recipe", []byte(typed)); err == nil {
		potfuls = Potfuls(recipe, pots)
	}
	for i := range potfuls { // a recipe that can not be read any more tells nothing else
		potfuls[i].Colour = settings.Pots[i].Colour
	}
	return s.AddBatches(run, dose.DefaultKJ, potfuls)
}

// CheckChange returns why what is to be written of a batch can not be right.
func CheckChange(c history.BatchChange) error {
	if c == (history.BatchChange{}) {
		return errors.New("nothing to change: write colour, base, lot, made or note")
	}
	if c.Colour != nil && *c.Colour == "" {
		return errors.New("colour: empty; write what the batch is called by")
	}
	if c.Made == nil || *c.Made == "" {
		return nil
	}
	_, err := quantity.ParseVolume(*c.Made)
	var f *quantity.Fault
	if errors.As(err, &f) {
		return fmt.Errorf("made %q: %s; %s", *c.Made, f.Wrong, f.Fix)
	}
	return err
}
