// Package budget reckons how long a serial line takes for one cycle of a bench, whether
// that fits the rate at which the bench is controlled, and what to change where it does
// not. It is pure: it asks no device.
//
// A cycle is a chain of exchanges, one at a time. Each takes
//
//	(characters of the request + characters of the reply) · bits of a character / baud
//	+ turn-round of the device
//	+ silence before the next request
//
// A frame of n registers has 8 characters where it is a request to read and 5 + 2n where
// it is the reply (application protocol specification V1.1b3, section 6, and the two of
// unit and check, serial line specification V1.02, 2.5.1). A character has 11 bits, or 10
// on a line without parity and with one stop bit. The silence is 3.5 characters, and 1.75
// ms above 19200 (V1.02, 2.5.1.1). A device has to have heard the same silence before it
// knows that a request is over, so its turn-round is that much at least. What it takes
// beyond is measured; until then it is taken to be OwnTime.
package budget

import (
	"slices"
	"time"

	"meltwarden/devices"
	"meltwarden/devices/modbus"
)

// OwnTime is what a device is taken to need between the end of a request, when it has
// heard that, and the beginning of its reply (estimate, no source: many need one to ten
// milliseconds, and an adapter on a universal serial bus can add up to 16).
const OwnTime = 5 * time.Millisecond

// speeds are those that a line may be set to instead, in bits per second.
var speeds = []int{9600, 19200, 38400, 57600, 115200}

// Turns are turn-rounds that were measured, by device.
type Turns map[string]time.Duration

// Line is what a line has to do in a cycle, and how long that takes.
type Line struct {
	Name string
	Baud int
	// Bits are those of a character.
	Bits int
	// Exchanges and Characters are those of the fullest cycle.
	Exchanges, Characters int
	// Wire, Turns and Silence add up to Cycle, the time of the fullest cycle.
	Wire, Turns, Silence, Cycle time.Duration
	// Mean is the time of a cycle in the mean: lamp and buzzer are not told in each.
	Mean   time.Duration
	Period time.Duration // between two cycles of the bench
	// Measured are the devices whose turn-round was measured, Assumed the others.
	Measured, Assumed []string
	// Changes make the line faster, best first; none where it fits.
	Changes []Change
}

// Fits reports whether the line keeps up with the bench: by the mean, since what a full
// cycle is late the next ones make good.
func (l Line) Fits() bool { return l.Mean <= l.Period }

// Rate is how many cycles a second the line can carry.
func (l Line) Rate() float64 {
	if l.Mean <= 0 {
		return 0
	}
	return 1 / l.Mean.Seconds()
}

// Way is a way to make a line faster.
type Way string

// The ways.
const (
	Faster   Way = "faster"    // a higher speed in bits per second
	Join     Way = "join"      // read a gap along, so that two requests of a device become one
	OwnWires Way = "own wires" // a line of its own for a device
)

// Change is one way to make a line faster, and the mean time of a cycle then, on the
// slower one where it makes two lines of one.
type Change struct {
	Way    Way
	Baud   int    // of Faster
	Device string // of Join and OwnWires
	MaxGap int    // of Join, in registers or bits
	Mean   time.Duration
}

// Of reckons the lines of a bench that is controlled with the given time between two
// cycles. The error is about the configuration.
func Of(cfg devices.Config, period time.Duration, measured Turns) ([]Line, error) {
	all, err := reckon(cfg, period, measured)
	if err != nil {
		return nil, err
	}
	for i := range all {
		if !all[i].Fits() {
			all[i].Changes = changes(cfg, i, period, measured)
		}
	}
	return all, nil
}

func reckon(cfg devices.Config, period time.Duration, measured Turns) ([]Line, error) {
	planned, err := devices.Planned(cfg, period)
	if err != nil {
		return nil, err
	}
	var all []Line
	for _, lc := range cfg.Lines {
		l := Line{Name: lc.Name, Baud: lc.Baud, Bits: lc.CharacterBits(), Period: period}
		for _, e := range planned {
			if e.Line == lc.Name {
				l.add(e, measured)
			}
		}
		l.Cycle = l.Wire + l.Turns + l.Silence
		all = append(all, l)
	}
	return all, nil
}

// add takes an exchange in.
func (l *Line) add(e devices.Exchange, measured Turns) {
	timing := modbus.TimingOf(l.Baud, l.Bits)
	turn, known := measured[e.Device]
	list := &l.Measured
	if !known {
		turn, list = timing.Silence+OwnTime, &l.Assumed
	}
	if !slices.Contains(*list, e.Device) {
		*list = append(*list, e.Device)
	}
	characters := len(e.Append(nil)) + e.ReplyLength()
	l.Exchanges++
	l.Characters += characters
	l.Wire += timing.Of(characters)
	l.Turns += turn
	l.Silence += timing.Silence
	l.Mean += (timing.Of(characters) + turn + timing.Silence) / time.Duration(e.Every)
}

// changes are ways to make a line faster, the best first.
func changes(cfg devices.Config, line int, period time.Duration, measured Turns) []Change {
	now, err := reckon(cfg, period, measured)
	if err != nil {
		return nil
	}
	var all []Change
	try := func(c Change, edit func(*devices.Config)) {
		other := cfg
		other.Lines, other.Devices = slices.Clone(cfg.Lines), slices.Clone(cfg.Devices)
		edit(&other)
		then, err := reckon(other, period, measured)
		if err != nil {
			return
		}
		c.Mean = then[line].Mean
		for _, own := range then[len(now):] {
			c.Mean = max(c.Mean, own.Mean)
		}
		if c.Mean < now[line].Mean {
			all = append(all, c)
		}
	}
	name := cfg.Lines[line].Name
	for i, d := range cfg.Devices {
		if d.Line != name {
			continue
		}
		for gap := d.MaxGap + 1; gap <= widest; gap++ {
			try(Change{Way: Join, Device: d.Name, MaxGap: gap}, func(c *devices.Config) { c.Devices[i].MaxGap = gap })
		}
		try(Change{Way: OwnWires, Device: d.Name}, func(c *devices.Config) {
			own := c.Lines[line]
			own.Name = name + " of its own"
			c.Lines = append(c.Lines, own)
			c.Devices[i].Line = own.Name
		})
	}
	for _, baud := range speeds {
		if baud > cfg.Lines[line].Baud {
			try(Change{Way: Faster, Baud: baud}, func(c *devices.Config) { c.Lines[line].Baud = baud })
		}
	}
	return best(all, period)
}

// widest is the widest gap that is worth to be read along, in registers: beyond it the
// registers take longer than a request.
const widest = 16

// best keeps the least of each way that makes the line fit, or the one that comes nearest.
func best(all []Change, period time.Duration) (kept []Change) {
	for _, way := range []Way{Faster, Join, OwnWires} {
		var one *Change
		for i := range all {
			c := &all[i]
			if c.Way != way {
				continue
			}
			if one == nil || one.Mean > period && c.Mean < one.Mean {
				one = c
			}
		}
		if one != nil {
			kept = append(kept, *one)
		}
	}
	slices.SortStableFunc(kept, func(a, b Change) int {
		switch fitsA, fitsB := a.Mean <= period, b.Mean <= period; {
		case fitsA == fitsB:
			return 0
		case fitsA:
			return -1
		}
		return 1
	})
	return kept
}
