package simbench

import (
	"math"
	"time"

	"meltwarden/control"
	"meltwarden/control/reading"
)

// direct is how old a reading is that took no line (E: what one takes at 19200 baud).
const direct = 20 * time.Millisecond

// Report fills in what the modules report now, as a program would have it that had
// just asked over the line. With Apply it makes an evening pass in seconds; what a
// line does to readings, it leaves out.
func (b *Bench) Report(in *control.Input) {
	b.do(func() {
		in.Pots = append(in.Pots[:0], make([]control.PotReadings, len(b.pots))...)
		for i, p := range b.pots {
			in.Pots[i].Melt, in.Pots[i].Plate = p.melt.reading(), p.plate.reading()
			if k := p.controller; k != nil {
				in.Pots[i].Setpoint, in.Pots[i].Own = sound(k.setpointC()), k.probe.reading()
			}
		}
		in.Mould, in.Room = b.mould.reading(), b.room.reading()
		in.Contacts = control.Contacts{Link: contact(true)}
		k := &in.Contacts
		for i, to := range []*reading.Contact{&k.EStop, &k.CutOut, &k.Fan, &k.Pedal, &k.Enable} {
			*to = contact(b.contactTables().discretes[i])
		}
		if b.maker != nil {
			b.maker.hear(b.at)
		}
	})
}

func (c *channel) reading() reading.Temperature {
	t := reading.Temperature{C: float64(int16(c.raw)) / countsPerC, Age: direct, Fault: reading.None}
	switch {
	case c.status == statusOpen:
		t.Fault = reading.Open
	case c.status == statusGround:
		t.Fault = reading.Shorted
	case c.raw == noReading:
		t.Fault = reading.Sentinel
	}
	return t
}

func sound(c float64) reading.Temperature {
	return reading.Temperature{C: c, Age: direct, Fault: reading.None}
}

func contact(closed bool) reading.Contact {
	return reading.Contact{Closed: closed, Age: direct, Fault: reading.None}
}

// Apply tells the modules what a program would write.
func (b *Bench) Apply(o control.Outputs) {
	b.do(func() {
		for i, d := range o.Duty {
			b.power.duty[i] = uint16(math.Round(d * fullDuty))
		}
		for i, c := range o.SetpointC {
			if k := b.pots[i].controller; k != nil {
				k.tell(counts(c))
			}
		}
		b.power.contactor, b.power.written = o.Contactor, b.at
		b.contacts.lamp, b.contacts.buzzer = o.Lamp, o.Buzzer
	})
}
