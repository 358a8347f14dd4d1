package daemon

import (
	"slices"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/registers"
)

// marksOf are what the buttons of a bench mark. A pedal is one where a short press of it marks
// a shot; silence, by a long one, is control's.
var marksOf = map[registers.Role]control.CommandKind{
	registers.StirButton: control.Stir, registers.DrawButton: control.Draw, registers.ShotButton: control.Shot,
	registers.Pedal: control.Shot,
}

// buttons turns presses into marks. They are made at the bench, so they tell of a person
// there; no button of these enables heat.
type buttons struct {
	presses []guard.Button // in the order of the snapshot's buttons, which stays the same
	now     []devices.Button
}

// see takes in a cycle's buttons and hands each mark to put. One that finds the queue full
// is lost, like one of the page, which is told.
func (b *buttons) see(s devices.Snapshot, now, elapsed time.Duration, put func(history.Mark) error) {
	b.now = s.AppendButtons(b.now[:0], now)
	if b.presses == nil {
		b.presses = slices.Repeat([]guard.Button{{Quick: true}}, len(b.now))
		for i, button := range b.now {
			if button.Role == registers.Pedal {
				b.presses[i].Most = guard.ShortPress
			}
		}
	}
	for i, button := range b.now {
		if b.presses[i].Released(button.Contact, elapsed, elapsed > guard.MaxAge) {
			_ = put(history.Mark{Command: control.Command{Kind: marksOf[button.Role], Pot: button.Pot}})
		}
	}
}
