package api

import (
	"fmt"
	"slices"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/daemon/photo"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/view"
)

// shotCard is a shot as a page shows it, with what may be said of it.
type shotCard struct {
	review.Sheet
	Labels view.Labels
	// Address takes what is said of the shot.
	Address string
	// Around is the address of the run's page with the stretch around the shot.
	Around string
	// Why is the address of the page that looks into the shot; "" where it is not linked.
	Why        string
	MouldTyped string
	Colours    []string
	Choices    []choice
	// InBand is true when every pot is known to have been in its own band.
	InBand bool
	// Reinspect is the day of a re-inspection that is worth while now; zero is none.
	Reinspect int
	// Estimates is the address of the page of estimates.
	Estimates string
	// Pictures are the photos of the shot, PhotoWhy what they are good for.
	Pictures []pictureOfShot
	PhotoWhy string
	// FromHere is true on the bench's own computer, where photos are attached.
	FromHere bool
	// OnItsPage is true on the page of the run, where later inspections are written
	// down as well.
	OnItsPage bool
}

// Judged reports whether nothing more is asked of the maker.
func (c shotCard) Judged() bool { return c.Withdrawn || len(c.Verdicts) > 0 }

// choice is a verdict that can be given, and whether it has been: at demould, of
// the whole bait.
type choice struct {
	Fault string
	Said  bool
}

// cardsOf puts shots of a run into words, in order.
func cardsOf(run int64, recipe history.Version, settings control.Settings, shots []history.Shot, u review.Unit) []shotCard {
	var colours []string
	for _, p := range settings.Pots {
		colours = append(colours, p.Colour)
	}
	var cards []shotCard
	for i, sheet := range (review.Review{Recipe: recipe, Settings: settings, Shots: shots}).Sheets(u) {
		cards = append(cards, shotCard{
			Sheet: sheet, Labels: view.Texts(), Colours: colours, MouldTyped: shots[i].Mould,
			Address: fmt.Sprintf("/api/v1/runs/%d/shots/%d", run, sheet.Number),
			Choices: choicesOf(sheet.Verdicts), InBand: inBand(shots[i].Card), Reinspect: shots[i].Reinspect(time.Now()),
			Estimates: address("/estimates", unitQuery(u)),
			Pictures:  picturesOf(run, shots[i]), PhotoWhy: review.PhotoWhy,
		})
	}
	return cards
}

// pictureOfShot is a photo on a page.
type pictureOfShot struct {
	Small, Large, TakeBack, Alt string
	Width, Height               int // of the small one, pixels
}

func picturesOf(run int64, sh history.Shot) (all []pictureOfShot) {
	for i, p := range sh.Photos {
		at := fmt.Sprintf("/runs/%d/photos/%d", run, p.ID)
		w, h := photo.SmallSize(p.Width, p.Height)
		all = append(all, pictureOfShot{
			Small: at + "/small", Large: at + "/large", TakeBack: "/api/v1" + at + "/take-back", Width: w, Height: h,
			Alt: fmt.Sprintf(view.Texts().PhotoAlt, i+1, sh.Number),
		})
	}
	return all
}

func choicesOf(said []shot.Verdict) []choice {
	var all []choice
	for _, fault := range shot.Verdicts() {
		all = append(all, choice{fault, slices.ContainsFunc(said, func(v shot.Verdict) bool {
			return v.Fault == fault && len(v.Colours) == 0 && v.Cavity == "" && v.Day == 0
		})})
	}
	return all
}

func inBand(c shot.Card) bool {
	out := func(p shot.Pot) bool { return !p.DeviationC.Known() || p.OutOfBand() }
	return len(c.Pots) > 0 && !slices.ContainsFunc(c.Pots, out)
}
