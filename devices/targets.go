package devices

import (
	"math"
	"slices"
	"time"

	"meltwarden/control/reading"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// Set-points are written on change only: many a controller keeps each one in a memory that
// wears. What a controller has is read in every cycle instead, and stands for its
// confirmation. It is sent the same again only where it says that it has something else, and
// then seldom. One that was never read is never told anything, not even rest at the end: what
// does not say that it is a set-point may be another register.

const (
	// targetSoon is how long a controller that has something else than it was sent is left
	// alone before it is sent the same again, and targetAgain how long once that was of no
	// use targetTries times (E): a lost frame is one thing, a locked controller another.
	targetSoon  = 400 * time.Millisecond
	targetAgain = 10 * time.Second
	targetTries = 3
)

// targetC is what a controller is told, in °C: its rest where it is told nothing, or
// something that is no more.
func (o output) targetC(all *outputs) float64 {
	if o.pot >= 0 && o.pot < len(all.setpointC) && all.setpointC[o.pot] > o.RestC {
		return all.setpointC[o.pot]
	}
	return o.RestC
}

// appendTarget appends the registers that are written to a controller. What it can not carry
// is written as rest, which a validated channel can.
func (o output) appendTarget(regs []uint16, all *outputs) []uint16 {
	longer, err := o.AppendTarget(regs, o.targetC(all))
	if err != nil {
		longer, _ = o.AppendTarget(regs, o.RestC)
	}
	return longer
}

// lacks reports whether a controller of the write says that it has something else than it is
// to be told.
func (w *write) lacks(all *outputs) bool {
	return slices.ContainsFunc(w.outputs, func(o output) bool {
		return !(math.Abs(o.heldC-o.Target(o.appendTarget(nil, all))) <= o.StepC()/2)
	})
}

// unread reports whether a controller of the write has never said what it has.
func (w *write) unread() bool {
	return slices.ContainsFunc(w.outputs, func(o output) bool { return math.IsNaN(o.heldC) })
}

// dueTarget reports whether controllers are to be told.
func (w *write) dueTarget(all *outputs, now time.Duration) bool {
	return !w.unread() && w.lacks(all) && w.mayRepeat(all, now)
}

// mayRepeat reports whether controllers may be told, which is at once for the first time.
func (w *write) mayRepeat(all *outputs, now time.Duration) bool {
	wait := targetSoon
	if w.tries >= targetTries {
		wait = targetAgain
	}
	return w.tries == 0 || now-w.sentAt >= wait || !slices.Equal(w.request(all).Data, w.sentData)
}

// again is how long a write that was told without an answer waits for its next time.
func (w *write) again() time.Duration {
	if w.urgency == setpointThen {
		return targetAgain
	}
	return zeroEvery
}

// sentTarget notes what a controller was sent.
func (w *write) sentTarget(all *outputs) {
	if w.urgency != setpointThen {
		return
	}
	data := w.request(all).Data
	if w.tries++; !slices.Equal(data, w.sentData) {
		w.sentData, w.tries = append(w.sentData[:0], data...), 1
	}
	w.sentAt = w.device.clock()
	w.device.targets.Add(1)
}

// holds takes the controllers to have what they acknowledged, until they say what they have.
func (w *write) holds(all *outputs) {
	for i := range w.outputs {
		o := &w.outputs[i]
		o.heldC = o.Target(o.appendTarget(nil, all))
	}
}

// heldBy takes in what a device says of its set-points in this round. One that heats counts
// as heard whatever it has: that somebody else changed it is for control to judge. One that
// is to rest counts only once it does.
func (w *write) heldBy(d *device, live *outputs) {
	var asked time.Duration
	for i := range w.outputs {
		celsius, at, is := d.setpointRead(w.outputs[i].Pot)
		if !is {
			return
		}
		w.outputs[i].heldC = celsius
		if i == 0 || at < asked {
			asked = at
		}
	}
	if w.heats(live) || !w.lacks(live) {
		w.confirmed, w.heard = asked, true
	}
}

// setpointRead is what the device said in this round of the set-point of a pot, in °C. What is
// no measurement is no word of it: nobody could tell what its controller heats to.
func (d *device) setpointRead(pot string) (celsius float64, at time.Duration, is bool) {
	for i := range d.channels {
		if c := &d.channels[i]; c.Role != registers.SetpointRead || c.Pot != pot {
			continue
		}
		at, outcome := d.answered(i)
		place, planned := d.plan.Value(i)
		if !planned || outcome != modbus.OK || d.temperature(i).Fault != reading.None {
			return 0, 0, false
		}
		return d.channels[i].Target(registers.At(d.results[place.Span].words, place)), at, true
	}
	return 0, 0, false
}

// rested asks the controllers of a write what they have, at the end, and reports whether that
// is rest. Those that have something else are told, seldom.
func (l *line) rested(w *write) bool {
	d := w.device
	d.begin()
	for i, c := range d.channels {
		if place, planned := d.plan.Value(i); planned && c.Role == registers.SetpointRead && !d.results[place.Span].asked && l.client != nil {
			r, at := d.request(place.Span), l.clk.Now()
			data, err := l.exchange(d, r)
			d.receive(place.Span, at, data, modbus.OutcomeOf(err))
		}
	}
	w.heard = false
	if w.heldBy(d, nothing); !w.heard && !w.unread() && l.client != nil && w.mayRepeat(nothing, l.clk.Now()) {
		l.put(w)
	}
	return w.heard
}

// noteTargets takes in what a device's round says of its set-points.
func (l *line) noteTargets(d *device) {
	for _, w := range l.writes {
		if w.device == d && w.urgency == setpointThen {
			w.heldBy(d, l.live)
			l.noteHeard()
		}
	}
}
