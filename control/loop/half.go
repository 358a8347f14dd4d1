package loop

import "meltwarden/control/model"

// Of a pot with one probe the loop goes by what the model makes of the other place, and
// leaves nothing: what was not seen is not worth keeping.

// Estimate is what the model makes of both temperatures by now, and whether it makes
// anything of them.
func (l *Loop) Estimate() (e model.Estimate, is bool) {
	return l.model.Estimate(l.given), l.model.Begun()
}

// Hand takes in what a thermometer held into the melt by hand showed, in degrees Celsius.
func (l *Loop) Hand(c float64) { l.model.Hand(c) }

// Anew takes all for wrong that was made of the pot so far.
func (l *Loop) Anew() { l.model = model.New(l.pot.model()) }

// RestsAboveC is how much warmer than a melt that is held at c degrees Celsius the model has its
// plate, in kelvin.
func (l *Loop) RestsAboveC(c float64) float64 { return l.model.RestAtC(c) }
