package reference

import "meltwarden/control/cascade"

// hysteresisC is the whole width between on and off.
const hysteresisC = 1.0

// Thermostat switches the heater by the melt alone, and off where the plate would
// pass its limit. The zero value is ready.
type Thermostat struct {
	melt, plate toggle
}

// Step is full power or none.
func (t *Thermostat) Step(m cascade.Measure, dt float64) float64 {
	if !usable(m, dt) {
		t.Rest()
		return 0
	}
	// Both are asked, so that both remember.
	melt, plate := t.melt.calls(m.TargetC+hysteresisC/2, m.MeltC), t.plate.calls(m.LimitC-marginC, m.PlateC)
	if melt && plate {
		return 1
	}
	return 0
}

// Applied is nothing to a thermostat.
func (t *Thermostat) Applied(float64, float64) {}

// Rest opens the switch.
func (t *Thermostat) Rest() { *t = Thermostat{} }

// toggle is a switch with hysteresis below its upper point.
type toggle struct{ on bool }

// calls reports whether heat is wanted at c: on below the hysteresis, off above
// the upper point, as before between them.
func (s *toggle) calls(upperC, c float64) bool {
	s.on = c < upperC-hysteresisC || s.on && c < upperC
	return s.on
}
