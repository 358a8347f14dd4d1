package control

import (
	"time"

	"meltwarden/control/reading"
)

// What was marked by mistake is taken back by a TakeBack, for TakeBackFor. That never
// raises heat and clears no trip:
//
//   - Stir: the pot was stirred when it was stirred before, so it may be ready no more.
//   - TickClear, ArrivedCured: the pot is not cured any more, unless it is by the other
//     one. It is held at its set-point all the same, and not back at its cure temperature,
//     until somebody presses the bench's button: the mark had let it cool, and taking it
//     back from anywhere must not heat.
//   - ColourAdded: a stir before it counts again. The time in band counts anew all the same,
//     and a melt that is read by hand wants its reading.
//   - Return: the pot is off its plate as before, and a press does not heat it. Once one
//     has, mark the lift again.
//   - Draw: nothing waits in the injector, or what did before.
//
// What the loop made of a draw or an addition stays: another melt would ask for other
// heat. It sees within minutes how the pot answers.
//
// The others are not taken back. A lift takes heat away, and so does ALL OFF: a press at
// the bench gives it again. A set-point or a reading by hand gives heat: type the right
// one. A trial ends by any other mark. A shot changes only what is written down, and is
// taken back there.

// TakeBackFor is for how long a mark can be taken back (E: as long as a draw waits).
const TakeBackFor = DrawnFor

// MayTakeBack lists the marks that can be taken back, in the order of PotFrame.Said.
func MayTakeBack() [6]CommandKind {
	return [6]CommandKind{Stir, TickClear, ArrivedCured, ColourAdded, Return, Draw}
}

// Said is the last mark of one kind for a pot.
type Said struct {
	// Can is true while it can be taken back; Ago is when it was made.
	Can bool
	Ago time.Duration
	// TakenBack is true in the cycle in which it was.
	TakenBack bool
}

// TookBack reports whether the mark of pot i was taken back in this cycle.
func (f *Frame) TookBack(i int, k CommandKind) bool {
	if i < 0 || i >= len(f.Pots) {
		return false
	}
	for n, kind := range MayTakeBack() {
		if kind == k {
			return f.Pots[i].Said[n].TakenBack
		}
	}
	return false
}

// said are the last marks of a pot, and what was so before them.
type said struct {
	last   [6]Said
	stir   moment // the stir before the last one
	mixed  moment // the stir before the last addition
	colour moment // the addition before it
	drawn  Drawn  // what waited at the last draw
	// notAdded is true where the last addition was taken back.
	notAdded bool
}

// moment is whether something was marked, and how long ago.
type moment struct {
	ever bool
	ago  time.Duration
}

// place is the one of a mark, nil for one that is not taken back.
func (s *said) place(k CommandKind) *Said {
	for i, kind := range MayTakeBack() {
		if kind == k {
			return &s.last[i]
		}
	}
	return nil
}

// remember begins the time in which a mark can be taken back.
func (s *said) remember(k CommandKind) { *s.place(k) = Said{Can: true} }

// forget ends it: what the mark changed is over.
func (s *said) forget(k CommandKind) { *s.place(k) = Said{} }

// passes lets time go by.
func (s *said) passes(elapsed time.Duration) {
	for i := range s.last {
		l := &s.last[i]
		if l.Can {
			l.Ago += elapsed
		}
		if l.Ago > TakeBackFor {
			*l = Said{}
		}
	}
	for _, m := range [...]*moment{&s.stir, &s.mixed, &s.colour} {
		m.ago += elapsed
	}
	s.drawn.passes(reading.Temperature{}, elapsed)
}

// settled ends the cycle in which something was taken back.
func (s *said) settled() {
	for i := range s.last {
		s.last[i].TakenBack = false
	}
}

// takeBack undoes the last mark of a kind, where it still can be.
func (p *pot) takeBack(k CommandKind) {
	l := p.said.place(k)
	if l == nil || !l.Can {
		return
	}
	switch k {
	case Stir:
		p.stirred, p.sinceStir = p.said.stir.ever, p.said.stir.ago
	case TickClear:
		p.clear = false
		p.uncure()
	case ArrivedCured:
		p.arrived = false
		p.uncure()
	case ColourAdded:
		p.notColoured()
	case Return:
		p.returned = false
	case Draw:
		p.drawn = p.said.drawn
	}
	*l = Said{TakenBack: true}
}

// uncure makes a pot that nobody calls cured any more one that is not, and keeps it from
// being heated to its cure temperature until the next press.
func (p *pot) uncure() {
	if p.cured && !p.arrived && !(p.clear && p.dwelled >= p.set.Dwell) {
		p.cured, p.uncured = false, true
	}
}

// notColoured takes an addition back. A stir since then counts.
func (p *pot) notColoured() {
	p.said.notAdded = true
	if !p.stirred {
		p.stirred, p.sinceStir = p.said.mixed.ever, p.said.mixed.ago
	}
}

// lastColour is the last addition that is in the melt.
func (p *pot) lastColour() moment {
	if p.said.notAdded {
		return p.said.colour
	}
	return moment{p.coloured, p.sinceColour}
}

// colourAgo is how long ago that was; negative where nothing was added.
func (p *pot) colourAgo() time.Duration {
	if last := p.lastColour(); last.ever {
		return last.ago
	}
	return -1
}
