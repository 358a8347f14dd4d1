package guess

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"meltwarden/devices/registers"
)

// Result is what was recognised, and what was not.
type Result struct {
	// Layout is the one that fits best, nil where none does.
	Layout *Layout `json:"layout"`
	// Rivals fit as well: nothing that was seen tells them from Layout.
	Rivals []Rival `json:"rivals"`
	// Probes are those that were held, in that order.
	Probes []Probe `json:"probes"`
	// Notes are what a maker has to know of it, and what was not told.
	Notes []string `json:"notes"`
}

// Rival is a layout that fits as well, and where the probes would be in it.
type Rival struct {
	Layout    Layout    `json:"layout"`
	Addresses []*uint16 `json:"addresses"` // by probe; null where it tells none
	Differs   string    `json:"differs"`
}

// Probe is one that was held in a hand.
type Probe struct {
	Name string `json:"name,omitempty"`
	// Told says that its registers are known; Why, otherwise, what speaks against it.
	Told    bool              `json:"told"`
	Why     string            `json:"why,omitempty"`
	Channel registers.Channel `json:"-"`
	Address uint16            `json:"address"`
	// RestC is what it read at rest, HandC the furthest from that in the hand, °C.
	RestC float64 `json:"rest_c"`
	HandC float64 `json:"hand_c"`
	// Reversed says that it fell in the hand: its two leads are swapped.
	Reversed bool `json:"reversed"`
}

// hypothesis is that a device has one layout.
type hypothesis struct {
	layout  Layout
	resting int            // places that could be a temperature in it
	movers  [][]*candidate // those that moved, by warming
	told    int            // warmings in which one moved, and in no other
}

// Result says what was recognised so far.
func (w *Watch) Result() Result {
	all := w.hypotheses()
	r := Result{Rivals: []Rival{}}
	if len(all) == 0 {
		r.Probes = w.untold("no register moved as a probe in a hand does")
		r.Notes = []string{"Nothing was recognised. Read other addresses or the other function. A device that reports millivolts can not be recognised so; neither can a probe in a room that is nearly as warm as a hand."}
		return r
	}
	best := all[0]
	r.Layout = &best.layout
	r.Probes = best.probes(w)
	for _, h := range all[1:] {
		if h.told == best.told && judge(best, h) == 0 {
			r.Rivals = append(r.Rivals, Rival{h.layout, h.addresses(), differs(best, h)})
		}
	}
	r.Notes = best.notes(w)
	return r
}

// hypotheses are those by which at least one probe is told, the best first: what tells more
// probes, and of equal ones what the numbers themselves speak for.
func (w *Watch) hypotheses() (all []*hypothesis) {
	for _, c := range w.candidates {
		i := slices.IndexFunc(all, func(h *hypothesis) bool { return h.layout == c.layout })
		if i < 0 {
			i = len(all)
			all = append(all, &hypothesis{layout: c.layout, movers: make([][]*candidate, len(w.warmings))})
		}
		if !c.sound() {
			continue
		}
		h := all[i]
		h.resting++
		for n, of := range w.warmings {
			if c.moves(of.from, w.end(of)) != still {
				h.movers[n] = append(h.movers[n], c)
			}
		}
	}
	for _, h := range all {
		for n := range h.movers {
			if h.one(n) != nil {
				h.told++
			}
		}
	}
	all = slices.DeleteFunc(all, func(h *hypothesis) bool { return h.told == 0 })
	slices.SortStableFunc(all, func(a, b *hypothesis) int {
		return cmp.Or(b.told-a.told, b.resting-a.resting, safer(b)-safer(a))
	})
	for i := range all { // what the numbers speak for comes before what merely fits
		if i > 0 && all[i].told == all[0].told && judge(all[i], all[0]) > 0 {
			all[0], all[i] = all[i], all[0]
		}
	}
	return all
}

// safer prefers, of what reads the same, the type by which an open probe is seen at once: a
// number of 32 bits that stands for no measurement may be an ordinary one in its lower half.
func safer(h *hypothesis) int {
	if h.layout.at(0).Registers() == 1 {
		return 0
	}
	return 1
}

// one is the only candidate that moved in a warming, if it did in no other.
func (h *hypothesis) one(warming int) *candidate {
	if len(h.movers[warming]) != 1 {
		return nil
	}
	c := h.movers[warming][0]
	for n, others := range h.movers {
		if n != warming && slices.Contains(others, c) {
			return nil
		}
	}
	return c
}

// addresses are those of the probes, nil where it tells none.
func (h *hypothesis) addresses() []*uint16 {
	at := make([]*uint16, len(h.movers))
	for n := range h.movers {
		if c := h.one(n); c != nil {
			at[n] = &c.address
		}
	}
	return at
}

// What is needed to prefer one of two (estimates, without a source): a chance of one in a
// thousand that halves which do not belong together look as if they did.
const (
	beyondChance      = 3.3
	mostlyRound, rare = 0.98, 0.8
)

// judge says which of two the numbers themselves speak for: 1 for a, -1 for b, 0 where they
// do not tell.
func judge(a, b *hypothesis) int {
	if a.layout.Type != registers.Float32 || b.layout.Type != registers.Float32 || a.layout.Words == b.layout.Words {
		return 0
	}
	inA, inB := a.evidence(), b.evidence()
	switch {
	case inA.rounder(inB), inA.paired > beyondChance && inA.paired-inB.paired > beyondChance:
		return 1
	case inB.rounder(inA), inB.paired > beyondChance && inB.paired-inA.paired > beyondChance:
		return -1
	}
	return 0
}

// evidence is what the numbers of the told probes say of the layout: how well their halves
// go together, in standard deviations, how many of those of the probe with fewest are round
// in tenths and hundredths, and whether their lower halves say anything at all.
type evidence struct {
	paired float64
	round  [2]float64
	varied bool
}

func (h *hypothesis) evidence() evidence {
	e := evidence{round: [2]float64{1, 1}, varied: true}
	told := float64(h.told)
	for n := range h.movers {
		if c := h.one(n); c != nil {
			e.paired += c.pairing() / math.Sqrt(told)
			e.round[0], e.round[1] = min(e.round[0], c.round(10)), min(e.round[1], c.round(100))
			e.varied = e.varied && c.varied()
		}
	}
	return e
}

// rounder reports whether nearly all of its numbers are round and few of the other's are.
func (e evidence) rounder(o evidence) bool {
	for i := range e.round {
		if e.varied && e.round[i] >= mostlyRound && o.round[i] <= rare {
			return true
		}
	}
	return false
}

// probes are those that were held, as the hypothesis has it.
func (h *hypothesis) probes(w *Watch) []Probe {
	var all []Probe
	for n, of := range w.warmings {
		p := Probe{Name: of.probe}
		switch c := h.one(n); {
		case c != nil:
			p.Told, p.Address, p.Channel = true, c.address, h.layout.at(c.address)
			p.Channel.Sentinels = c.sentinels()
			p.RestC, p.HandC = c.restC, c.extreme(of.from, w.end(of))
			p.Reversed = c.moves(of.from, w.end(of)) == falls
		case len(h.movers[n]) == 0:
			p.Why = "nothing moved as a probe in a hand does: is it open, or not on the registers that are read?"
		case len(h.movers[n]) > 1:
			p.Why = fmt.Sprintf("more than one moved, at addresses %s: hold one alone", list(h.movers[n]))
		default:
			p.Why = fmt.Sprintf("address %d moved for another probe too: hold each once", h.movers[n][0].address)
		}
		all = append(all, p)
	}
	return all
}

func list(movers []*candidate) (text string) {
	for i, c := range movers {
		if i > 0 {
			text += ", "
		}
		text += fmt.Sprint(c.address)
	}
	return text
}

func (w *Watch) untold(why string) (all []Probe) {
	for _, of := range w.warmings {
		all = append(all, Probe{Name: of.probe, Why: why})
	}
	return all
}
