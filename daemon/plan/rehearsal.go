package plan

import (
	"time"

	"meltwarden/control"
	"meltwarden/control/model"
	"meltwarden/control/reading"
)

// The hands of a rehearsal (C, no source): they do their part at once. What hands take
// longer on a bench is in what its earlier runs took.
const (
	pressesAt = 2 * time.Second // a button that was left alone before it
	pressFor  = time.Second
	stirEvery = 50 * time.Second
	// longest is the longest evening up to ready that is worth telling.
	longest = 2 * time.Hour
)

// Course is how an evening goes from the press that enables heat until every pot is ready,
// as it is foreseen. Times are since that press.
type Course struct {
	// Ready is when every pot is; negative where two hours are not enough.
	Ready time.Duration
	Pots  []PotCourse
	// PeakW is the most that the heaters together draw in any cycle, BusiestW the highest
	// mean of a minute and MeanW that of the whole way, in watts.
	PeakW, BusiestW, MeanW float64
	// MinuteW is the mean of every minute, in watts.
	MinuteW []float64
}

// PotCourse is one pot's part of it. What it never comes to is negative.
type PotCourse struct {
	// Heated is when its heater first draws, Cures when the melt is at its cure
	// temperature, Dwelled when the dwell there is over, and Ready when it can be poured.
	Heated, Cures, Dwelled, Ready time.Duration
	// Waits are the times in which it is held back for the others.
	Waits []Span
	// PlateC is the warmest that its plate gets, in degrees Celsius.
	PlateC float64
}

// Span is a stretch of time.
type Span struct{ From, To time.Duration }

// rehearsal lets the program's own control lead pots that are simulated by what is known of
// them. There is no line in it and no heater at the end of one.
type rehearsal struct {
	set   control.Settings
	bench *control.Bench
	twins []*model.Twin
	in    control.Input
	f     control.Frame

	began     time.Duration // when heat was enabled
	course    Course
	drawnJ    float64
	minuteJ   float64
	stirredAt time.Duration
}

// Rehearse foresees an evening with cold pots of raw plastisol in a room, in degrees
// Celsius. Every pot has to have both probes.
func Rehearse(set control.Settings, roomC float64) Course {
	set.Limits.HeatersProven = true // of these pots: nothing real is heated here
	r := &rehearsal{set: set, bench: control.NewBench(set), began: -1}
	r.course.Ready = -1
	for i := range set.Pots {
		p := &set.Pots[i]
		l := p.LoopPot()
		var recalled *model.Known
		if known(p) {
			recalled = &p.Known.Model
		}
		r.twins = append(r.twins, model.NewTwin(model.Pot{HeaterW: l.HeaterW, MeltJPerK: l.MeltJPerK, Probes: l.Probes}, recalled, roomC))
		r.course.Pots = append(r.course.Pots, PotCourse{Heated: -1, Cures: -1, Dwelled: -1, Ready: -1})
	}
	for r.course.Ready < 0 && r.f.Time < longest {
		r.cycle(roomC)
	}
	r.end()
	return r.course
}

// cycle lets one period pass.
func (r *rehearsal) cycle(roomC float64) {
	r.read(roomC)
	r.hands()
	r.bench.Step(&r.in, &r.f)
	for i, t := range r.twins {
		t.Step(r.f.Outputs.Duty[i], r.set.Period.Seconds())
	}
	r.see()
	r.in.Elapsed = r.set.Period
}

// read fills in what the probes show.
func (r *rehearsal) read(roomC float64) {
	shows := func(c float64) reading.Temperature { return reading.Temperature{C: c, Fault: reading.None} }
	r.in.Pots = r.in.Pots[:0]
	for _, t := range r.twins {
		r.in.Pots = append(r.in.Pots, control.PotReadings{Melt: shows(t.MeltC()), Plate: shows(t.PlateC())})
	}
	r.in.Room = shows(roomC)
	closed, open := reading.Contact{Closed: true, Fault: reading.None}, reading.Contact{Fault: reading.None}
	r.in.Contacts = control.Contacts{EStop: closed, CutOut: closed, Fan: closed, Link: closed, Pedal: open, Enable: open}
	if r.f.Time >= pressesAt && r.f.Time < pressesAt+pressFor {
		r.in.Contacts.Enable = closed
	}
}

// hands press, stir every pot now and then, and say that a melt is clear once its dwell is
// over.
func (r *rehearsal) hands() {
	r.in.Commands = r.in.Commands[:0]
	if r.began < 0 {
		return
	}
	stirs := r.f.Time-r.stirredAt >= stirEvery
	if stirs {
		r.stirredAt = r.f.Time
	}
	for i := range r.f.Pots {
		if stirs {
			r.in.Commands = append(r.in.Commands, control.Command{Kind: control.Stir, Pot: i})
		}
		if p := &r.f.Pots[i]; !p.Clear && p.Dwelled >= r.set.Pots[i].Dwell {
			r.in.Commands = append(r.in.Commands, control.Command{Kind: control.TickClear, Pot: i})
		}
	}
}

// see writes down what came of the cycle.
func (r *rehearsal) see() {
	if r.began < 0 {
		if r.f.Heat != control.HeatEnabled {
			return
		}
		r.began, r.stirredAt = r.f.Time, r.f.Time
	}
	now := r.f.Time - r.began
	for i := range r.f.Pots {
		r.course.Pots[i].see(&r.f.Pots[i], r.set.Pots[i].Dwell, now)
	}
	r.draw(now)
	if r.f.Ready {
		r.course.Ready = now
	}
}

func (c *PotCourse) see(p *control.PotFrame, dwell, now time.Duration) {
	first := func(when *time.Duration, is bool) {
		if *when < 0 && is {
			*when = now
		}
	}
	first(&c.Heated, p.Duty > 0)
	first(&c.Cures, p.Dwelled > 0)
	first(&c.Dwelled, p.Dwelled >= dwell)
	first(&c.Ready, p.State == control.Ready)
	c.PlateC = max(c.PlateC, p.Plate.C)
	if p.Wait != control.WaitOthers {
		return
	}
	if n := len(c.Waits); n == 0 || now-c.Waits[n-1].To > stirEvery {
		c.Waits = append(c.Waits, Span{now, now})
	}
	c.Waits[len(c.Waits)-1].To = now
}

// draw books the power of a cycle.
func (r *rehearsal) draw(now time.Duration) {
	drawnW := 0.0
	for i, duty := range r.f.Outputs.Duty {
		drawnW += duty * r.set.Pots[i].HeaterW
	}
	r.course.PeakW = max(r.course.PeakW, drawnW)
	j := drawnW * r.set.Period.Seconds()
	r.drawnJ += j
	r.minuteJ += j
	if minute := int(now / time.Minute); minute > len(r.course.MinuteW) {
		r.minute(time.Minute)
	}
}

// minute books a minute that took so long.
func (r *rehearsal) minute(took time.Duration) {
	w := r.minuteJ / took.Seconds()
	r.course.MinuteW = append(r.course.MinuteW, w)
	r.course.BusiestW = max(r.course.BusiestW, w)
	r.minuteJ = 0
}

// end books the rest.
func (r *rehearsal) end() {
	took := r.f.Time - max(r.began, 0)
	if left := took - time.Duration(len(r.course.MinuteW))*time.Minute; left > time.Second {
		r.minute(left)
	}
	if took > 0 {
		r.course.MeanW = r.drawnJ / took.Seconds()
	}
}
