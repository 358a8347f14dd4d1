package model

import "math"

// What the model takes for granted (E): how late the heat of an element comes, and
// what a vessel loses, is found out; how these are divided matters little.
const (
	// elementShare is how much of the plate's heat capacity is its element's.
	elementShare = 0.25
	// wallShare is the vessel's heat capacity over the melt's: a millimetre of steel
	// around a quarter of a litre.
	wallShare = 0.15
	// wallLossShare is how much of what vessel and melt lose the vessel does.
	wallLossShare = 0.5
	// lossRiseC is the excess over the room, in kelvin, at which a loss has twice the
	// conductance it has at none: convection and radiation both grow (from the
	// formulas of any handbook of heat transfer, between 20 and 230 °C).
	lossRiseC = 400.0
)

// body is a pot's figures, unpacked from the state.
type body struct {
	w, roomC                            float64
	elementJK, plateJK, wallJK, meltJK  float64
	elementWK, contactWK, couplingWK    float64
	plateLossWK, wallLossWK, meltLossWK float64
	plateProbeS, meltProbeS             float64
}

func unpack(x *vector, w, roomC float64) body {
	plateJK, meltJK := math.Exp(x[lnPlateJK]), math.Exp(x[lnMeltJK])
	lossWK := math.Exp(x[lnMeltLossWK])
	b := body{
		w: w, roomC: roomC,
		elementJK: elementShare * plateJK, plateJK: (1 - elementShare) * plateJK,
		wallJK: wallShare * meltJK, meltJK: meltJK,
		contactWK: math.Exp(x[lnContactWK]), couplingWK: math.Exp(x[lnCouplingWK]),
		plateLossWK: math.Exp(x[lnPlateLossWK]),
		wallLossWK:  wallLossShare * lossWK, meltLossWK: (1 - wallLossShare) * lossWK,
		plateProbeS: math.Exp(x[lnPlateProbeS]), meltProbeS: math.Exp(x[lnMeltProbeS]),
	}
	b.elementWK = b.elementJK / math.Exp(x[lnElementS])
	return b
}

// excess is what drives a loss to the room from c, in kelvin, and its derivative.
func (b *body) excess(c float64) (drive, slope float64) {
	x := c - b.roomC
	if x <= 0 {
		return x, 1
	}
	return x * (1 + x/lossRiseC), 1 + 2*x/lossRiseC
}

// flows are the watts under way at a state.
type flows struct {
	up, in, over                  float64 // element to plate to vessel to melt
	plateLoss, wallLoss, meltLoss float64 // to the room
}

func (b *body) flows(x *vector) flows {
	plateX, _ := b.excess(x[plate])
	wallX, _ := b.excess(x[wall])
	meltX, _ := b.excess(x[melt])
	return flows{
		up: b.elementWK * (x[element] - x[plate]), in: b.contactWK * (x[plate] - x[wall]),
		over:      b.couplingWK * (x[wall] - x[melt]),
		plateLoss: b.plateLossWK * plateX, wallLoss: b.wallLossWK * wallX, meltLoss: b.meltLossWK * meltX,
	}
}

// slopes are the rates of the temperatures in kelvin per second at a duty: a heat
// balance of each lump, and first-order lags of the probes (elementary).
func (b *body) slopes(x *vector, f *flows, duty float64) (d [temperatures]float64) {
	d[element] = (b.w*duty - f.up) / b.elementJK
	d[plate] = (f.up - f.in - f.plateLoss) / b.plateJK
	d[wall] = (f.in - f.over - f.wallLoss) / b.wallJK
	d[melt] = (f.over - f.meltLoss) / b.meltJK
	d[plateProbe] = (x[plate] - x[plateProbe]) / b.plateProbeS
	d[meltProbe] = (x[melt] - x[meltProbe]) / b.meltProbeS
	return d
}

// jacobian is the derivative of the slopes by every state.
func (b *body) jacobian(x *vector, f *flows, d *[temperatures]float64, duty float64) (a [temperatures][states]float64) {
	_, plateSlope := b.excess(x[plate])
	_, wallSlope := b.excess(x[wall])
	_, meltSlope := b.excess(x[melt])

	a[element][element], a[element][plate] = -b.elementWK/b.elementJK, b.elementWK/b.elementJK
	a[element][lnPlateJK], a[element][lnElementS] = -b.w*duty/b.elementJK, f.up/b.elementJK

	a[plate][element], a[plate][wall] = b.elementWK/b.plateJK, b.contactWK/b.plateJK
	a[plate][plate] = -(b.elementWK + b.contactWK + b.plateLossWK*plateSlope) / b.plateJK
	a[plate][lnPlateJK], a[plate][lnElementS] = (f.in+f.plateLoss)/b.plateJK, -f.up/b.plateJK
	a[plate][lnContactWK], a[plate][lnPlateLossWK] = -f.in/b.plateJK, -f.plateLoss/b.plateJK

	a[wall][plate], a[wall][melt] = b.contactWK/b.wallJK, b.couplingWK/b.wallJK
	a[wall][wall] = -(b.contactWK + b.couplingWK + b.wallLossWK*wallSlope) / b.wallJK
	a[wall][lnContactWK], a[wall][lnCouplingWK] = f.in/b.wallJK, -f.over/b.wallJK
	a[wall][lnMeltJK], a[wall][lnMeltLossWK] = -d[wall], -f.wallLoss/b.wallJK

	a[melt][wall] = b.couplingWK / b.meltJK
	a[melt][melt] = -(b.couplingWK + b.meltLossWK*meltSlope) / b.meltJK
	a[melt][lnCouplingWK] = f.over / b.meltJK
	a[melt][lnMeltJK], a[melt][lnMeltLossWK] = -d[melt], -f.meltLoss/b.meltJK

	a[plateProbe][plate], a[plateProbe][plateProbe] = 1/b.plateProbeS, -1/b.plateProbeS
	a[meltProbe][melt], a[meltProbe][meltProbe] = 1/b.meltProbeS, -1/b.meltProbeS
	a[plateProbe][lnPlateProbeS], a[meltProbe][lnMeltProbeS] = -d[plateProbe], -d[meltProbe]
	return a
}
