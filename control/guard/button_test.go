package guard

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/control/reading"
)

// sighting is what one cycle shows of the button.
type sighting struct {
	c       reading.Contact
	elapsed time.Duration
	missed  bool
	latched bool // something has, just before
}

// pressEnds is the rule of a press, told over a whole record of sightings and
// without the guard's own code: in the last one the contact has just been seen open
// for 0.6 s; before that it was seen closed for 0.4 s to 5 s, and before that open for
// 1 s, each of these less the 50 ms by which cycles may be uneven. Nothing has latched
// since it was first seen closed.
func pressEnds(record []sighting) bool {
	const open, closed, unknown = 'o', 'c', '?'
	states, taken, now := make([]rune, len(record)), make([]time.Duration, len(record)), time.Duration(0)
	for i, s := range record {
		now += max(s.elapsed, 0)
		taken[i] = now - s.c.Age
		switch {
		case s.missed || s.c.Fault != reading.None || s.c.Age < 0 || s.c.Age > time.Second:
			states[i] = unknown
		case s.c.Closed:
			states[i] = closed
		default:
			states[i] = open
		}
	}
	end := len(states) - 1
	// span goes back from a cycle for as long as the contact is in a state.
	span := func(last int, state rune) (before int, lasted time.Duration) {
		first := last
		for first >= 0 && states[first] == state {
			first--
		}
		if first == last {
			return last, -1
		}
		return first, taken[last] - taken[first+1]
	}
	const quiet = 550 * time.Millisecond
	held, free := span(end, open)
	if free < quiet {
		return false
	}
	for i := held + 1; i < end; i++ {
		if taken[i]-taken[held+1] >= quiet {
			return false // it has counted before
		}
	}
	before, down := span(held, closed)
	_, up := span(before, open)
	for _, s := range record[before+2:] {
		if s.latched {
			return false
		}
	}
	return down >= 350*time.Millisecond && down <= 5*time.Second && up >= 950*time.Millisecond
}

// hand is what can befall a button: presses, and states that last for some cycles.
type hand struct {
	t    *rapid.T
	todo []reading.Contact // the next cycles
}

var fates = []reading.Contact{
	{Fault: reading.None}, {Fault: reading.None}, {Closed: true, Fault: reading.None}, {Closed: true, Fault: reading.None},
	{Closed: true, Fault: reading.Refused}, {Fault: reading.Missing},
	{Closed: true, Fault: reading.None, Age: MaxAge + 1}, {Fault: reading.None, Age: -1},
}

// next returns the contact of the next cycle.
func (h *hand) next() reading.Contact {
	if len(h.todo) == 0 {
		if rapid.Bool().Draw(h.t, "press") {
			h.plan(contact(false), 6, 8)
			h.plan(contact(true), 3, 26)
			h.plan(contact(false), 4, 6)
		} else {
			h.plan(rapid.SampledFrom(fates).Draw(h.t, "fate"), 1, 27)
		}
	}
	c := h.todo[0]
	h.todo = h.todo[1:]
	return c
}

// plan adds some cycles of a contact, few more often than many.
func (h *hand) plan(c reading.Contact, least, most int) {
	many := rapid.IntRange(least, most).Draw(h.t, "cycles")
	for range rapid.IntRange(least, many).Draw(h.t, "fewer") {
		h.todo = append(h.todo, c)
	}
}

// TestPress: "o" open, "c" closed, "?" unknown, "O" and "C" too old, "m" a missed
// cycle (closed), "n" the same (open), "d" the closed answer of the last cycle
// again; "^" marks the cycle in which a press counts.
func TestPress(t *testing.T) {
	open, held := strings.Repeat("o", 6), strings.Repeat("c", 26) // just 1 s and 5 s
	for name, c := range map[string]struct{ cycles, want string }{
		// ISO 13849-1:2015, 5.2.2 (from memory): a reset takes effect by letting go.
		"counts when it was let go":    {open + "cccoooo", "............^"},
		"and not while it is held":     {open + "ccccccc", "............."},
		"0.6 s open after it":          {open + "cccoooccccoooo", "...................."},
		"0.4 s closed is needed":       {open + "ccoooo", "............"},
		"5 s closed is the most":       {open + held + "oooo", strings.Repeat(".", 35) + "^"},
		"stuck":                        {open + held + "coooo", strings.Repeat(".", 37)},
		"1 s open is needed":           {"ooooocccoooooooo", "................"},
		"held since the start":         {"cccoooo", "......."},
		"twice":                        {open + "ccc" + open + "cccoooo", "............^........^"},
		"twice, too soon":              {open + "cccoooooccccoooo", "............^......."},
		"unknown before it":            {open + "?cccoooo", ".............."},
		"unknown while it is held":     {open + "cc?ccoooo", "..............."},
		"unknown as it is let go":      {open + "ccc?oooo", ".............."},
		"unknown after it":             {open + "ccco?oooo", "..............."},
		"too old before it":            {open + "Occcoooo", ".............."},
		"too old while it is held":     {open + "ccCccoooo", "..............."},
		"missed while it is held":      {open + "ccmccoooo", "..............."},
		"missed as it is let go":       {open + "cccnoooo", ".............."},
		"missed after it":              {open + "cccononooo", "................"},
		"missed while it is open":      {"oooonoocccoooo", ".............."},
		"one answer used again":        {open + "cdddoooo", ".............."},
		"after a void one, 1 s again":  {open + "cc?cco" + "ooooo" + "cccoooo", ".......................^"},
		"after a stuck one, 1 s again": {open + held + "cc" + open + "cccoooo", strings.Repeat(".", 46) + "^"},
	} {
		var b Button
		var got strings.Builder
		for i, cycle := range c.cycles {
			contact := reading.Contact{Closed: strings.ContainsRune("cCmd", cycle), Fault: reading.None}
			switch cycle {
			case '?':
				contact.Fault = reading.Missing
			case 'O', 'C':
				contact.Age = MaxAge + 1
			case 'd':
				contact.Age = time.Duration(i-strings.LastIndexByte(c.cycles[:i], 'c')) * period
			}
			mark := byte('.')
			if b.Released(contact, period, cycle == 'm' || cycle == 'n') {
				mark = '^'
			}
			got.WriteByte(mark)
		}
		want := c.want
		if n := len(c.cycles) - len(want); n > 0 { // what is left out at the end counts nothing
			want += strings.Repeat(".", n)
		}
		assert.Equal(t, want, got.String(), name)
	}
}

// TestPressIsTheRule: for any contact, at any ages and time steps, a press counts
// exactly where the plain rule says so.
func TestPressIsTheRule(t *testing.T) {
	presses := 0
	rapid.Check(t, func(t *rapid.T) {
		var b Button
		var record []sighting
		h := hand{t: t}
		for cycle := range rapid.IntRange(1, 150).Draw(t, "cycles") {
			c := h.next()
			if c.Age == 0 {
				c.Age = time.Duration(rapid.SampledFrom([]int{0, 10, 20, 130, 400}).Draw(t, "age")) * time.Millisecond
			}
			s := sighting{c: c, elapsed: period}
			if rapid.IntRange(0, 40).Draw(t, "odd") == 40 {
				s.elapsed = rapid.SampledFrom([]time.Duration{period - 1, period - jitter, period - jitter - 1, 3 * period, 3*period + 1, 0, -1}).Draw(t, "elapsed")
			}
			s.missed = cycle > 0 && (s.elapsed <= 0 || s.elapsed > 3*period)
			if s.latched = rapid.IntRange(0, 40).Draw(t, "latched") == 40; s.latched {
				b.void()
			}
			record = append(record, s)
			want := pressEnds(record)
			require.Equal(t, want, b.Released(s.c, s.elapsed, s.missed), "cycle %d", cycle)
			if want {
				presses++
			}
		}
	})
	fmt.Printf("%d presses counted\n", presses)
	assert.Positive(t, presses, "nobody ever pressed: this shows nothing")
}

// TestChatterNeverCounts: a contact that has begun to toggle every cycle, every
// second, third … up to every fifth, and one that does so at random.
func TestChatterNeverCounts(t *testing.T) {
	for every := 1; every <= 5; every++ {
		var b Button
		for cycle := range 3000 { // ten minutes
			require.False(t, b.Released(contact(cycle/every%2 == 1), period, false), "every %d cycles", every)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		var b Button
		closed := false
		for range 100 {
			for range rapid.IntRange(1, 5).Draw(t, "cycles") {
				require.False(t, b.Released(contact(closed), period, false))
			}
			closed = !closed
		}
	})
}

// TestChatterEnablesNothing: at a tripped bench with the cause gone. Only the
// first closing after a rest can look like a press, so that a slow chatter resets
// at most; one faster than a press does not even that.
func TestChatterEnablesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := enabled(limits)
		during(openEStop, (*rig).step)(r)
		slowest := rapid.IntRange(1, 5).Draw(t, "slowest")
		for range 50 {
			r.button(contact(true), time.Duration(rapid.IntRange(1, slowest).Draw(t, "closed"))*period)
			r.button(contact(false), time.Duration(rapid.IntRange(1, slowest).Draw(t, "open"))*period)
			require.NotEqual(t, Enabled, r.g.State())
			require.True(t, slowest > 2 || r.g.State() == Tripped)
		}
	})
}

// TestATripVoidsAPressUnderWay: the hand that let go before it, or that still holds the
// button, has not seen it. It tells of a person all the same.
func TestATripVoidsAPressUnderWay(t *testing.T) {
	openProbe := func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }
	pressing := cyclesFor(openBefore+period) + cyclesFor(pressMin+period)
	for what, c := range map[string]struct {
		cause func(*Sight)
		lasts time.Duration // until it latches
		code  Code
	}{"the bench": {openEStop, period, EStopOpen}, "a pot": {openProbe, unusableFor, MeltUnusable}} {
		for name, quiet := range map[string]int{"held": 0, "let go": 2} {
			r := enabled(limits)
			r.spoil = alone
			r.run(8 * time.Minute)
			latches := r.cycles + cyclesFor(c.lasts) + pressing + quiet + 1
			r.spoil = func(s *Sight) {
				if alone(s); r.cycles > latches-cyclesFor(c.lasts) && r.cycles <= latches {
					c.cause(s)
				}
			}
			r.run(time.Duration(cyclesFor(c.lasts)) * period)
			r.hold()
			r.button(contact(false), time.Duration(quiet)*period)
			r.button(contact(quiet == 0), period)
			require.True(t, r.latched(c.code), "%s, %s", what, name)
			r.run(5 * time.Second)
			assert.True(t, r.latched(c.code), "%s, %s", what, name)
			assert.Less(t, r.g.presence.alone, 10*time.Second, "somebody is there")
			r.press()
			assert.False(t, r.latched(c.code), "%s, %s: another press resets it", what, name)
		}
	}
}

// TestAllOffUndoesAPressUnderWay: whoever holds the button while somebody says "all
// off" does not enable heat by letting it go.
func TestAllOffUndoesAPressUnderWay(t *testing.T) {
	r := enabled(limits)
	r.hold()
	r.spoil = func(s *Sight) { s.AllOff, s.Enable = true, contact(true) }
	r.step()
	r.spoil = nil
	r.run(5 * time.Second)
	assert.Equal(t, Blocked, r.g.State())
	r.press()
	assert.Equal(t, Enabled, r.g.State(), "another press does")
}

// TestAQuickPress of a button that only marks: chatter, knocks, a button that is stuck or was not seen count
// nothing; a press counts once, after it was let go.
func TestAQuickPress(t *testing.T) {
	for name, c := range map[string]struct {
		seen string // a letter a cycle: o open, c closed, ? unknown
		want int
	}{
		"press":              {"oooocccoo", 1},
		"two presses":        {"oooocccoooocccoo", 2},
		"held for a while":   {"oooo" + strings.Repeat("c", 20) + "oo", 1},
		"stuck":              {"oooo" + strings.Repeat("c", 40) + "oooo", 0},
		"held at the start":  {"ccccoooo", 0},
		"a knock":            {"ooooccoooo", 0},
		"chatter":            {"oooococococococ", 0},
		"let go for a knock": {"oooocccoc", 0},
		"not seen meanwhile": {"ooooccc?oooo", 0},
		"not rested":         {"oocccoo", 0},
		"one long press":     {"ooooccccoooooooooo", 1},
	} {
		p := Button{Quick: true}
		counted := 0
		for i := range c.seen {
			contact := reading.Contact{Closed: c.seen[i] == 'c', Fault: reading.None}
			if c.seen[i] == '?' {
				contact.Fault = reading.Missing
			}
			if p.Released(contact, 200*time.Millisecond, false) {
				counted++
			}
		}
		assert.Equal(t, c.want, counted, name)
	}
}
