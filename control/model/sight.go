package model

import "math"

// Grades: E estimate.
const (
	doubtAt   = 4.0  // E: how strange readings may be to the model; where it fits it is 1
	trustAt   = 2.5  // E: and how little before a model that was doubted is trusted again
	trustForS = 60.0 // E: for how long
	youngS    = 10.0 // E: before that there is nothing to go by
)

// trust is whether the model's own forecasts of the readings come true.
type trust struct {
	doubted bool
	calmS   float64
}

func (t *trust) look(strange, dt float64) {
	if t.calmS += dt; strange > trustAt {
		t.calmS = 0
	}
	t.doubted = strange > doubtAt || t.doubted && t.calmS < trustForS
}

// Trusted reports whether the model fits this pot, by how the last readings came out
// against what it had awaited.
func (f *Filter) Trusted() bool { return f.begun && f.nowS >= youngS && !f.trust.doubted }

// Doubted reports whether the model has been found wrong about this pot of late.
func (f *Filter) Doubted() bool { return f.trust.doubted }

// Sight is a pot as the model sees it now, without the probes' lag and noise.
type Sight struct {
	MeltC, PlateC         float64 // degrees Celsius
	MeltSlope, PlateSlope float64 // kelvin per second
	// HeldC is where the plate would be once its element gave off what it holds
	// beyond what is flowing.
	HeldC float64
	// RestC is how much warmer than the melt the plate has to be for the melt to stay as
	// warm as it is.
	RestC float64
	// OutW is what the plate gives to vessel and room.
	OutW float64
	// PlateJK is the heat capacity of plate and element in J/K, ElementS the time
	// constant of the one behind the other in seconds.
	PlateJK, ElementS float64
}

// Sight returns what the model sees while the heater has a duty, 0 to 1. It means
// something only where Trusted.
func (f *Filter) Sight(duty float64) Sight {
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	flow := b.flows(&f.x)
	d := b.slopes(&f.x, &flow, duty)
	out := flow.in + flow.plateLoss
	return Sight{
		MeltC: f.x[melt], PlateC: f.x[plate], MeltSlope: d[melt], PlateSlope: d[plate],
		HeldC: b.heldC(&f.x, &flow),
		RestC: b.restC(&flow), OutW: out, PlateJK: b.elementJK + b.plateJK, ElementS: math.Exp(f.x[lnElementS]),
	}
}

// heldC is where the plate would be once its element gave off what it holds beyond what
// is flowing.
func (b *body) heldC(x *vector, f *flows) float64 {
	return x[plate] + elementShare*(f.up-f.in-f.plateLoss)/b.elementWK
}

// restC is the excess that brings vessel and melt what they lose: first over the
// vessel's coupling to the melt, then over the contact.
func (b *body) restC(f *flows) float64 {
	return f.meltLoss/b.couplingWK + (f.meltLoss+f.wallLoss)/b.contactWK
}
