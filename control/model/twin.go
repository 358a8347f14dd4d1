package model

// Twin is a pot as the model has it, to be let go its way where no real one is: what a
// duty makes of plate and melt, without chance. A hand's stirring is in it as the mean of
// many stirs. It decides nothing, and what it shows is an estimate.
type Twin struct {
	b        body
	x        vector
	gelShare float64 // what thickening leaves of the coupling at its thickest
	highC    float64 // the hottest that the melt has been
}

// NewTwin returns a twin that has stood in a room, in degrees Celsius, of raw plastisol: by
// what is known of the pot, or by the priors for any pot (E) where that is nil.
func NewTwin(p Pot, k *Known, roomC float64) *Twin {
	f := New(p)
	f.roomC = roomC
	if k != nil {
		f.Recall(k)
	}
	t := &Twin{b: unpack(&f.x, p.HeaterW, roomC), gelShare: f.gelShare, highC: roomC}
	for i := range int(temperatures) {
		t.x[i] = roomC
	}
	return t
}

// Step lets dt seconds pass in which the heater has a duty, 0 to 1.
func (t *Twin) Step(duty, dt float64) {
	for left := dt; left > 1e-9; left -= longestS {
		b := t.b
		b.couplingWK *= gel(t.highC, t.gelShare)
		flow := b.flows(&t.x)
		for i, slope := range b.slopes(&t.x, &flow, duty) {
			t.x[i] += slope * min(left, longestS)
		}
		t.highC = max(t.highC, t.x[melt])
	}
}

// PlateC is what the plate's probe shows, in degrees Celsius.
func (t *Twin) PlateC() float64 { return t.x[plateProbe] }

// MeltC is what the melt's probe shows, in degrees Celsius.
func (t *Twin) MeltC() float64 { return t.x[meltProbe] }
