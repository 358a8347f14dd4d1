package frames

import (
	"math"
	"strconv"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/model"
	"meltwarden/control/reading"
)

// Figure is a number on its way out of the daemon. NaN and the infinities mean
// "not known", which JSON spells null; others keep three decimals.
type Figure float64

// Unknown is the figure that is not known.
func Unknown() Figure { return Figure(math.NaN()) }

// Known reports whether the figure is a number.
func (f Figure) Known() bool {
	return !math.IsNaN(float64(f)) && !math.IsInf(float64(f), 0)
}

// MarshalJSON implements json.Marshaler. It returns no error.
func (f Figure) MarshalJSON() ([]byte, error) {
	if !f.Known() {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, math.Round(float64(f)*1000)/1000, 'f', -1, 64), nil
}

// JSONShape is the type that JSON has it as: a number or null.
func (Figure) JSONShape() any { return (*float64)(nil) }

// Chance is a probability, 0 to 1, on its way out of the daemon: a Figure that keeps two
// digits however small it is, because one that is not zero must not be written so.
type Chance float64

// Known reports whether the chance is a number.
func (c Chance) Known() bool { return Figure(c).Known() }

// MarshalJSON implements json.Marshaler. It returns no error.
func (c Chance) MarshalJSON() ([]byte, error) {
	if !c.Known() || c >= 0.01 {
		return Figure(c).MarshalJSON()
	}
	return strconv.AppendFloat(nil, float64(c), 'g', 2, 64), nil
}

// JSONShape is the type that JSON has it as: a number or null.
func (Chance) JSONShape() any { return (*float64)(nil) }

// Measured returns what t reads in degrees Celsius, unknown when t is unusable.
func Measured(t reading.Temperature) Figure {
	if !t.Usable(guard.MaxAge) {
		return Unknown()
	}
	return Figure(t.C)
}

// Melt returns the filtered melt temperature of p in degrees Celsius, unknown
// when the reading it comes from is unusable.
func Melt(p *control.PotFrame) Figure {
	if !p.Melt.Usable(guard.MaxAge) {
		return Unknown()
	}
	return Figure(p.MeltC)
}

// MeltOrEstimate is Melt, or what is thought of a melt that has no probe: where a person
// has to know how far it is from somewhere.
func MeltOrEstimate(p *control.PotFrame) Figure {
	if e := p.MeltEstimate; e.Known() {
		return Figure(e.C)
	}
	return Melt(p)
}

// Estimated are an estimate and its band, unknown where there is none.
func Estimated(e control.Estimate) (c, within Figure) {
	if !e.Known() {
		return Unknown(), Unknown()
	}
	return Figure(e.C), Figure(e.WithinC)
}

// ForeseenIn is how long before a moment the prediction was made that is kept to be
// compared with what came.
const ForeseenIn = 5 * time.Minute

// Foreseen returns the melt that is predicted for ForeseenIn after the frame, in degrees
// Celsius.
func Foreseen(p *control.PotFrame) Figure {
	return Figure(p.AheadC[int(ForeseenIn.Seconds()/model.AheadEveryS)-1])
}

// Age returns how old the last value of a probe was when the cycle used it, in
// seconds, unusable values included; unknown when none has ever come.
func Age(t reading.Temperature) Figure {
	if t.Fault == reading.NotWired || t.Fault == reading.Missing {
		return Unknown()
	}
	return Figure(t.Age.Seconds())
}

// UnmarshalJSON implements json.Unmarshaler: null is not known.
func (f *Figure) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*f = Unknown()
		return nil
	}
	v, err := strconv.ParseFloat(string(text), 64)
	*f = Figure(v)
	return err
}
