package devices

import (
	"slices"

	"meltwarden/devices/modbus"
)

// What a line says of the memory of its devices. One that forgot stays so until
// somebody was told, and no longer wants heat.
const (
	intact uint32 = iota
	forgot
	told
)

// allowed returns new outputs, without heat while a device has forgotten what it was
// told before: what was decided meanwhile must not switch it on again.
func (l *line) allowed(o *outputs) *outputs {
	if l.broken.Load() == intact || l.allOff(o) && l.broken.CompareAndSwap(told, intact) {
		return o
	}
	return o.cold()
}

// readBack has a device say what it holds of what it was told. Until it has, it is
// not told to heat.
func (l *line) readBack(d *device) {
	r, now := d.memory.request(), l.clk.Now()
	if !l.mayAsk(d, r, now) {
		if free, ok := l.client.Unbarred(&d.Device, r); !ok || !l.mayAsk(d, free, now) || !l.answers(d, free) {
			l.leave(d)
		}
		return
	}
	data, err := l.exchange(d, r)
	if !d.memory.take(data, err) {
		l.broken.Store(forgot)
		l.setOutputs(l.live.cold(), l.renewAt)
		return
	}
	switch {
	case d.memory.excused:
		l.noteMute(d.Name)
	case err != nil:
		l.leave(d)
	}
}

// answers reports whether a device answers a request, be it with a refusal.
func (l *line) answers(d *device, r modbus.Request) bool {
	_, err := l.exchange(d, r)
	outcome := modbus.OutcomeOf(err)
	return outcome == modbus.OK || outcome == modbus.Refused
}

// leave gives up to have a device heat before the next outputs.
func (l *line) leave(d *device) {
	for _, w := range l.writes {
		if w.device == d && w.heats(l.live) {
			w.pending = false
		}
	}
}

// noteMute publishes that a device can not be read back.
func (l *line) noteMute(name string) {
	if !slices.Contains(l.status.Load().Mute, name) {
		l.change(func(s *LineStatus) { s.Mute = append(slices.Clone(s.Mute), name) })
	}
}

// nextUnread returns a device with nothing to be told that was not asked yet what it
// holds: whether it can be read back is to be known before anything is heated.
func (l *line) nextUnread() *device {
	for _, d := range l.devices {
		if m := &d.memory; len(m.held) > 0 && !m.asked && d.silent == 0 && l.mayAsk(d, m.request(), l.clk.Now()) {
			return d
		}
	}
	return nil
}
