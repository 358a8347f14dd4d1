package modbus

import (
	"encoding/binary"
	"errors"
	"slices"
)

// Kind is what was wrong with an exchange, where that says more about a line than its
// Outcome: a device that says nothing, one that answers late and one whose address is
// another's are cured differently.
type Kind uint8

// The kinds of trouble. Late is no end of an exchange: the one that it belongs to has
// been counted as NoAnswer.
const (
	NoAnswer    Kind = iota // nothing came in time
	CutShort                // a reply began, and did not end in time
	Late                    // a reply came after it had been given up
	WrongCheck              // a reply whose check is wrong
	WrongUnit               // a whole reply from another unit
	Noise                   // bytes that are no frame and begin like none
	OtherReply              // a reply to another request, or of another length
	NeverSilent             // the line carries bytes without a pause
	Refusal                 // the device is alive and says no
	LostPort                // the port failed
	kinds
)

var kindNames = [kinds]string{
	"no answer", "cut short", "late", "wrong check", "wrong unit", "noise", "other reply", "never silent", "refused", "port lost",
}

// String returns the kind in a word or two.
func (k Kind) String() string { return kindNames[k] }

// Kinds lists every kind, in order.
func Kinds() (all []Kind) {
	for k := range kinds {
		all = append(all, k)
	}
	return all
}

// kindOf returns the kind of an exchange's error, which is not nil.
func kindOf(err error) Kind {
	switch OutcomeOf(err) {
	case TimedOut:
		if errors.Is(err, errCutShort) {
			return CutShort
		}
		return NoAnswer
	case BadCheck:
		return WrongCheck
	case Refused:
		return Refusal
	case PortLost:
		return LostPort
	}
	switch {
	case errors.Is(err, ErrUnit):
		return WrongUnit // or Noise: see Client.judge
	case errors.Is(err, ErrNeverSilent):
		return NeverSilent
	}
	return OtherReply
}

// judge counts what was heard and is nobody's answer, once all of it has come.
func (c *Client) judge() {
	whole := len(c.heard) >= exceptionLength && Intact(c.heard)
	if c.strange != nil {
		k := Noise
		if whole {
			k = WrongUnit
		}
		c.strange.kinds[k].Add(1)
		c.strange = nil
	}
	if whole {
		c.noteLate(c.heard)
	}
}

// noteLate counts a whole reply that came when nothing was asked for, or something else,
// if its unit was given up for such a one. Two replies without a gap between them are not
// told apart, and not counted.
func (c *Client) noteLate(frame []byte) {
	u := c.unanswered[frame[0]]
	if u == nil || c.clk.Now() >= u.until {
		return
	}
	if slices.ContainsFunc(u.shapes, func(s shape) bool { return s.fits(frame) }) {
		u.counts.kinds[Late].Add(1)
	}
}

// fits reports whether a whole reply, or refusal, could answer a request of the shape.
func (s shape) fits(frame []byte) bool {
	switch frame[1] {
	case s.function | exceptionBit:
		return true
	case s.function:
	default:
		return false
	}
	if s.function >= WriteCoil {
		return s.mark == binary.BigEndian.Uint16(frame[2:])
	}
	return s.mark == uint16(frame[2])
}
