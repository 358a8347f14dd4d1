package modbus

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/devices/pipe"
)

// TestEveryKindOfTroubleIsToldApart: each by a device that does just that.
func TestEveryKindOfTroubleIsToldApart(t *testing.T) {
	alien := func(r Request) []byte { r.Unit++; return good(r) }
	for kind, reply := range map[Kind]func(Request) []part{
		NoAnswer: func(Request) []part { return nil },
		CutShort: func(r Request) []part { return []part{after(time.Millisecond, good(r)[:3])} },
		WrongCheck: func(r Request) []part {
			f := good(r)
			f[4] ^= 1
			return []part{after(time.Millisecond, f)}
		},
		WrongUnit:  func(r Request) []part { return []part{after(time.Millisecond, alien(r))} },
		Noise:      func(Request) []part { return []part{after(time.Millisecond, []byte{0xF8, 0, 0xFF})} },
		OtherReply: func(r Request) []part { r.Quantity++; return []part{after(time.Millisecond, good(r))} },
		Refusal: func(r Request) []part {
			return []part{after(time.Millisecond, r.AppendException(nil, Exception{IllegalDataAddress}))}
		},
	} {
		bench(t, 1, reply, func(t *testing.T, c *Client, _ *pipe.End) {
			d := &Device{Unit: 1, Timeout: quick}
			_, err := c.Exchange(d, Request{Function: ReadInput, Quantity: 2})
			assert.Error(t, err)
			_ = c.settle(c.clk.Now() + quick)
			for _, k := range Kinds() {
				want := uint64(0)
				if k == kind {
					want = 1
				}
				assert.Equal(t, want, d.Counts.OfKind(k), "%s of a device with %s", k, kind)
			}
			answered := uint64(0)
			if kind == Refusal {
				answered = 1
			}
			assert.Equal(t, answered, d.Trips.Times().N, kind)
		})
	}
}

// TestALateReplyIsCountedAsLate, once, also where it comes in pieces, beside the exchange
// that it was too late for.
func TestALateReplyIsCountedAsLate(t *testing.T) {
	n := 0
	bench(t, 1, func(r Request) []part {
		if n++; n == 1 {
			f := good(r)
			return []part{after(quick+50*time.Millisecond, f[:4]), after(quick+53*time.Millisecond, f[4:])}
		}
		return []part{after(time.Millisecond, good(r))}
	}, func(t *testing.T, c *Client, _ *pipe.End) {
		slow, other := &Device{Unit: 1, Timeout: quick}, &Device{Unit: 2, Timeout: quick}
		_, err := c.Exchange(slow, Request{Function: ReadInput, Quantity: 2})
		assert.Error(t, err)
		time.Sleep(quick)
		_, err = c.Exchange(other, Request{Function: ReadInput, Quantity: 2})
		assert.NoError(t, err)
		assert.Equal(t, uint64(1), slow.Counts.OfKind(NoAnswer))
		assert.Equal(t, uint64(1), slow.Counts.OfKind(Late))
		assert.Zero(t, other.Counts.OfKind(Late))
	})
}

// TestTimesOfADevice: the last of them only, the wire's share taken off, and the bounded
// ones counted from the beginning.
func TestTimesOfADevice(t *testing.T) {
	takes := 80 * time.Millisecond
	bench(t, 1, func(r Request) []part { return []part{after(takes, good(r))} }, func(t *testing.T, c *Client, _ *pipe.End) {
		d := &Device{Unit: 1, Timeout: quick}
		assert.Equal(t, Times{Under: d.Trips.Times().Under}, d.Trips.Times(), "nothing is known")
		ask := func(n int) {
			for range n {
				_, err := c.Exchange(d, Request{Function: ReadInput, Quantity: 4})
				assert.NoError(t, err)
			}
		}
		ask(10)
		known := d.Trips.Times()
		assert.Equal(t, 10, known.Of)
		assert.Equal(t, takes, known.Median)
		assert.Equal(t, takes-c.timing.Of(8+13), known.Turn, "a request of 8 characters, a reply of 13")
		takes = 30 * time.Millisecond
		ask(Remembered - 1)
		assert.Equal(t, 80*time.Millisecond, d.Trips.Times().Worst, "one of the slow ones is remembered")
		ask(1)
		known = d.Trips.Times()
		assert.Equal(t, []any{uint64(10 + Remembered), Remembered, takes, takes}, []any{known.N, known.Of, known.Median, known.Worst})
		assert.Equal(t, uint64(Remembered), known.Under[50*time.Millisecond])
		assert.Equal(t, known.N, known.Under[100*time.Millisecond])
	})
}

// TestCharacters: the standard's has 11 bits (V1.02, 2.5.1), one without parity and with
// one stop bit 10. The silence stays the standard's.
func TestCharacters(t *testing.T) {
	assert.Equal(t, 11, CharacterBitsOf(true, 1))
	assert.Equal(t, 11, CharacterBitsOf(false, 2))
	assert.Equal(t, 10, CharacterBitsOf(false, 1))
	assert.Equal(t, 12, CharacterBitsOf(true, 2))
	short := TimingOf(9600, ShortCharacterBits)
	assert.Equal(t, 10*time.Second/9600, short.Character)
	assert.Equal(t, TimingOf(9600, CharacterBits).Silence, short.Silence)
}
