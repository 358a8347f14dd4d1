package loop

// Aim is how warm the plate of a pot should be, in degrees Celsius, whose plate is held by a
// device of its own; NaN where the view is no view. The model has no part in it: it lives by
// what a heater gets, and here nobody knows that.
func (l *Loop) Aim(v *View) float64 { return l.cascade.Aim(v.Seen, v.Dt) }
