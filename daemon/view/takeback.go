package view

import (
	"cmp"
	"fmt"
	"slices"

	"meltwarden/control"
)

// Mark is something that was marked of a pot and can be taken back.
type Mark struct {
	Mark string `json:"mark"` // as the API spells it
	// Label is its button's name; SinceS is how long ago it was made.
	Label  string `json:"label"`
	SinceS Figure `json:"since_s"`
}

// TakeBackLabels are the words about marks that are taken back.
type TakeBackLabels struct {
	CanTakeBack, CanTakeBackWhy, NothingToTakeBack, NoteKept string
}

var takeBackLabels = TakeBackLabels{
	CanTakeBack:       "Take back",
	CanTakeBackWhy:    fmt.Sprintf("For %.0f minutes. It never raises heat. A lift, ALL OFF, a set-point and a reading by hand are not taken back: mark Back on plate and press the enable button, or type the right one. A shot is taken back where it is judged.", control.TakeBackFor.Minutes()),
	NothingToTakeBack: "there is no such mark of this pot that can still be taken back",
	NoteKept:          "Note",
}

// markLabel is what the page calls a mark that can be taken back.
func markLabel(k control.CommandKind) string {
	return map[control.CommandKind]string{
		control.Stir: texts.Stir, control.TickClear: texts.Clear, control.ArrivedCured: texts.Cured,
		control.ColourAdded: texts.Colour, control.Return: texts.Return, control.Draw: texts.Draw,
	}[k]
}

// marksOf are the marks of a pot that can be taken back, the youngest first.
func marksOf(p *control.PotFrame) []Mark {
	marks := []Mark{}
	for i, k := range control.MayTakeBack() {
		if p.Said[i].Can {
			marks = append(marks, Mark{k.String(), markLabel(k), Figure(p.Said[i].Ago.Seconds())})
		}
	}
	slices.SortStableFunc(marks, func(a, b Mark) int { return cmp.Compare(a.SinceS, b.SinceS) })
	return marks
}

// uncured says where a pot stands whose cure was taken back.
func uncured(p *control.PotFrame) string {
	if !p.Uncured {
		return ""
	}
	return "waits, and is not cured: held at its set-point; to heat it to its cure temperature, press the enable button"
}
