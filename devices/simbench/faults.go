package simbench

import (
	"fmt"

	"meltwarden/devices/registers"
)

// Fault is something that can be wrong with the bench, by its name.
type Fault string

// The faults. Those of probes show on the wire from the next conversion on,
// those of the line from the next request.
const (
	OpenProbe       Fault = "open probe"       // sentinel and status bit
	GroundedProbe   Fault = "grounded probe"   // sentinel and another status bit
	ShortedProbe    Fault = "shorted probe"    // lead to lead: reads the module's own temperature
	FrozenProbe     Fault = "frozen probe"     // keeps its last reading
	NoisyProbe      Fault = "noisy probe"      // 8 °C of noise
	PulledProbe     Fault = "pulled probe"     // hangs in the air
	SentinelReading Fault = "sentinel reading" // sentinel without a status bit
	TypeKOnJ        Fault = "type K on J"      // a type K probe on an input set to type J
	TypeJOnK        Fault = "type J on K"      // and the other way round

	NoReply          Fault = "no reply"          // requests are lost
	CorruptReplies   Fault = "corrupt replies"   // one bit is flipped
	LateReplies      Fault = "late replies"      // by LateBy; what was asked meanwhile is lost
	DuplicateReplies Fault = "duplicate replies" // every reply is sent twice
	ExceptionReplies Fault = "exception replies" // device failure, nothing is done
	LostReplies      Fault = "lost replies"      // what was asked is done
	TruncatedReplies Fault = "truncated replies" // the end is missing
	GarbageReplies   Fault = "garbage replies"   // random bytes in their place
	AlienReplies     Fault = "alien replies"     // with another unit's address and a good check
	EchoedRequests   Fault = "echoed requests"   // handed back before the reply, also of a dead unit
	UnitRestarts     Fault = "unit restarts"     // forgets what it was told, and is silent while it lasts
	TrafficFeeds     Fault = "traffic feeds"     // the power unit's time-out begins anew with all that the unit is asked

	EStopOpened  Fault = "e-stop opened"
	CutOutOpened Fault = "cut-out opened" // clearing it is the manual reset
	FanStopped   Fault = "fan stopped"

	ContactorWelded  Fault = "contactor welded"   // no coil, emergency stop or cut-out opens it
	WakesOn          Fault = "wakes on"           // with its supply the power unit switches contactor and heaters on a little
	TimeoutForgotten Fault = "time-out forgotten" // with its supply the power unit loses the time-out set, and has its longest

	RelayWelded    Fault = "relay welded" // full power whatever the duty
	HeaterFailed   Fault = "heater failed"
	HeaterBypasses Fault = "heater bypasses" // is not behind the contactor
)

// Scope says what a fault befalls, and so which fields of Place count.
type Scope uint8

// The scopes.
const (
	OfProbe Scope = iota + 1 // Place.Probe, and Place.Pot for melt and plate
	OfLine                   // Place.Unit; zero is the whole line
	OfBench                  // nothing counts
	OfPot                    // Place.Pot
)

var faultList = []Fault{
	OpenProbe, GroundedProbe, ShortedProbe, FrozenProbe, NoisyProbe, PulledProbe, SentinelReading,
	TypeKOnJ, TypeJOnK, NoReply, CorruptReplies, LateReplies, DuplicateReplies, ExceptionReplies,
	LostReplies, TruncatedReplies, GarbageReplies, AlienReplies, EchoedRequests, UnitRestarts, TrafficFeeds,
	EStopOpened, CutOutOpened, FanStopped, ContactorWelded, WakesOn, TimeoutForgotten,
	RelayWelded, HeaterFailed, HeaterBypasses,
}

// Faults lists every fault, for tables of tests.
func Faults() []Fault { return append([]Fault(nil), faultList...) }

// Scope returns what the fault befalls, zero for a fault that does not exist.
func (f Fault) Scope() Scope {
	switch f {
	case OpenProbe, GroundedProbe, ShortedProbe, FrozenProbe, NoisyProbe, PulledProbe, SentinelReading,
		TypeKOnJ, TypeJOnK:
		return OfProbe
	case NoReply, CorruptReplies, LateReplies, DuplicateReplies, ExceptionReplies,
		LostReplies, TruncatedReplies, GarbageReplies, AlienReplies, EchoedRequests, UnitRestarts, TrafficFeeds:
		return OfLine
	case EStopOpened, CutOutOpened, FanStopped, ContactorWelded, WakesOn, TimeoutForgotten:
		return OfBench
	case RelayWelded, HeaterFailed, HeaterBypasses:
		return OfPot
	}
	return 0
}

// Place is where a fault is. Fields that do not count for a fault are ignored.
type Place struct {
	Pot   int            // in Config.Pots
	Probe registers.Role // melt, plate, mould or room
	Unit  uint8          // UnitThermocouples, UnitPower, UnitContacts, or 0 for all
}

// in returns the place with only the fields that count for the fault.
func (p Place) in(f Fault) Place {
	switch f.Scope() {
	case OfProbe:
		if p.Probe == registers.Mould || p.Probe == registers.Room {
			return Place{Probe: p.Probe}
		}
		return Place{Pot: p.Pot, Probe: p.Probe}
	case OfLine:
		return Place{Unit: p.Unit}
	case OfPot:
		return Place{Pot: p.Pot}
	default:
		return Place{}
	}
}

type faultAt struct {
	fault Fault
	place Place
}

type faultSet map[faultAt]bool

// has is asked many times a step, mostly of a bench without any fault.
func (s faultSet) has(f Fault, at Place) bool { return len(s) > 0 && s[faultAt{f, at.in(f)}] }

func (s faultSet) set(f Fault, at Place, on bool) {
	if on {
		s[faultAt{f, at.in(f)}] = true
	} else {
		delete(s, faultAt{f, at.in(f)})
	}
}

// onLine reports whether a fault of the line concerns a unit.
func (s faultSet) onLine(f Fault, unit uint8) bool {
	return s.has(f, Place{}) || s.has(f, Place{Unit: unit})
}

// Inject makes a fault begin. It refuses a fault or a place that does not exist.
func (b *Bench) Inject(f Fault, at Place) error { return b.set(f, at, true) }

// Clear makes a fault end; clearing what is not there does nothing. The cut-out
// opens again at once while a plate is too hot.
func (b *Bench) Clear(f Fault, at Place) error { return b.set(f, at, false) }

func (b *Bench) set(f Fault, at Place, on bool) error {
	if err := b.checkPlace(f, at); err != nil {
		return err
	}
	b.do(func() {
		b.faults.set(f, at, on)
		switch f {
		case CutOutOpened:
			b.contacts.cutOut = !on
		case PulledProbe:
			b.channelAt(at).probe.Pull(on)
		case UnitRestarts:
			if on {
				b.forget(at.Unit)
			} else if b.faults.has(WakesOn, Place{}) {
				b.power.wake(b.at)
			}
		}
	})
	return nil
}

// forget is what a unit, or each of them for zero, does as it loses its supply.
func (b *Bench) forget(unit uint8) {
	if unit == 0 || unit == UnitPower {
		timeout := b.power.timeoutMS
		if b.faults.has(TimeoutForgotten, Place{}) {
			timeout = maxTimeoutMS
		}
		b.power = newPower(len(b.pots))
		b.power.timeoutMS = timeout
	}
	if unit == 0 || unit == UnitContacts {
		b.contacts.lamp, b.contacts.buzzer = false, false
	}
}

// silent reports whether a unit hears nothing.
func (b *Bench) silent(unit uint8) bool {
	return b.faults.onLine(NoReply, unit) || b.faults.onLine(UnitRestarts, unit)
}

func (b *Bench) checkPlace(f Fault, at Place) error {
	scope := f.Scope()
	ofPot := scope == OfPot || scope == OfProbe && (at.Probe == registers.Melt || at.Probe == registers.Plate)
	switch {
	case scope == 0:
		return fmt.Errorf("simulated bench: there is no fault %q", f)
	case ofPot && (at.Pot < 0 || at.Pot >= len(b.pots)):
		return fmt.Errorf("simulated bench: %s: there is no pot %d", f, at.Pot)
	case scope == OfProbe && !ofPot && at.Probe != registers.Mould && at.Probe != registers.Room:
		return fmt.Errorf("simulated bench: %s: there is no probe %q", f, at.Probe)
	case scope == OfLine && at.Unit > UnitContacts && b.controllerAt(at.Unit) == nil:
		return fmt.Errorf("simulated bench: %s: there is no unit %d", f, at.Unit)
	}
	return nil
}

func (b *Bench) channelAt(at Place) *channel {
	switch at.Probe {
	case registers.Melt:
		return b.pots[at.Pot].melt
	case registers.Plate:
		return b.pots[at.Pot].plate
	case registers.Mould:
		return b.mould
	default:
		return b.room
	}
}
