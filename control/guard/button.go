package guard

import (
	"cmp"
	"time"

	"meltwarden/control/reading"
)

// What makes a press of the enable button a deliberate one. Grades as in the
// table: C common practice, no source; E our estimate.
const (
	openBefore = time.Second            // E: a loose or worn contact chatters faster
	openAfter  = 600 * time.Millisecond // E: a hand that let go is away; a contact that bounces closes again
	pressMin   = 400 * time.Millisecond // E: three sightings; a knock or a burst of noise is over before
	pressMax   = 5 * time.Second        // C: held for longer it is stuck, leaned on or taped down
	// Of a button that marks something only, and is pressed often.
	quickBefore = 400 * time.Millisecond // E
	quickAfter  = 200 * time.Millisecond // E
	// LongPress is from how long on a press of a pedal that means two things is a long one,
	// ShortPress up to which it is a short one (E): a foot that wants one of them is well
	// past either, and what lies between counts as neither.
	LongPress  = 1500 * time.Millisecond
	ShortPress = LongPress - 100*time.Millisecond

	jitter = 50 * time.Millisecond // E: cycles come that evenly; three of them are 0.4 s apart, or a little less
)

// Button tells a deliberate press of a button of the bench from chatter, knocks and
// a contact that is stuck. The zero value is the enable button. A press is seen open
// for openBefore, then seen closed for pressMin to pressMax, and counts when it has been seen open again for
// openAfter: a reset takes effect by its actuator being let go (ISO 13849-1:2015,
// 5.2.2, from memory). Times run from the first to the last moment at which the device
// was asked and said so: one answer that is used for several cycles lasts no longer
// than one.
type Button struct {
	// Quick is true for one that marks something only: it need not rest before a press, nor
	// be left alone after it, for as long.
	Quick bool
	// Least and Most are for how long a press is held, where that is not pressMin and
	// pressMax.
	Least, Most time.Duration

	now         time.Duration // since the last cycle in which nothing could be seen
	seen        bool          // the state below was seen, in every cycle since
	closed      bool
	from, until time.Duration // when the contact was first and last seen as it is
	armed       bool          // it was open for long enough before it closed
	owed        bool          // it was then held as a press is, and let go
}

// fresh is the button with nothing seen.
func (b *Button) fresh() Button { return Button{Quick: b.Quick, Least: b.Least, Most: b.Most} }

// held reports whether a press that lasted so long is one.
func (b *Button) held(lasted time.Duration) bool {
	return lasted >= cmp.Or(b.Least, pressMin)-jitter && lasted <= cmp.Or(b.Most, pressMax)
}

// void makes nothing of a press that is under way: whatever it was meant for, it was not
// what has come since.
func (b *Button) void() { b.armed, b.owed = false, false }

// Released takes in one cycle's contact and reports whether a press counts now. A
// contact that is not known, or a missed cycle, voids the press: what nobody saw may
// have been two knocks.
func (b *Button) Released(c reading.Contact, elapsed time.Duration, missed bool) bool {
	if missed || !c.Known(MaxAge) {
		*b = b.fresh()
		return false
	}
	b.now += max(elapsed, 0)
	at := b.now - c.Age
	if b.seen && b.closed == c.Closed {
		b.until = at
		counts := b.owed && b.until-b.from >= b.after()-jitter
		b.owed = b.owed && !counts
		return counts
	}
	lasted := b.until - b.from
	owed := b.seen && b.closed && b.armed && b.held(lasted)
	armed := b.seen && !b.closed && lasted >= b.before()-jitter
	now := b.now
	*b = b.fresh()
	b.now, b.seen, b.closed, b.from, b.until, b.armed, b.owed = now, true, c.Closed, at, at, armed, owed
	return false
}

// before is for how long it is seen open before a press, after for how long it is left
// alone then.
func (b *Button) before() time.Duration {
	if b.Quick {
		return quickBefore
	}
	return openBefore
}

func (b *Button) after() time.Duration {
	if b.Quick {
		return quickAfter
	}
	return openAfter
}
