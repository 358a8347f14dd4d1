// Package mould foresees what a melt does in its mould: how warm its skin is at once, when
// a body sets through, and how the mould warms from shot to shot. A body is a plane wall
// between two faces; the mould is one lump of metal. A low and a high go with everything.
//
// It decides nothing about heat.
package mould

import (
	"math"

	"meltwarden/control/conduct"
	"meltwarden/control/melt"
)

// gapWM2K is the least that a face passes on, in W/(m²·K), once the body has shrunk from
// it (M). At best it passes on everything.
const gapWM2K = 1250.0

var touching = conduct.NewWall(math.Inf(1))

// Skin is the temperature at which melt and mould meet, in degrees Celsius, from the first
// moment on.
func Skin(meltC, mouldC float64, metal melt.Stuff) melt.Range {
	a, b := melt.Plastisol.Effusivity(), metal.Effusivity()
	between := melt.Range{
		Low: conduct.Touch(a.Low, meltC, b.High, mouldC),
		Mid: conduct.Touch(a.Mid, meltC, b.Mid, mouldC), High: conduct.Touch(a.High, meltC, b.Low, mouldC),
	}
	if meltC < mouldC {
		between.Low, between.High = between.High, between.Low
	}
	return between
}

// Depth is how deep from its skin a body has fallen to toC, in metres, afterS seconds after it
// was pushed, as long as its middle feels nothing of it; 0 where the skin has not.
func Depth(meltC, mouldC, toC, afterS float64, metal melt.Stuff) melt.Range {
	skin, alpha := Skin(meltC, mouldC, metal), melt.Plastisol.Diffusivity()
	at := func(faceC, alpha float64) float64 {
		if faceC >= toC || toC >= meltC {
			return 0
		}
		return conduct.Depth((meltC-toC)/(meltC-faceC), alpha, afterS)
	}
	return melt.Range{Low: at(skin.High, alpha.Low), Mid: at(skin.Mid, alpha.Mid), High: at(skin.Low, alpha.High)}
}

// Middle is how warm the middle of a body is, in degrees Celsius, afterS seconds after it was
// pushed; thick is how thick the body is, in metres.
func Middle(thick, meltC, mouldC, afterS float64, metal melt.Stuff) melt.Range {
	half := thick / 2
	skin, alpha := Skin(meltC, mouldC, metal), melt.Plastisol.Diffusivity()
	at := func(w *conduct.Wall, faceC, alpha float64) float64 {
		return faceC + (meltC-faceC)*w.Left(alpha*afterS/(half*half), 0)
	}
	return melt.Range{
		Low: at(touching, skin.Low, alpha.High), Mid: at(touching, skin.Mid, alpha.Mid), High: at(gapped(half), skin.High, alpha.Low),
	}
}

// gapped is a body of that half thickness, in metres, that has shrunk from its mould.
func gapped(half float64) *conduct.Wall {
	return conduct.NewWall(gapWM2K * half / melt.Plastisol.K.Low)
}

// Sets is in how many seconds the middle of a body falls from meltC to toC, in degrees
// Celsius, between faces of a metal that was at mouldC; thick is how thick the body is, in
// metres. It is 0 for a melt that is colder, and +Inf where the mould is as warm as toC or
// warmer.
func Sets(thick, meltC, mouldC, toC float64, metal melt.Stuff) melt.Range {
	half := thick / 2
	skin, alpha := Skin(meltC, mouldC, metal), melt.Plastisol.Diffusivity()
	in := func(w *conduct.Wall, faceC, alpha float64) float64 {
		switch {
		case meltC <= toC:
			return 0
		case faceC >= toC:
			return math.Inf(1)
		}
		return w.Reaches((toC-faceC)/(meltC-faceC)) * half * half / alpha
	}
	return melt.Range{
		Low: in(touching, skin.Low, alpha.High), Mid: in(touching, skin.Mid, alpha.Mid), High: in(gapped(half), skin.High, alpha.Low),
	}
}
