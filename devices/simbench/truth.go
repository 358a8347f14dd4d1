package simbench

import "time"

// Truth is the bench as it really is, for those who judge; no daemon knows it.
// Temperatures are in degrees Celsius.
type Truth struct {
	At   time.Duration // bench time
	Pots []PotTruth
	// Contactor is its coil, as last written or dropped; EStop and CutOut are
	// true while closed, which is healthy.
	Contactor, EStop, CutOut bool
	Lamp, Buzzer             bool
	RoomC                    float64
}

// PotTruth is one pot as it really is.
type PotTruth struct {
	MeltC, PlateC, WallC, ElementC float64
	// MeltProbeErrorC and PlateProbeErrorC are the probes' own fixed errors, which
	// no controller can know without a calibration.
	MeltProbeErrorC, PlateProbeErrorC float64
	PowerW                            float64 // the heater draws now
	HeatJ                             float64 // the heater gave since the start
	Lifted, Clear                     bool
	// SetpointC is what its controller holds, and Writes how often that was written to it;
	// zero where it has none.
	SetpointC float64
	Writes    int
}

// Truth returns the bench as it is now.
func (b *Bench) Truth() Truth {
	var t Truth
	b.do(func() {
		t = Truth{
			At: b.at, RoomC: b.roomC,
			Contactor: b.power.contactor, EStop: b.eStopClosed(), CutOut: b.contacts.cutOut,
			Lamp: b.contacts.lamp, Buzzer: b.contacts.buzzer,
		}
		for i, p := range b.pots {
			t.Pots = append(t.Pots, PotTruth{
				MeltC: p.heat.MeltC(), PlateC: p.heat.PlateC(), WallC: p.heat.WallC(), ElementC: p.heat.ElementC(),
				MeltProbeErrorC: p.spec.MeltProbe.OffsetC, PlateProbeErrorC: p.spec.PlateProbe.OffsetC,
				PowerW: b.heaterW(i), HeatJ: p.heat.Ledger().InJ,
				Lifted: p.heat.Lifted(), Clear: p.heat.Clear(),
			})
			if k := p.controller; k != nil {
				last := &t.Pots[i]
				last.SetpointC, last.Writes = k.setpointC(), k.writes
			}
		}
	})
	return t
}
