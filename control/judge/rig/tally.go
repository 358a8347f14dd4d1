package rig

import (
	"math"

	"meltwarden/control/judge/zoo"
)

// tally measures a phase, a look a cycle.
type tally struct {
	targetC       float64
	spec          *zoo.Spec
	been          bool // within the band
	outS          float64
	n, sum, about float64
	out           Outcome
	lastS         float64
}

func newTally(targetC float64, p *zoo.Plant) tally {
	low := math.Inf(-1)
	return tally{
		targetC: targetC, spec: p.Spec(), outS: -1,
		out: Outcome{OverC: low, UnderC: low, OverAllC: low, UnderAllC: low, OverLateC: low, PlateOverC: low},
	}
}

func (t *tally) see(atS float64, p *zoo.Plant) {
	off, over := p.BulkC()-t.targetC, p.TopC()-t.targetC
	o := &t.out
	if math.Abs(off) > BandC {
		t.outS, o.OverLateC = atS, math.Inf(-1)
	} else {
		t.been = true
		o.OverLateC = max(o.OverLateC, over)
	}
	if t.been {
		o.OverC, o.UnderC = max(o.OverC, over), max(o.UnderC, -off)
	}
	o.OverAllC, o.UnderAllC = max(o.OverAllC, over), max(o.UnderAllC, -off)
	o.PlateOverC = max(o.PlateOverC, p.PlateC()-t.spec.PlateLimitC)
	o.LayerC = p.LayerC() - t.targetC
	t.n, t.sum, t.about = t.n+1, t.sum+off, t.about+off*off
	t.lastS = atS
}

// outcome ends the phase.
func (t *tally) outcome() Outcome {
	o := t.out
	o.MeanC, o.RMSC = t.sum/t.n, math.Sqrt(t.about/t.n)
	// The mean square of off + offset, by its parts; rounding may leave it below zero.
	offset := t.spec.MeltProbe.OffsetC
	o.ShownRMSC = math.Sqrt(math.Max(0, t.about/t.n+2*offset*o.MeanC+offset*offset))
	o.ShownPlateOverC = o.PlateOverC + t.spec.PlateProbe.OffsetC
	switch {
	case t.outS < 0:
		o.IntoS = 0
	case t.outS == t.lastS:
		o.IntoS = math.Inf(1)
	default:
		o.IntoS = t.outS
	}
	return o
}
