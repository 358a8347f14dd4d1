package press_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/guess"
	"meltwarden/devices/press"
)

const round = 250 * time.Millisecond

// device is bits and registers, by which of its rounds a contact is pressed in, or all is
// left alone: contact is then -1.
type device func(contact, round int) map[guess.Register]uint16

// held leads through contacts.
func held(d device, contacts ...string) press.Result {
	s := press.NewSession(contacts)
	began, told := 0, ""
	for n := 0; ; n++ {
		step, at, contact, again := s.Step()
		if now := contact + map[bool]string{true: " again"}[again]; now != told {
			told, began = now, n
		}
		switch step {
		case press.Over:
			return s.Result()
		case press.Rest:
			at = -1
		}
		s.Take(time.Duration(n)*round, d(at, n-began))
	}
}

// down reports whether a press of one second every two is under way, some times.
func down(n, times int) bool { return n >= 4 && n < 4+8*times && (n-4)%8 < 4 }

func on(is bool) uint16 { return map[bool]uint16{true: 1}[is] }

func input(at uint16) guess.Register { return guess.Register{Function: 2, Address: at} }

// TestAContactIsToldWithItsPolarity, and gives a line that a bench file takes.
func TestAContactIsToldWithItsPolarity(t *testing.T) {
	r := held(func(contact, n int) map[guess.Register]uint16 {
		word := on(contact == 2 && down(n, 3)) << 5
		return map[guess.Register]uint16{input(4): on(!(contact == 0 && down(n, 3))), input(5): on(contact == 1 && down(n, 3)), input(6): 1, {Function: 4, Address: 0}: word}
	}, "e-stop", "enable", "stir-button left")
	assert.Equal(t, []string{
		"  - {role: e-stop, device: inputs, function: 2, address: 4, type: bit} # 1 at rest, 0 when pressed",
		"  - {role: enable, device: inputs, function: 2, address: 5, type: bit} # 0 at rest, 1 when pressed",
		"  - {role: stir-button, pot: left, device: inputs, function: 4, address: 0, type: bit, mask: 0x0020} # 0 at rest, 1 when pressed",
	}, r.Lines("inputs"))
	for _, c := range r.Contacts {
		assert.True(t, c.Told)
		assert.NoError(t, c.Channel("inputs").Validate())
		assert.Empty(t, c.Rivals)
	}
	assert.Equal(t, "bit 5 (mask 0x0020) of input register 0, which a manual that counts from 1 calls 1, or 30001", r.Contacts[2].Bit.String())
	assert.Empty(t, r.Numbering(0))
	assert.Empty(t, r.Numbering(5), "none: it was not the neighbour before it")
}

// TestALidSaysWhichIsOn: it may be wired either way, and one that lay beside its pot would be
// written the wrong way round without a word.
func TestALidSaysWhichIsOn(t *testing.T) {
	r := held(func(contact, n int) map[guess.Register]uint16 {
		return map[guess.Register]uint16{input(0): on(!(contact == 0 && down(n, 3))), input(1): on(contact == 1 && down(n, 3))}
	}, "lid left", "lid right")
	assert.Equal(t, []string{
		"  - {role: lid, pot: left, device: inputs, function: 2, address: 0, type: bit} # 1 with the lid on, 0 with it off",
		"  - {role: lid, pot: right, device: inputs, function: 2, address: 1, type: bit, invert: true} # 0 with the lid on, 1 with it off",
	}, r.Lines("inputs"))
	assert.Contains(t, r.Contacts[0].Notes[0], "is taken for the lid on")
	assert.Contains(t, r.Contacts[1].Notes[0], "Was the lid off then, that is the wrong way round")
}

// TestNumberedFromOne: an address that a manual counts from 1 is one too high (Modbus
// application protocol V1.1b3, 4.4).
func TestNumberedFromOne(t *testing.T) {
	r := held(func(contact, n int) map[guess.Register]uint16 {
		return map[guess.Register]uint16{input(4): on(contact == 0 && down(n, 3)), input(5): 0}
	}, "enable")
	assert.Equal(t, "You asked from 5 on, and discrete input 4 is before it: your manual counts from 1. Take 1 off every address in it.", r.Numbering(5))
}

// TestWhatIsNotToldIsSaid, each in words of its own.
func TestWhatIsNotToldIsSaid(t *testing.T) {
	latched, pressed := false, false
	for _, x := range []struct {
		name string
		d    device
		want string
	}{
		{"nothing moves", func(int, int) map[guess.Register]uint16 { return map[guess.Register]uint16{input(0): 0} },
			"nothing moved: is it wired to this device, has the device its supply, and is its bit among those that are read?"},
		{"twice only", func(c, n int) map[guess.Register]uint16 {
			return map[guess.Register]uint16{input(0): on(c == 0 && down(n, 2))}
		}, "discrete input 0 moved twice, where three times were asked for. Hold each press for about two seconds; what latches has to be put back each time."},
		{"it latches", func(c, n int) map[guess.Register]uint16 {
			latched = latched || c == 0 && n >= 4
			return map[guess.Register]uint16{input(0): on(latched)}
		}, "discrete input 0 moved once, and stayed so, where three times were asked for. Hold each press for about two seconds; what latches has to be put back each time."},
		{"two together", func(c, n int) map[guess.Register]uint16 {
			is := on(c == 0 && down(n, 3))
			return map[guess.Register]uint16{input(0): is, input(3): is}
		}, "discrete input 0 and discrete input 3 moved together: two contacts of one, or one follows the other. See its manual, or take one of the wires off (supply off) and press once more."},
		{"two, not together", func(c, n int) map[guess.Register]uint16 {
			return map[guess.Register]uint16{input(0): on(c == 0 && down(n, 3)), input(3): on(c == 0 && down(n-4, 3))}
		}, "discrete input 0 and discrete input 3 each moved three times, and not together: something else moves as well. Press it once more, alone."},
		{"by itself", func(c, n int) map[guess.Register]uint16 {
			pressed = pressed || c == 0
			return map[guess.Register]uint16{input(0): on(pressed && down(n, 3))}
		}, "discrete input 0 moved three times, but also while all was to be left alone: does it change by itself, or was it touched?"},
	} {
		r := held(x.d, "enable")
		assert.False(t, r.Contacts[0].Told, x.name)
		assert.Equal(t, x.want, r.Contacts[0].Why, x.name)
		assert.Empty(t, r.Lines("inputs"), x.name)
	}
}

// TestOneBitForTwo is neither.
func TestOneBitForTwo(t *testing.T) {
	r := held(func(contact, n int) map[guess.Register]uint16 {
		return map[guess.Register]uint16{input(0): on(contact >= 0 && down(n, 3))}
	}, "pedal", "shot-button", "enable")
	for _, c := range r.Contacts {
		assert.False(t, c.Told)
		assert.Contains(t, c.Why, "discrete input 0 moved for it and for ")
	}
}

// TestWiredTheWrongWayRound is told, with no line of a bench file but for what may be turned
// round.
func TestWiredTheWrongWayRound(t *testing.T) {
	r := held(func(contact, n int) map[guess.Register]uint16 {
		return map[guess.Register]uint16{
			input(0): on(contact == 0 && down(n, 3)), input(1): on(!(contact == 1 && down(n, 3))), input(2): on(!(contact == 2 && down(n, 3))),
		}
	}, "e-stop", "enable", "pedal")
	assert.Contains(t, r.Contacts[0].Misfit, "a broken wire would read as well. Wire its normally closed contact")
	assert.Contains(t, r.Contacts[1].Misfit, "a broken wire would read as pressed. Wire its normally open contact")
	assert.Equal(t, []string{"  - {role: pedal, device: x, function: 2, address: 2, type: bit, invert: true} # 1 at rest, 0 when pressed"}, r.Lines("x"))
}

// TestTheOtherSideOfAChangeover and what an output shows are named beside the contact.
func TestTheOtherSideOfAChangeover(t *testing.T) {
	r := held(func(contact, n int) map[guess.Register]uint16 {
		is := contact == 0 && down(n, 3)
		return map[guess.Register]uint16{input(0): on(!is), input(1): on(is), {Function: 1, Address: 7}: on(is)}
	}, "enable")
	c := r.Contacts[0]
	require.True(t, c.Told, c.Why)
	assert.Equal(t, press.Bit{Function: 2, Address: 1}, c.Bit)
	assert.Equal(t, []press.Rival{
		{Bit: press.Bit{Function: 2, Address: 0}, Differs: "moved together with it, the other way round: the other side of a changeover contact?"},
		{Bit: press.Bit{Function: 1, Address: 7}, Differs: "moved together with it, in another table: the same contact seen twice, or an output that follows it"},
	}, c.Rivals)
}

// TestBouncing is no second press, and is said.
func TestBouncing(t *testing.T) {
	r := held(func(contact, n int) map[guess.Register]uint16 {
		return map[guess.Register]uint16{input(0): on(contact == 0 && down(n, 3) && n != 5)}
	}, "enable")
	require.True(t, r.Contacts[0].Told, r.Contacts[0].Why)
	assert.Equal(t, []string{"It bounced once: clean or replace the contact if it goes on."}, r.Contacts[0].Notes)
}
