package mould

import (
	"math"

	"meltwarden/control/conduct"
	"meltwarden/control/melt"
)

// Session is shot after shot into one mould. Masses are in kilograms, temperatures in
// degrees Celsius, times in seconds.
type Session struct {
	Metal         melt.Stuff
	MouldKg       float64 // above zero
	ShotKg        float64
	ThickM        float64 // of the body, in metres; above zero
	MeltC         float64
	StartC, RoomC float64
	InMouldS      float64 // from the push until it is taken out
	EveryS        float64 // from push to push, at least InMouldS
}

// What a mould loses to the room: h·A of a block, in still air to a light draught.
var (
	lossWM2K = melt.Range{Low: 4, Mid: 8, High: 15} // P for gases in free convection: 2 to 25 (Incropera, table 1.1; from memory), narrowed by E
	shape    = 7.5                                  // E: two flat halves have that times V^⅔ of surface; a cube has 6
)

// most is how many shots are reckoned at the most.
const most = 100

// Before is how warm the mould is before each of so many shots, 1 to 100. The heat that a
// body gives up while it is in the mould is shared by heat capacity; between shots the mould
// cools to the room as a lump.
func (s Session) Before(shots int) []melt.Range {
	c := melt.Range{Low: s.StartC, Mid: s.StartC, High: s.StartC}
	all := []melt.Range{c}
	shotJK, alpha := melt.Plastisol.C, melt.Plastisol.Diffusivity()
	for len(all) < min(shots, most) {
		c = melt.Range{
			Low:  s.next(c.Low, shotJK.Low, alpha.Low, lossWM2K.High),
			Mid:  s.next(c.Mid, shotJK.Mid, alpha.Mid, lossWM2K.Mid),
			High: s.next(c.High, shotJK.High, alpha.High, lossWM2K.Low),
		}
		all = append(all, c)
	}
	return all
}

// Rise is by how many kelvins one shot warms a mould of mouldC.
func (s Session) Rise(mouldC float64) melt.Range {
	c, alpha := melt.Plastisol.C, melt.Plastisol.Diffusivity()
	return melt.Range{Low: s.rise(mouldC, c.Low, alpha.Low), Mid: s.rise(mouldC, c.Mid, alpha.Mid), High: s.rise(mouldC, c.High, alpha.High)}
}

// rise is for one specific heat and diffusivity of the melt.
func (s Session) rise(mouldC, c, alpha float64) float64 {
	half := s.ThickM / 2
	gives := (1 - touching.Mean(alpha*s.InMouldS/(half*half))) * s.ShotKg * c
	return gives * (s.MeltC - mouldC) / (s.mouldJK() + gives)
}

func (s Session) next(mouldC, c, alpha, lossWM2K float64) float64 {
	warm := mouldC + s.rise(mouldC, c, alpha)
	area := shape * math.Pow(s.MouldKg/s.Metal.Rho.Mid, 2.0/3)
	return s.RoomC + (warm-s.RoomC)*conduct.Lumped(s.EveryS, s.mouldJK()/(lossWM2K*area))
}

func (s Session) mouldJK() float64 { return s.MouldKg * s.Metal.C.Mid }
