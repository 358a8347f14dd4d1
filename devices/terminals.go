package devices

import (
	"time"

	"meltwarden/control/reading"
	"meltwarden/devices/registers"
)

const (
	// leapC is how far a cold junction may read from where it was, in kelvins (E: noise and
	// the coarse steps of a cheap sensor are less), and driftCS how fast its terminals may
	// really get warmer or colder, in °C a second (E: a block of screws beside warm plates,
	// with a fan switched on).
	leapC   = 3.0
	driftCS = 0.1
)

// terminals is what a device's cold junction was last believed to be. All probes of the device
// go by it: a sensor that fails while it goes on saying a number would move them all alike, so
// that nothing in them shows it, and a melt would be hotter than it reads by as much.
type terminals struct {
	seen bool
	c    float64       // where it may be, °C: it follows what is believed at driftCS
	at   time.Duration // when it was last heard, believed or not
}

// believe returns a cold junction's reading as far as it can be believed. One that has leapt
// is not, until it is back where it was: it is no cold junction that got there. While nothing
// was heard of it, it may have moved.
func (k *terminals) believe(t reading.Temperature, at time.Duration) reading.Temperature {
	if t.Fault != reading.None {
		return t
	}
	dt := max(at-k.at, 0).Seconds()
	k.at = at
	if !k.seen { // what no terminals have is worth nothing, and nothing to begin with
		k.seen, k.c = registers.OfTerminals(t.C), t.C
		return t
	}
	off := t.C - k.c
	room := leapC + driftCS*max(dt-usualRoundS, 0)
	if off > room || off < -room {
		return reading.Temperature{Fault: reading.ColdJunction}
	}
	if dt > usualRoundS { // unheard for a while, it may be anywhere in its room
		k.c = t.C
		return t
	}
	most := driftCS * dt
	k.c += max(-most, min(most, off))
	return t
}

// usualRoundS is how long there may be between two rounds of a device that answers, in
// seconds; what lasts longer is silence.
const usualRoundS = 2.0
