package demo

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"meltwarden/control"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// script is what is to happen in a session.
type script struct {
	lasts time.Duration
	// warmC is how hot the melts are when the program is started; zero is a bench
	// that has stood cold. cured is whether the maker says at the start that they
	// were cured before.
	warmC float64
	cured bool
	// stubborn is a person who presses the button again and again while heat is not
	// enabled.
	stubborn bool
	deeds    []deed
}

// deed is something that is done at a time of a session.
type deed struct {
	at time.Duration
	do func(*trial)
}

// tooHotC is how hot no maker has a melt on purpose: it may coast to its trip.
const tooHotC = 174.0

// draft draws a script.
type draft struct {
	*rand.Rand
	script
	records bool
	taken   map[string][]span // by the place of a fault
	lastAt  time.Duration
}

type span struct{ from, to time.Duration }

// forEver is an end that never comes.
const forEver = time.Hour

func drawScript(seed uint64, records bool) script {
	d := draft{Rand: rand.New(rand.NewPCG(seed, 20260314)), records: records, taken: map[string][]span{}}
	u := d.Float64()
	d.lasts = 3*time.Minute + time.Duration(u*u*float64(5*time.Minute))
	switch stage := d.IntN(20); {
	case stage < 5: // cold
	case stage < 10:
		d.warmC = 60 + 90*d.Float64()
	case stage < 14:
		d.warmC = 163 + 9*d.Float64()
	case stage < 15: // a pot that comes too hot
		d.warmC = tooHotC + 14*d.Float64()
	default:
		d.warmC, d.cured = 160+13*d.Float64(), true
	}
	d.stubborn = d.IntN(4) > 0
	for range 2 + d.IntN(4) {
		d.drawOne()
	}
	slices.SortStableFunc(d.deeds, func(a, b deed) int { return int(a.at - b.at) })
	return d.script
}

// within draws a time between two.
func (d *draft) within(least, most time.Duration) time.Duration {
	return least + time.Duration(d.Float64()*float64(most-least))
}

func (d *draft) add(at time.Duration, do func(*trial)) {
	d.deeds = append(d.deeds, deed{max(0, at), do})
}

// firstPresses is about when heat is first enabled.
const firstPresses = 5 * time.Second

// begins draws when the next thing goes wrong: often close to the one before.
func (d *draft) begins() time.Duration {
	at := d.within(firstPresses, d.lasts-15*time.Second)
	if d.IntN(8) == 0 {
		at = d.within(0, firstPresses)
	}
	if d.lastAt > 0 && d.IntN(3) == 0 {
		at = max(0, d.lastAt+d.within(-3*time.Second, 3*time.Second))
	}
	d.lastAt = at
	return at
}

// drawOne draws one thing that goes wrong.
func (d *draft) drawOne() {
	follies := []func(*draft){
		(*draft).lift, (*draft).stirIn, (*draft).stirIn, (*draft).draught, (*draft).allOff, (*draft).presses,
		(*draft).chatter, (*draft).stuck, (*draft).marks, (*draft).absurd, (*draft).setpoint,
	}
	if d.records {
		follies = append(follies, (*draft).holdHistory)
	}
	if i := d.IntN(len(kinds) + len(follies)); i < len(kinds) {
		d.fault(&kinds[i])
	} else {
		follies[i-len(kinds)](d)
	}
}

// fault draws where a fault of the bench is and how long it lasts, or how often it
// comes and goes.
func (d *draft) fault(k *kind) {
	at, begins := d.place(k), d.begins()
	switch d.IntN(20) {
	case 0, 1, 2, 3, 4:
		d.spell(k, at, span{begins, begins + d.within(50*time.Millisecond, 1500*time.Millisecond)})
	case 5, 6, 7, 8:
		for range 3 + d.IntN(10) {
			ends := begins + d.within(50*time.Millisecond, 2*time.Second)
			d.spell(k, at, span{begins, ends})
			begins = ends + d.within(50*time.Millisecond, 2*time.Second)
		}
	case 9, 10:
		d.spell(k, at, span{begins, forEver})
	default:
		d.spell(k, at, span{begins, begins + d.within(2*time.Second, time.Minute)})
	}
}

// place draws where a fault is.
func (d *draft) place(k *kind) simbench.Place {
	pot := d.IntN(len(everyPot))
	switch k.fault.Scope() {
	case simbench.OfProbe:
		return simbench.Place{Pot: pot, Probe: []registers.Role{registers.Melt, registers.Plate}[d.IntN(2)]}
	case simbench.OfPot:
		return simbench.Place{Pot: pot}
	case simbench.OfLine:
		if k.fault == simbench.EchoedRequests { // an adapter does that, not a unit
			return simbench.Place{}
		}
		return simbench.Place{Unit: uint8(d.IntN(int(simbench.UnitContacts) + 1))}
	}
	return simbench.Place{}
}

// spell is one fault from its beginning to its end. A probe has one at a time, and
// nothing goes wrong in the same way twice at once.
func (d *draft) spell(k *kind, at simbench.Place, s span) {
	key := placeName(at)
	if k.fault.Scope() != simbench.OfProbe {
		key += string(k.fault)
	}
	for _, t := range d.taken[key] {
		if s.from <= t.to && t.from <= s.to {
			return
		}
	}
	d.taken[key] = append(d.taken[key], s)
	d.add(s.from, func(t *trial) {
		w := t.begin(k, at)
		if s.to < d.lasts {
			t.later(s.to, func(t *trial) { t.end(w) })
		}
	})
}

func (d *draft) pot() int { return d.IntN(len(everyPot)) }

// lift takes a pot away for a while, with or without a word.
func (d *draft) lift() {
	pot, begins, away, marked := d.pot(), d.begins(), d.within(5*time.Second, 60*time.Second), d.IntN(2) == 0
	d.add(begins, func(t *trial) {
		t.does("lifted", "pot %d", pot)
		t.bench.Lift(pot)
		if marked {
			t.says(control.Command{Kind: control.Lift, Pot: pot})
		}
	})
	d.add(begins+away, func(t *trial) {
		t.bench.Return(pot)
		if marked {
			t.says(control.Command{Kind: control.Return, Pot: pot})
		}
	})
	if marked {
		d.press(begins+away+3*time.Second, time.Second)
	}
}

// stirIn stirs something cold in, with or without a word.
func (d *draft) stirIn() {
	pot, begins, ml, marked := d.pot(), d.begins(), 2+18*d.Float64(), d.IntN(2) == 0
	d.add(begins, func(t *trial) {
		t.does("cold addition", "%.0f mL to pot %d", ml, pot)
		t.bench.Add(pot, ml)
		t.addedML[pot] += ml
	})
	if marked {
		d.add(begins+d.within(-5*time.Second, 10*time.Second), func(t *trial) {
			t.says(control.Command{Kind: control.ColourAdded, Pot: pot})
		})
	}
}

func (d *draft) draught() {
	begins := d.begins()
	d.add(begins, func(t *trial) { t.does("draught", ""); t.bench.Draught(true) })
	d.add(begins+d.within(10*time.Second, 2*time.Minute), func(t *trial) { t.bench.Draught(false) })
}

// allOff is asked for, often with a press at about the same moment.
func (d *draft) allOff() {
	begins := d.begins()
	d.add(begins, func(t *trial) { t.says(control.Command{Kind: control.AllOff}) })
	if d.IntN(2) == 0 {
		d.press(begins+d.within(-1500*time.Millisecond, 1500*time.Millisecond), d.within(300*time.Millisecond, time.Second))
	}
}

// press holds the button for a span.
func (d *draft) press(at, held time.Duration) {
	d.add(at, func(t *trial) { t.press("pressed", held) })
}

// presses come at any moment, long or short, one or several.
func (d *draft) presses() {
	begins := d.begins()
	for range 1 + d.IntN(6) {
		d.press(begins, d.within(20*time.Millisecond, 6*time.Second))
		begins += d.within(500*time.Millisecond, 9*time.Second)
	}
}

// chatter is a contact that bounces: closed for up to 150 ms at a time.
func (d *draft) chatter() {
	begins := d.begins()
	lasts := begins + d.within(500*time.Millisecond, 30*time.Second)
	d.add(begins, func(t *trial) { t.does("button bounces", "for %.1f s", (lasts - begins).Seconds()) })
	for at := begins; at < lasts; {
		closed := d.within(10*time.Millisecond, 150*time.Millisecond)
		d.add(at, func(t *trial) { t.hold(closed) })
		at += closed + d.within(10*time.Millisecond, 400*time.Millisecond)
	}
}

// stuck is a button that somebody leans on.
func (d *draft) stuck() { d.press(d.begins(), d.within(5*time.Second, time.Minute)) }

// marks are those of a maker, right or not, quickly one after the other.
func (d *draft) marks() {
	begins := d.begins()
	for range 1 + d.IntN(40) {
		c := control.Command{Kind: control.CommandKind(1 + d.IntN(int(control.Shot))), Pot: d.pot(), Afar: d.IntN(2) == 0}
		d.add(begins, func(t *trial) { t.says(c) })
		begins += d.within(0, 500*time.Millisecond)
	}
}

// absurd marks are of kinds and pots that do not exist, with numbers that are none.
func (d *draft) absurd() {
	begins := d.begins()
	numbers := []float64{-5, 0, 1e300, 1000, 200, 183, 1}
	if !d.records { // no page can say these, and history has no place for them
		numbers = append(numbers, math.NaN(), math.Inf(1), math.Inf(-1))
	}
	for range 1 + d.IntN(40) {
		c := control.Command{Kind: control.CommandKind(d.IntN(40)), Pot: d.IntN(9) - 3, C: numbers[d.IntN(len(numbers))]}
		d.add(begins, func(t *trial) { t.says(c) })
		begins += d.within(0, 300*time.Millisecond)
	}
}

func (d *draft) setpoint() {
	c := control.Command{Kind: control.Setpoint, Pot: d.pot(), C: 150 + 32*d.Float64()}
	d.add(d.begins(), func(t *trial) { t.says(c) })
}

// holdHistory keeps the history's file locked for a while.
func (d *draft) holdHistory() {
	begins := d.begins()
	ends := min(begins+d.within(5*time.Second, 20*time.Second), d.lasts-5*time.Second)
	d.add(begins, func(t *trial) {
		t.does("history held", "")
		letGo := t.holdHistory()
		t.later(ends, func(*trial) { letGo() })
	})
}
