package daemon

import (
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/registers"
)

// What makes a press of a button that marks something a deliberate one (E: our estimate; a
// cycle is a fifth of a second). Longer than the longest it is stuck or leaned on.
const (
	restsBefore = 400 * time.Millisecond
	heldLeast   = 400 * time.Millisecond
	heldMost    = 5 * time.Second
	freeAfter   = 200 * time.Millisecond
)

// press tells a press of a button from chatter, a knock and a contact that is stuck: seen
// open, then closed, then open again, each for a while. It counts once it is let go.
type press struct {
	closed bool
	lasted time.Duration // as it is; zero in the cycle in which it became so
	seen   bool
	armed  bool // it was open for long enough before it closed
	owed   bool // it was then held as a press is, and let go
}

// released takes in one cycle's contact and reports whether a press counts now. What nobody
// could see voids it.
func (p *press) released(c reading.Contact, elapsed time.Duration) bool {
	if !c.Known(guard.MaxAge) || elapsed > guard.MaxAge {
		*p = press{}
		return false
	}
	if !p.seen || p.closed != c.Closed {
		*p = press{
			seen: true, closed: c.Closed,
			armed: p.seen && !p.closed && p.lasted >= restsBefore,
			owed:  p.closed && p.armed && p.lasted >= heldLeast && p.lasted <= heldMost,
		}
		return false
	}
	p.lasted += elapsed
	counts := p.owed && p.lasted >= freeAfter
	p.owed = p.owed && !counts
	return counts
}

// marksOf are what the buttons of a bench mark. Silence is the pedal's, and control's.
var marksOf = map[registers.Role]control.CommandKind{
	registers.StirButton: control.Stir, registers.DrawButton: control.Draw, registers.ShotButton: control.Shot,
}

// buttons turns presses into marks. They are made at the bench, so they tell of a person
// there; no button of these enables heat.
type buttons struct {
	presses []press // in the order of the snapshot's buttons, which stays the same
	now     []devices.Button
}

// see takes in a cycle's buttons and hands each mark to put. One that finds the queue full
// is lost, like one of the page, which is told.
func (b *buttons) see(s devices.Snapshot, now, elapsed time.Duration, put func(history.Mark) error) {
	b.now = s.AppendButtons(b.now[:0], now)
	if b.presses == nil {
		b.presses = make([]press, len(b.now))
	}
	for i, button := range b.now {
		if b.presses[i].released(button.Contact, elapsed) {
			_ = put(history.Mark{Command: control.Command{Kind: marksOf[button.Role], Pot: button.Pot}})
		}
	}
}
