// Package limit finds how fast a pot could be at best: with the heater as it is
// and everything known of the pot and its future stirring, the shortest time until
// the bulk of the melt is within a band of its target for good, the melt that takes
// the heat never above the band and the plate never above its limit.
//
// More power never makes anything colder (but for raw paste that thickens the sooner;
// no way around that is looked for), so a state is safe where it stays within
// both limits with the power off; and power that is given early does the most for
// the melt now and the least to its peak later. So the fastest way is the most power
// that leaves the state safe: full power, then riding the plate's limit, one cut from
// which the melt coasts to the top of the band, and where that does not yet bring
// all of it into the band, riding the top of the band. Switching is found by looking
// ahead on copies of the pot itself. TestLinearProgramme checks that no other way is
// faster on linear pots. It is for tests only.
package limit

import (
	"math"
	"sort"

	"meltwarden/control/judge/zoo"
)

const (
	tickS     = 1.0        // between switches
	holdTickS = 5.0        // likewise while something is only held
	aheadS    = 120.0      // so far ahead a hold aims, a whole number of any hand's habits
	settleS   = 420.0      // a pot held for so long is at rest but for its stirring
	surelyS   = 150.0      // in band for so long while it rides the band's top is for good
	hairC     = 0.005      // over the band's top it may be while that is ridden, for the error of looks
	lagS      = 60.0       // no heat is longer on its way from element to melt
	mostS     = 2 * 3600.0 // none takes longer
	looks     = 5          // steps between looks at a coast, which has no sharp peaks
	lookS     = looks * zoo.StepS
	bisected  = 1.0 / (1 << 10) // how finely the duty of the tick in which the cut falls is found
)

// Task is what is to be reached, and within what.
type Task struct {
	TargetC, BandC, PlateLimitC float64
	Events                      []zoo.Event // what happens meanwhile, in seconds from the beginning
	HotC                        float64     // from here on a melt ages
}

// Result is the fastest there is.
type Result struct {
	IntoS  float64 // the bulk is in band for good; +Inf where it can not be
	OverC  float64 // the melt's top over the target after that
	PlateC float64 // the hottest plate
	CutS   float64 // when full power, or riding the plate's limit, ended
	HotS   float64 // for how long until then the bulk was above the task's HotC
}

// Into returns the fastest way of a pot into the band. Before the last event the
// pot is held at its target, because nobody knows what comes.
func Into(b zoo.Body, t Task) Result {
	d := driver{body: b, task: t, capC: t.TargetC + t.BandC}
	d.outcome.PlateC = math.Inf(-1)
	d.mark()
	for d.next < len(t.Events) {
		d.tick(tickS, d.hold())
	}
	if d.body.BulkC() > d.capC {
		d.cool()
	} else {
		d.cut()
	}
	for d.nowS < mostS && d.nowS-d.outS < surelyS {
		d.tick(tickS, d.most(tickS))
	}
	d.outcome.IntoS = d.outS
	if d.nowS-d.outS < surelyS {
		d.outcome.IntoS = math.Inf(1)
	}
	return d.outcome
}

// Held returns a cured pot that has been held at a temperature until it rests, whole
// minutes after its beginning, and to which something had happened before.
func Held(s *zoo.Spec, targetC float64, before ...zoo.Event) zoo.Body {
	p := zoo.New(s, zoo.Start{MeltC: targetC, PlateC: targetC, Cured: true})
	d := driver{body: p.Body, task: Task{TargetC: targetC}}
	for _, e := range before {
		d.body.Happen(e)
	}
	for d.nowS < settleS {
		d.tick(holdTickS, d.hold())
	}
	return d.body
}

// driver drives a pot with the most power that is safe.
type driver struct {
	body    zoo.Body
	task    Task
	capC    float64 // of the body's top
	next    int     // event
	nowS    float64
	outS    float64 // when the bulk was last out of band
	hotS    float64 // for how long it was hot until now
	outcome Result
}

// tick gives a duty for some seconds.
func (d *driver) tick(forS, duty float64) {
	for range int(math.Round(forS / zoo.StepS)) {
		for d.next < len(d.task.Events) && d.task.Events[d.next].AtS <= d.nowS+zoo.StepS/2 {
			d.body.Happen(d.task.Events[d.next])
			d.next++
			d.mark()
		}
		d.body.Step(duty)
		d.nowS += zoo.StepS
		if d.body.BulkC() > d.task.HotC {
			d.hotS += zoo.StepS
		}
		d.mark()
	}
}

// mark looks at where the pot is.
func (d *driver) mark() {
	over := d.body.TopC() - d.task.TargetC
	d.outcome.PlateC = max(d.outcome.PlateC, d.body.PlateC())
	d.outcome.OverC = max(d.outcome.OverC, over)
	if math.Abs(d.body.BulkC()-d.task.TargetC) > d.task.BandC+hairC {
		d.outS, d.outcome.OverC, d.outcome.HotS = d.nowS, math.Inf(-1), d.hotS
	}
}

// cool gives no power until the last moment from which the most power still catches
// the melt above the bottom of the band.
func (d *driver) cool() {
	var way []driver
	for d.body.BulkC() > d.capC && d.nowS < mostS {
		way = append(way, *d)
		d.tick(tickS, 0)
	}
	if !d.catches() {
		caught := sort.Search(len(way), func(i int) bool { return !way[i].catches() })
		*d = way[max(caught-1, 0)]
	}
	d.outcome.CutS = d.nowS
}

// catches reports whether the most power from here on keeps the bulk above the
// bottom of the band.
func (d driver) catches() bool {
	for end := d.nowS + surelyS; d.nowS < end; {
		d.tick(tickS, d.most(tickS))
		if d.body.BulkC() < d.task.TargetC-d.task.BandC {
			return false
		}
	}
	return true
}

// cut gives all power that the plate's limit allows until the last moment from
// which the melt coasts to its cap, to a part of a tick.
func (d *driver) cut() {
	var way []driver
	for d.body.TopC() <= d.capC && d.nowS < mostS {
		way = append(way, *d)
		d.tick(tickS, d.plateMost(tickS))
	}
	if len(way) == 0 {
		d.outcome.CutS = d.nowS
		return
	}
	over := sort.Search(len(way), func(i int) bool {
		_, meltC := coast(way[i].body, tickS, 0)
		return meltC > d.capC
	})
	*d = way[max(over-1, 0)]
	d.outcome.CutS = d.nowS
	d.tick(tickS, d.lastDuty())
}

// lastDuty is the most for the tick in which the cut falls.
func (d *driver) lastDuty() float64 {
	low, high := 0.0, d.plateMost(tickS)
	for high-low > bisected {
		mid := (low + high) / 2
		if _, meltC := coast(d.body, tickS, mid); meltC <= d.capC {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// most is the most duty for a tick that keeps plate and melt safe.
func (d *driver) most(forS float64) float64 {
	if d.body.Lifted() {
		return 0
	}
	limitC := d.task.PlateLimitC
	plate0, melt0 := coast(d.body, forS, 0)
	if plate0 >= limitC || melt0 >= d.capC {
		return 0
	}
	plate1, melt1 := coast(d.body, forS, 1)
	if math.IsInf(melt0, -1) {
		melt0 = min(d.body.TopC(), d.capC)
	}
	return min(chord(plate0, plate1, limitC), chord(melt0, melt1, d.capC))
}

// hold is the duty that, kept up for aheadS, brings the bulk to its target. The bulk
// then goes straight with the duty.
func (d *driver) hold() float64 {
	if d.body.Lifted() {
		return 0
	}
	at0, at1 := after(d.body, aheadS, 0), after(d.body, aheadS, 1)
	return min(1, max(0, (d.task.TargetC-at0)/(at1-at0)))
}

// after is the bulk after a duty for some seconds.
func after(b zoo.Body, forS, duty float64) float64 {
	for range int(math.Round(forS / zoo.StepS)) {
		b.Step(duty)
	}
	return b.BulkC()
}

// plateMost is the most duty for a tick that keeps the plate safe.
func (d *driver) plateMost(forS float64) float64 {
	if d.body.Lifted() {
		return 0
	}
	limitC := d.task.PlateLimitC
	plate1 := platePeak(d.body, forS, 1)
	if plate1 <= limitC {
		return 1
	}
	return chord(platePeak(d.body, forS, 0), plate1, limitC)
}

// chord is the duty for a peak, from the peaks at 0 and 1. A peak is the highest of
// temperatures that each go straight with the duty, so it lies under its chord, and
// what is read from the chord is safe.
func chord(at0, at1, wantC float64) float64 {
	if at1 <= wantC {
		return 1
	}
	return max(0, (wantC-at0)/(at1-at0))
}

// platePeak is the hottest the plate becomes with a duty for some seconds and
// then none.
func platePeak(b zoo.Body, forS, duty float64) float64 {
	peak := math.Inf(-1)
	for range int(math.Round(forS / zoo.StepS)) {
		b.Step(duty)
		peak = max(peak, b.PlateC())
	}
	for b.ElementC() > b.PlateC() && b.PlateC() >= peak {
		b.Step(0)
		peak = max(peak, b.PlateC())
	}
	return peak
}

// coast is the hottest that the plate becomes, and the hottest that the melt or its
// bulk rises to, with a duty for some seconds and then none; what does not rise is
// -Inf. It ends when nothing under the melt is hotter than it, or when it has not
// risen through a whole habit of the hand: what is under it only becomes colder.
func coast(b zoo.Body, forS, duty float64) (plateC, meltC float64) {
	plateC, meltC = b.PlateC(), math.Inf(-1)
	habit := max(b.HabitS(), lagS)
	for last, nowS, roseS := b.TopC(), 0.0, 0.0; nowS < forS || nowS < roseS+habit && b.UnderC() > b.MeltC(); nowS += lookS {
		if nowS >= forS {
			duty = 0
		}
		for range looks {
			b.Step(duty)
		}
		plateC = max(plateC, b.PlateC())
		c := b.TopC()
		if c > last {
			meltC, roseS = max(meltC, c), nowS
		}
		last = c
	}
	return plateC, meltC
}
