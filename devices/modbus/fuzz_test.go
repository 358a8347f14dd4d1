package modbus

import (
	"bytes"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
	"meltwarden/devices/pipe"
)

// asked makes a request that passes Check out of anything.
func asked(function, unit uint8, address, quantity uint16, data []byte) Request {
	functions := []uint8{ReadCoils, ReadInputs, ReadHolding, ReadInput, WriteCoil, WriteRegister, WriteCoils, WriteRegisters}
	r := Request{Unit: 1 + unit%247, Function: functions[int(function)%len(functions)], Address: address}
	r.Quantity = 1 + quantity%limit(r.Function)
	r.Address = min(address, uint16(1<<16-int(r.Quantity)))
	switch {
	case r.Function == WriteCoil:
		r.Data = AppendCoil(nil, len(data) > 0)
	case r.Writes():
		r.Data = make([]byte, r.size())
		copy(r.Data, data)
	}
	return r
}

// others are requests that differ from r in one thing that a reply shows: the unit,
// the function, the address of a write or the number of bytes read.
func others(r Request) []Request {
	unit := r
	unit.Unit = 1 + r.Unit%247
	all := []Request{unit}
	for i := range uint8(8) {
		if o := asked(i, r.Unit-1, r.Address, r.Quantity-1, r.Data); o.Function != r.Function {
			all = append(all, o)
		}
	}
	moved := r
	if r.Writes() {
		moved.Address ^= 1
	} else {
		moved.Quantity = 1 + (r.Quantity+15)%limit(r.Function)
	}
	if moved.shape() != r.shape() && moved.Check() == nil {
		all = append(all, moved)
	}
	return all
}

// addExchanges seeds a fuzz test with an exchange of every function: reply, refusal,
// and the reply on a line that echoes.
func addExchanges(add func(function uint8, r Request, reply []byte)) {
	for i := range uint8(8) {
		r := asked(i, 16, 0x6B, 2, []byte{0, 10, 1, 2, 0, 3})
		reply := r.AppendReply(nil, make([]byte, r.size()))
		add(i, r, reply)
		add(i, r, r.AppendException(nil, Exception{IllegalDataAddress}))
		add(i, r, append(r.Append(nil), reply...))
	}
}

// FuzzReply: whatever bytes come, they pass for an answer only where they are, byte
// by byte, the frame that a device sends to just this request; and what answers one
// request answers none that can be told from it.
func FuzzReply(f *testing.F) {
	addExchanges(func(function uint8, r Request, reply []byte) {
		f.Add(function, r.Unit-1, r.Address, r.Quantity-1, r.Data, reply, false)
		f.Add(function, r.Unit-1, r.Address, r.Quantity-1, r.Data, reply[:len(reply)-2], true)
	})
	f.Fuzz(func(t *testing.T, function, unit uint8, address, quantity uint16, data, frame []byte, sealed bool) {
		r := asked(function, unit, address, quantity, data)
		require.NoError(t, r.Check())
		back, err := ParseRequest(r.Append(nil))
		require.NoError(t, err)
		require.Equal(t, r, back)
		if sealed {
			frame = seal(frame, 0)
		}
		got, err := r.ParseReply(frame)
		var refusal Exception
		switch {
		case errors.As(err, &refusal):
			require.Equal(t, r.AppendException(nil, refusal), frame)
			return
		case err != nil:
			require.Nil(t, got)
			got = make([]byte, r.size()) // then the reply of a device that has nothing but zeros
		default:
			require.Equal(t, r.AppendReply(nil, got), frame)
		}
		reply := r.AppendReply(nil, got)
		_, err = r.ParseReply(reply)
		require.NoError(t, err)
		for _, o := range others(r) {
			_, err := o.ParseReply(reply)
			require.Error(t, err, "%+v is answered by the answer to %+v", o, r)
		}
	})
}

// talks sends the same bytes, in pieces, whenever something was asked.
func talks(end *pipe.End, wire []byte, piece int, gap time.Duration) {
	chunk := make([]byte, MaxFrame)
	for {
		if _, err := end.Read(chunk); err != nil {
			return
		}
		for rest := wire; len(rest) > 0; rest = rest[min(piece, len(rest)):] {
			if _, err := end.Write(rest[:min(piece, len(rest))]); err != nil {
				return
			}
			time.Sleep(gap) // virtual
		}
	}
}

// FuzzExchange: the client over a line on which anything comes, in pieces and with
// gaps. It comes back in time, and takes nothing for an answer but a whole frame
// that answers its request.
func FuzzExchange(f *testing.F) {
	addExchanges(func(function uint8, r Request, reply []byte) {
		f.Add(function, r.Unit-1, r.Address, r.Quantity-1, r.Data, reply, uint8(255), uint8(0))
		f.Add(function, r.Unit-1, r.Address, r.Quantity-1, r.Data, reply, uint8(0), uint8(7))
	})
	f.Fuzz(func(t *testing.T, function, unit uint8, address, quantity uint16, data, wire []byte, piece, gapMS uint8) {
		r := asked(function, unit, address, quantity, data)
		wire = wire[:min(len(wire), 3*MaxFrame)]
		synctest.Test(t, func(t *testing.T) {
			near, far := pipe.New()
			c := NewClient(near, baud, clock.New(1))
			over := make(chan struct{})
			go func() {
				defer close(over)
				talks(far, wire, 1+int(piece), time.Duration(gapMS%64)*time.Millisecond)
			}()
			d := &Device{Name: "any", Unit: r.Unit, Timeout: quick}
			began := time.Now()
			got, err := c.Exchange(d, r)
			require.Less(t, time.Since(began), 5*time.Second)
			if err == nil {
				reply := r.AppendReply(nil, got)
				require.True(t, bytes.Contains(append(bytes.Clone(wire), wire...), reply), "% X was never on the line", reply)
			}
			require.Equal(t, uint64(1), d.Counts.Of(OutcomeOf(err)))
			<-c.Close()
			<-over
		})
	})
}
