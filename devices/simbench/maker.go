package simbench

import (
	"math/rand/v2"
	"time"
)

// Marks is where the simulated maker ticks what a maker would tick. Its methods
// are called from whoever asked the bench for something, without the bench held.
type Marks interface {
	// Stirred says that a pot, by its place in Config.Pots, was just stirred.
	Stirred(pot int)
	// Clear says that the maker looked at the melt of a pot and found it clear.
	Clear(pot int)
}

// mark is one thing the maker said.
type mark struct {
	pot   int
	clear bool
}

func (m mark) tell(to Marks) {
	if m.clear {
		to.Clear(m.pot)
	} else {
		to.Stirred(m.pot)
	}
}

// ReportTo sets who hears the maker from now on; nil is nobody.
func (b *Bench) ReportTo(m Marks) { b.do(func() { b.marks = m }) }

// The maker's habits: common practice, no source.
const (
	firstPress   = 3 * time.Second // after the line came alive, and up to twice that
	pressAgain   = 8 * time.Second
	stirEvery    = 45 * time.Second // and up to stirEvery + stirJitter
	stirJitter   = 15 * time.Second
	betweenStirs = 12 * time.Second // two hands: from one pot to the next, at first
)

// maker is a person at the bench: presses the enable button once the line is
// alive, and again until the contactor has answered once, then never more, since
// a trip is no reason to press on; stirs each pot now and then; and says of a
// clear melt, while stirring, that it is clear.
type maker struct {
	random    *rand.Rand
	alive     bool // the line
	pressAt   time.Duration
	enabled   bool // the contactor has closed once
	stirAt    []time.Duration
	saidClear []bool
}

func newMaker(pots int, random *rand.Rand) *maker {
	return &maker{random: random, stirAt: make([]time.Duration, pots), saidClear: make([]bool, pots)}
}

// hear tells the maker that somebody talks on the line.
func (m *maker) hear(now time.Duration) {
	if m.alive {
		return
	}
	m.alive = true
	m.pressAt = now + firstPress + m.some(firstPress)
	for i := range m.stirAt {
		m.stirAt[i] = m.pressAt + time.Duration(i+1)*betweenStirs + m.some(stirJitter)
	}
}

// step does what is due and returns what the maker says.
func (m *maker) step(b *Bench) []mark {
	if !m.alive {
		return nil
	}
	m.enabled = m.enabled || b.power.contactor
	if !m.enabled && b.at >= m.pressAt {
		b.contacts.enableUntil = b.at + pressFor
		m.pressAt = b.at + pressAgain
	}
	var said []mark
	for i, p := range b.pots {
		if b.at < m.stirAt[i] || p.heat.Lifted() {
			continue
		}
		p.heat.Stir()
		m.stirAt[i] = b.at + stirEvery + m.some(stirJitter)
		said = append(said, mark{pot: i})
		if p.heat.Clear() && !m.saidClear[i] {
			m.saidClear[i] = true
			said = append(said, mark{pot: i, clear: true})
		}
	}
	return said
}

func (m *maker) some(most time.Duration) time.Duration {
	return time.Duration(m.random.Float64() * float64(most))
}
