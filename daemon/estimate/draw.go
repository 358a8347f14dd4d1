package estimate

import (
	"fmt"
	"math"

	"meltwarden/control/flow"
	"meltwarden/control/injector"
	"meltwarden/control/melt"
)

// AssumedRoomC is the room where nobody has measured it, in degrees Celsius (E).
const AssumedRoomC = 25.0

// Draw is a melt that was drawn into an injector: what it has lost since, what it is now in
// the mean, and in how many seconds that is below the lowest that is to be pushed (+Inf for
// never, and for more than five minutes after the draw).
type Draw struct {
	Colder, Mean, Left melt.Range
	// Over is true once it most likely is below it.
	Over bool

	of    injector.Injector
	tubeC float64
	tube  string // how it is known
}

// OfDraw is what became of a melt of drawnC degrees Celsius, sinceS seconds after its draw.
// tubeC is what the injector's own probe read before, roomC the room; NaN where it is not known.
func OfDraw(i injector.Injector, drawnC, tubeC, roomC, sinceS float64) Draw {
	d := Draw{of: i}
	d.tubeC, d.tube = tubeOf(i, tubeC, roomC)
	d.Colder = i.Colder(drawnC, d.tubeC, sinceS)
	d.Mean = below(drawnC, d.Colder)
	until := i.Until(drawnC, d.tubeC, i.Lowest())
	d.Left = melt.Range{Low: max(0, until.Low-sinceS), Mid: max(0, until.Mid-sinceS), High: max(0, until.High-sinceS)}
	d.Over = d.Left.Mid <= 0
	return d
}

// tubeOf is how warm the injector was at the draw, and how that is known.
func tubeOf(i injector.Injector, tubeC, roomC float64) (c float64, how string) {
	switch {
	case !math.IsNaN(tubeC):
		return tubeC, "by its probe"
	case i.PreheatC > 0:
		return i.PreheatC, "by the bench file"
	case !math.IsNaN(roomC):
		return roomC, "as the room"
	}
	return AssumedRoomC, "assumed"
}

// Assumes says what it was estimated for: "for a bore of …".
func (d Draw) Assumes(u Unit) string {
	bore := "a bore of"
	if d.of.BoreM <= 0 {
		bore = "an assumed bore of"
	}
	return fmt.Sprintf("for %s %s mm whose wall was at %s at the draw, %s", bore, trimmed(1000*d.of.Bore()), u.Temperature(d.tubeC), d.tube)
}

// Words say what the melt is by now.
func (d Draw) Words(u Unit) string {
	return fmt.Sprintf("%s by now, lowest to push %s; estimated %s", u.Words(Temperature, d.Mean), u.Temperature(d.of.Lowest()), d.Assumes(u))
}

// Countdown is how long there is left, short, and until what, with what it lies between; it
// is in both units, because one word stands for both. Empty where the melt stays warm enough
// for longer than anybody waits.
func (d Draw) Countdown() (left, between string) {
	switch {
	case d.Over:
		return "injector ≈ 0 s", "too cold to push by now, estimated"
	case math.IsInf(d.Left.Mid, 1):
		return "", ""
	case math.IsInf(d.Left.High, 1):
		between = fmt.Sprintf("%.0f s to %s, estimated", d.Left.Low, tooLong)
	default:
		between = fmt.Sprintf("%.0f to %.0f s, estimated", d.Left.Low, d.Left.High)
	}
	lowest := d.of.Lowest()
	between = fmt.Sprintf("until %s (%s); %s", Celsius.Temperature(lowest), Fahrenheit.Temperature(lowest), between)
	return fmt.Sprintf("injector ≈ %.0f s", d.Left.Mid), between
}

// Pushed is a melt at the push: how far it was from its own target at the draw, in kelvins,
// and what it has lost since.
type Pushed struct {
	DeviationC float64
	Colder     melt.Range
}

// Apart says in a sentence how far apart the melts of a shot were at the push, each beside its
// own target, and how unlike they flowed. All of them are taken to be of one plastisol.
func (u Unit) Apart(melts []Pushed) string {
	low := apart(melts, func(r melt.Range) float64 { return r.Low })
	mid := apart(melts, func(r melt.Range) float64 { return r.Mid })
	high := apart(melts, func(r melt.Range) float64 { return r.High })
	between := melt.Range{Low: min(low, mid, high), Mid: mid, High: max(low, mid, high)}
	least, _ := flow.Ratio(between.Low)
	_, most := flow.Ratio(between.High)
	return fmt.Sprintf("With that the melts were %s apart at the push, each beside its own target: the coldest %s as the warmest.",
		u.Words(Difference, between), u.Words(Ratio, melt.Range{Low: least, High: most}))
}

// apart is the largest less the smallest deviation at the push.
func apart(melts []Pushed, lost func(melt.Range) float64) float64 {
	least, most := math.Inf(1), math.Inf(-1)
	for _, m := range melts {
		at := m.DeviationC - lost(m.Colder)
		least, most = min(least, at), max(most, at)
	}
	return most - least
}
