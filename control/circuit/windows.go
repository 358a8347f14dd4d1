package circuit

import (
	"math"
	"time"
)

// Grades: E estimate by calculation, judged on simulated pots.
const (
	// swing of a window, in seconds of full power, is how far what was given may be
	// from what was asked for, either way, before the heater is switched (E). One on
	// and off then take a window below a duty of 9 %, and a third of it at half
	// power, where a whole one would move a plate by tens of degrees.
	swing = 1.0 / 25
	// least of a window is the shortest on and off where none is said, but for an off that
	// the loop, the guard or the circuit wants (E): a second with the 20 s of a mechanical relay,
	// beside which its bounce and its 10 to 20 ms of drop-out are small.
	least = 1.0 / 20
	// turn of a window, and leastTurnS at the least, is how long a heater keeps its place
	// while another waits (E): every change costs a tick in which neither is on.
	turn       = 1.0 / 2
	leastTurnS = 4.0
	// patienceS is how much later than a turn a heater may become before the circuit
	// counts as too small: a relay's shortest time makes it late as well (E).
	patienceS = 1.0
	// nearly is what adding up duties may leave, in seconds and in parts of full power.
	nearly = 1e-9
)

// Windows turns duties into what heaters are told now, in whole ticks: those that
// may draw all of their power at once are switched such that together they never
// overload the circuit. For each of them it keeps the balance of what was asked for
// and what was given, and switches around zero of it: a duty that changes counts at
// once, and not from the next window on.
type Windows struct {
	heaters []Heater
	states  []state
}

// state is what is remembered of one heater. Times are in seconds.
type state struct {
	owedS      float64 // of full power; below zero it was given ahead
	duty, told float64 // of the last tick
	meanDuty   float64 // over about a window
	on, wants  bool
	sinceS     float64 // since it went on or off
}

// NewWindows returns the windows of heaters that are off.
func NewWindows(heaters []Heater) *Windows {
	w := &Windows{heaters: heaters, states: make([]state, len(heaters))}
	for i := range w.states {
		w.states[i].sinceS = math.Inf(1)
	}
	return w
}

// Tick writes to told what each heater is told until the next tick, 0 to 1, so that
// all of them draw at most roomW at any instant. duty is what they are to get in the
// mean, of that which Divide left them; it is lowered to what they do get. Zero, and
// what is no duty, is off at once. elapsed is the time since the last tick. Told
// must be called after it.
func (w *Windows) Tick(duty, told []float64, roomW float64, elapsed time.Duration) {
	dt := min(max(elapsed, 0), longest).Seconds()
	smoothW := 0.0
	for i := range w.heaters {
		if h := &w.heaters[i]; h.whole() {
			duty[i] = sound(duty[i])
			if w.states[i].book(h, duty[i], dt); w.states[i].rests(h) {
				duty[i] = 0
			}
		} else {
			smoothW += duty[i] * h.RatedW
		}
	}
	crowded := w.crowded(duty, roomW-smoothW)
	for i := range w.heaters {
		if h := &w.heaters[i]; h.whole() {
			w.states[i].wish(h, duty[i], crowded)
		}
	}
	if w.place(roomW) {
		w.giveUp(duty, dt)
	}
	w.tell(duty, told, crowded)
	w.fitSmooth(duty, told, smoothW, max(roomW-w.drawnBesideW(-1), 0))
}

// sound is a duty, or zero in place of what is none.
func sound(duty float64) float64 {
	if !(duty > 0 && duty <= 1+nearly) {
		return 0
	}
	return min(duty, 1)
}

// Told tells what became of Tick's answer: what the heaters get in the mean, and
// what they are really told.
func (w *Windows) Told(duty, told []float64) {
	for i := range w.states {
		s := &w.states[i]
		s.duty, s.told = duty[i], told[i]
		if told[i] <= 0 {
			s.put(false)
		}
	}
}

// rests reports whether the heater has to stay off in this tick because its file says so. It
// gets nothing then, nor is it owed anything: so long an off moves the plate that the loop
// asks for all and for nothing in turn, and what it asks for is no mean of anything.
func (s *state) rests(h *Heater) bool {
	return h.LeastOff > 0 && !s.on && s.sinceS < h.leastS(false)
}

// book enters what was asked for and given since the last tick. While nothing is
// asked for, the balance is forgotten.
func (s *state) book(h *Heater, duty, dt float64) {
	part := min(dt/h.windowS(), 1)
	s.sinceS += dt
	s.owedS += (s.duty - s.told) * dt
	if duty <= 0 {
		s.owedS -= s.owedS * part
	}
	s.meanDuty += (duty - s.meanDuty) * part
}

// wish decides whether the heater is to be on, if there is room. A Hidden one that
// has not to take turns is on for as long as it is told anything.
func (s *state) wish(h *Heater, duty float64, crowded bool) {
	swingS := h.windowS() * min(swing, s.meanDuty*(1-s.meanDuty)/2)
	early := s.sinceS < h.leastS(s.on)
	switch {
	case !(duty > 0):
		s.wants = false
	case h.Output == Hidden && !crowded:
		s.wants = true
	case s.on:
		s.wants = early || s.owedS > -swingS-nearly
	default:
		s.wants = !early && s.owedS >= swingS-nearly
	}
}

// turnS is how long a heater keeps its place, in seconds.
func (h *Heater) turnS() float64 { return max(turn*h.windowS(), leastTurnS) }

func (s *state) put(on bool) {
	if s.on != on {
		s.on, s.sinceS = on, 0
	}
}

// lateS is for how long the heater has waited for what it is owed, in seconds.
func (s *state) lateS() float64 {
	if s.meanDuty <= 0 {
		return 0
	}
	return min(s.owedS/s.meanDuty, math.MaxFloat64) // of hardly any duty it is no number
}

// draws reports whether the heater may draw power in this tick. One that was told off
// just now counts for a tick more: break before make.
func (w *Windows) draws(i int) bool {
	s, h := &w.states[i], &w.heaters[i]
	return h.whole() && (s.on || s.sinceS <= h.lingersS())
}

// drawnBesideW is what may be drawn in this tick, in watts, without heater i; all of it
// for -1.
func (w *Windows) drawnBesideW(i int) float64 {
	watts := 0.0
	for j := range w.heaters {
		if j != i && w.draws(j) {
			watts += w.heaters[j].RatedW
		}
	}
	return watts
}

// onW is what is drawn by those that are on, in watts, without those just told off.
func (w *Windows) onW() float64 {
	watts := 0.0
	for i := range w.heaters {
		if w.states[i].on {
			watts += w.heaters[i].RatedW
		}
	}
	return watts
}

// crowded reports whether not all that are asked for could be on together.
func (w *Windows) crowded(duty []float64, roomW float64) bool {
	for i := range w.heaters {
		if h := &w.heaters[i]; h.whole() && (duty[i] > 0 || w.draws(i)) {
			roomW -= h.RatedW
		}
	}
	return roomW < 0
}

// place switches heaters off, and then on where there is room, the latest first. It
// reports whether one has to wait: for the first that does, others make room by the
// next tick, and none goes on that could not be on together with it.
func (w *Windows) place(roomW float64) (waits bool) {
	for i := range w.states {
		if s := &w.states[i]; !s.wants {
			s.put(false)
		}
	}
	for w.onW() > roomW {
		w.states[w.leastLate(false, math.Inf(1))].put(false)
		waits = true
	}
	keptW := 0.0
	for i := w.next(-1); i >= 0; i = w.next(i) {
		if ratedW := w.heaters[i].RatedW; ratedW+max(w.drawnBesideW(i), keptW) <= roomW {
			w.states[i].put(true)
		} else if !waits {
			w.makeRoom(i, roomW)
			waits, keptW = true, ratedW
		}
	}
	return waits
}

// makeRoom switches off those that are less late than heater i and have had their
// turn, until it will fit.
func (w *Windows) makeRoom(i int, roomW float64) {
	for w.onW()+w.heaters[i].RatedW > roomW {
		j := w.leastLate(true, w.states[i].lateS())
		if j < 0 {
			return
		}
		w.states[j].put(false)
	}
}

// next returns the heater that wants to go on and is the latest after another one,
// the latest of all for -1; -1 when there is none. Of equally late ones the first
// comes first.
func (w *Windows) next(after int) int {
	found := -1
	for i := range w.states {
		if s := &w.states[i]; s.on || !s.wants || after >= 0 && !w.before(after, i) {
			continue
		}
		if found < 0 || w.before(i, found) {
			found = i
		}
	}
	return found
}

// before reports whether heater i comes before j.
func (w *Windows) before(i, j int) bool {
	a, b := w.states[i].lateS(), w.states[j].lateS()
	return a > b || a == b && i < j
}

// leastLate returns the heater that is on and the least late of those below a lateness,
// -1 when there is none; where served is true, of those only that have had their turn.
func (w *Windows) leastLate(served bool, belowS float64) int {
	found := -1
	for i := range w.states {
		s := &w.states[i]
		if !s.on || served && s.sinceS < w.heaters[i].turnS() || s.lateS() >= belowS {
			continue
		}
		if found < 0 || w.before(found, i) {
			found = i
		}
	}
	return found
}

// giveUp lowers the duties by what the circuit can not give of what is owed, for all
// heaters in the same proportion, so that none of them comes with much of it later,
// and their order stays.
func (w *Windows) giveUp(duty []float64, dt float64) {
	keep := 1.0
	for i := range w.states {
		if late := w.states[i].lateS(); late > 0 {
			keep = min(keep, (w.heaters[i].turnS()+patienceS)/late)
		}
	}
	if keep >= 1 || dt <= 0 {
		return
	}
	for i := range w.states {
		if s := &w.states[i]; s.owedS > 0 {
			duty[i] = max(duty[i]-s.owedS*(1-keep)/dt, 0)
		}
	}
}

// tell writes what the heaters are told that may draw all of their power.
func (w *Windows) tell(duty, told []float64, crowded bool) {
	for i := range w.heaters {
		h, s := &w.heaters[i], &w.states[i]
		switch {
		case !h.whole():
		case !s.on:
			told[i] = 0
		case h.Output == Hidden && !crowded:
			told[i] = duty[i]
		default:
			told[i] = 1
		}
	}
}

// fitSmooth tells the smooth heaters their duties, as far as the others leave room.
func (w *Windows) fitSmooth(duty, told []float64, wantedW, leftW float64) {
	for i := range w.heaters {
		if w.heaters[i].whole() {
			continue
		}
		if wantedW > leftW {
			duty[i] = math.Floor(duty[i]*leftW/wantedW*steps) / steps
		}
		told[i] = duty[i]
	}
}
