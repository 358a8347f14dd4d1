package readout

import (
	"errors"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// device has input registers 3 to 9 without 6, each reading its address, and knows no
// other function.
type device struct {
	asked  []modbus.Request
	silent bool
}

func (d *device) Exchange(_ *modbus.Device, r modbus.Request) ([]byte, error) {
	d.asked = append(d.asked, r)
	if d.silent {
		return nil, errors.New("no reply in time")
	}
	if r.Function != modbus.ReadInput {
		return nil, modbus.Exception{Code: modbus.IllegalFunction}
	}
	var regs []uint16
	for a := r.Address; a < r.Address+r.Quantity; a++ {
		if a < 3 || a > 9 || a == 6 {
			return nil, modbus.Exception{Code: modbus.IllegalDataAddress}
		}
		regs = append(regs, a)
	}
	return modbus.AppendRegisters(nil, regs...), nil
}

// TestReadsOnlyAndSaysWhatIsRefused, and asks for that no second time.
func TestReadsOnlyAndSaysWhatIsRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		spans, err := Spans([]uint8{4, 3}, 2, 9)
		require.NoError(t, err)
		assert.Equal(t, []registers.Span{{Function: 4, Address: 1, Count: 11}, {Function: 3, Address: 1, Count: 11}}, spans)
		d := &device{}
		r := New(d, &modbus.Device{Unit: 1}, spans, clock.New(1))
		read, err := r.Round(t.Context())
		require.NoError(t, err)
		assert.Len(t, read, 6)
		assert.Equal(t, uint16(9), read[guess.Register{Function: 4, Address: 9}])
		var said []string
		for _, no := range r.Refused() {
			said = append(said, no.String())
		}
		assert.Equal(t, []string{
			"input registers 1 to 2: refused: illegal data address (exception 02)",
			"input register 6: refused: illegal data address (exception 02)",
			"input registers 10 to 11: refused: illegal data address (exception 02)",
			"holding registers 1 to 11: refused: illegal function (exception 01)",
		}, said)
		first := len(d.asked)
		_, err = r.Round(t.Context())
		require.NoError(t, err)
		assert.Less(t, len(d.asked)-first, 6, "nothing that was refused")
		for _, q := range d.asked {
			assert.False(t, q.Writes())
			assert.LessOrEqual(t, q.Quantity, uint16(Most))
		}
	})
}

// coils are eight, of which 2 and 7 are on.
type coils struct{}

func (coils) Exchange(_ *modbus.Device, r modbus.Request) ([]byte, error) {
	if r.Function != modbus.ReadCoils || r.Address+r.Quantity > 8 {
		return nil, modbus.Exception{Code: modbus.IllegalDataAddress}
	}
	return modbus.AppendBits(nil, []bool{false, false, true, false, false, false, false, true}[r.Address:r.Address+r.Quantity]...), nil
}

// TestBitsAreRead as 0 or 1, each at its address.
func TestBitsAreRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		spans, err := Spans([]uint8{1}, 2, 6)
		require.NoError(t, err)
		r := New(coils{}, &modbus.Device{}, spans, clock.New(1))
		read, err := r.Round(t.Context())
		require.NoError(t, err)
		assert.Len(t, read, 7)
		assert.Equal(t, uint16(1), read[guess.Register{Function: 1, Address: 2}])
		assert.Equal(t, uint16(0), read[guess.Register{Function: 1, Address: 6}])
		assert.Equal(t, uint16(1), read[guess.Register{Function: 1, Address: 7}])
		assert.Equal(t, "coil 8: refused: illegal data address (exception 02)", r.Refused()[0].String())
	})
}

// half answers for holding registers, and is silent where it should refuse.
type half struct{ asked int }

func (h *half) Exchange(_ *modbus.Device, r modbus.Request) ([]byte, error) {
	h.asked++
	if r.Function == modbus.ReadHolding {
		return make([]byte, 2*r.Quantity), nil
	}
	return nil, errors.New("no reply in time")
}

// TestWhatNeverAnswersIsGivenUp, and said, once it was silent three times while something
// answered.
func TestWhatNeverAnswersIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		spans, err := Spans([]uint8{1, 3}, 0, 4)
		require.NoError(t, err)
		h := &half{}
		r := New(h, &modbus.Device{}, spans, clock.New(1))
		for range 5 {
			read, err := r.Round(t.Context())
			require.NoError(t, err)
			assert.Len(t, read, 5)
		}
		assert.Equal(t, 5+3, h.asked)
		require.Len(t, r.Refused(), 1)
		assert.Equal(t, "coils 0 to 4: no answer, 3 times; some devices are silent where a part does not exist: ask for less with --count", r.Refused()[0].String())
	})
}

// TestADeviceThatIsSilentOrRefusesAll is said.
func TestADeviceThatIsSilentOrRefusesAll(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		spans, err := Spans([]uint8{4}, 0xFFFE, 8)
		require.NoError(t, err)
		assert.Equal(t, []registers.Span{{Function: 4, Address: 0xFFFD, Count: 3}}, spans)
		_, err = New(&device{silent: true}, &modbus.Device{}, spans, clock.New(1)).Round(t.Context())
		assert.EqualError(t, err, "no reply in time")
		_, err = New(&device{}, &modbus.Device{}, spans, clock.New(1)).Round(t.Context())
		assert.ErrorContains(t, err, "refuses every register")
		for _, count := range []uint16{0, Most - 1} {
			_, err = Spans([]uint8{3}, 0, count)
			assert.ErrorContains(t, err, "can be read at once")
		}
	})
}
