package modbus

import (
	"encoding/csv"
	"encoding/hex"
	"errors"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// table reads a reference table; its README names the sources.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/modbus/" + name)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, v := range row {
			m[rows[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

func bytesOf(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err)
	return b
}

func frameNamed(t *testing.T, id string) []byte {
	t.Helper()
	for _, row := range table(t, "frames.csv") {
		if row["id"] == id {
			return bytesOf(t, row["rtu_frame_hex"])
		}
	}
	t.Fatalf("no frame %s", id)
	return nil
}

// The check values of crc.csv: CRC catalogue and serial line specification V1.02.
func TestCheckValues(t *testing.T) {
	for _, row := range table(t, "crc.csv") {
		want, err := strconv.ParseUint(row["crc16_register"], 0, 16)
		require.NoError(t, err)
		assert.Equal(t, uint16(want), CRC(bytesOf(t, row["bytes_hex"])), row["message"])
	}
	for _, row := range table(t, "frames.csv") {
		assert.True(t, Intact(bytesOf(t, row["rtu_frame_hex"])), row["id"])
	}
}

// Requests and replies of the application protocol specification V1.1b3, section 6.
func TestSpecifiedExchanges(t *testing.T) {
	for name, x := range map[string]struct {
		request Request
		data    string // what the reply carries
	}{
		"FC1":  {Request{17, ReadCoils, 0x13, 19, nil}, "CD 6B 05"},
		"FC2":  {Request{17, ReadInputs, 0xC4, 22, nil}, "AC DB 35"},
		"FC3":  {Request{17, ReadHolding, 0x6B, 3, nil}, "02 2B 00 00 00 64"},
		"FC4":  {Request{17, ReadInput, 8, 1, nil}, "00 0A"},
		"FC5":  {Request{17, WriteCoil, 0xAC, 1, AppendCoil(nil, true)}, ""},
		"FC6":  {Request{17, WriteRegister, 1, 1, AppendRegisters(nil, 3)}, ""},
		"FC15": {Request{17, WriteCoils, 0x13, 10, AppendBits(nil, true, false, true, true, false, false, true, true, true, false)}, ""},
		"FC16": {Request{17, WriteRegisters, 1, 2, AppendRegisters(nil, 0x000A, 0x0102)}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			request, reply := frameNamed(t, name+"-req"), frameNamed(t, name+"-rsp")
			require.NoError(t, x.request.Check())
			assert.Equal(t, request, x.request.Append(nil))
			parsed, err := ParseRequest(request)
			require.NoError(t, err)
			assert.Equal(t, x.request, parsed)
			assert.Equal(t, len(request), RequestLength(request[:7]))

			assert.Equal(t, len(reply), x.request.ReplyLength())
			assert.Equal(t, reply, parsed.AppendReply(nil, bytesOf(t, x.data)))
			data, err := x.request.ParseReply(reply)
			require.NoError(t, err)
			assert.Equal(t, bytesOf(t, x.data), append([]byte{}, data...))
		})
	}
	assert.Equal(t, []uint16{555, 0, 100}, Registers(bytesOf(t, "02 2B 00 00 00 64")), "V1.1b3, 6.3")
	// 6.1: of 19 coils the status of 20 to 38, the last byte with 36 to 38 in its lowest bits.
	assert.Equal(t, []bool{
		true, false, true, true, false, false, true, true, true, true, false, true, false, true, true, false, true, false, true,
	}, Bits(bytesOf(t, "CD 6B 05"), 19))
	assert.Equal(t, bytesOf(t, "CD 6B 05"), AppendBits(nil, Bits(bytesOf(t, "CD 6B 05"), 19)...), "bits that are not used are 0")
}

// TestPublishedFrames: examples that many publish, and the request of V1.1b3, section 7.
func TestPublishedFrames(t *testing.T) {
	assert.Equal(t, frameNamed(t, "REQ-1-3"), Request{1, ReadHolding, 0, 10, nil}.Append(nil))
	assert.Equal(t, frameNamed(t, "EXC-req"), Request{10, ReadCoils, 0x04A1, 1, nil}.Append(nil))
	data, err := Request{1, ReadInput, 0, 1, nil}.ParseReply(frameNamed(t, "RSP-FFFF"))
	require.NoError(t, err)
	assert.Equal(t, []uint16{0xFFFF}, Registers(data))
}

// TestEveryFrameIsOfItsKind: no request of the table is taken for a reply, and the other way
// round only what echoes its request.
func TestEveryFrameIsOfItsKind(t *testing.T) {
	rows := table(t, "frames.csv")
	for _, row := range rows {
		frame := bytesOf(t, row["rtu_frame_hex"])
		assert.Equal(t, bytesOf(t, row["pdu_hex"]), frame[1:len(frame)-2], "%s: unit before, check behind", row["id"])
		if row["kind"] != "request" {
			continue
		}
		r, err := ParseRequest(frame)
		if errors.Is(err, Exception{IllegalFunction}) {
			continue // the example of the check, of a function that is not spoken here
		}
		require.NoError(t, err, row["id"])
		for _, other := range rows {
			_, err := r.ParseReply(bytesOf(t, other["rtu_frame_hex"]))
			answers := other["id"] == strings.TrimSuffix(row["id"], "-req")+"-rsp" || r.single() && other["id"] == row["id"]
			if _, refused := errors.AsType[Exception](err); !refused {
				assert.Equal(t, answers, err == nil, "%s after %s", other["id"], row["id"])
			}
		}
	}
}

// TestNamesOfRefusals: the codes of V1.1b3, section 7 (those beyond 06 from memory).
func TestNamesOfRefusals(t *testing.T) {
	for code, name := range map[uint8]string{
		1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "server device failure", 5: "acknowledge", 6: "server device busy",
		8: "memory parity error", 0x0A: "gateway path unavailable", 0x0B: "gateway target device failed to respond",
	} {
		assert.ErrorContains(t, Exception{code}, "refused: "+name)
	}
}

// TestBurstsAreFound: a check of 16 bits whose polynomial has a constant term, as
// x^16 + x^15 + x^2 + 1 has, finds every burst of errors that is no longer (theory of cyclic
// codes; from memory).
func TestBurstsAreFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		frame := anyRequest(t).Append(nil)
		burst := rapid.Uint16Range(1, 0xFFFF).Draw(t, "burst")
		first := rapid.IntRange(0, 8*len(frame)-16).Draw(t, "first")
		for bit := range 16 { // as they go on the wire: the lowest bit of a byte first
			if burst>>bit&1 != 0 {
				frame[(first+bit)/8] ^= 1 << ((first + bit) % 8)
			}
		}
		require.False(t, Intact(frame))
	})
}

// Refusals of the application protocol specification V1.1b3, section 7.
func TestSpecifiedRefusals(t *testing.T) {
	for id, x := range map[string]struct {
		request Request
		code    uint8
	}{
		"EXC-rsp":     {Request{10, ReadCoils, 0x04A1, 1, nil}, IllegalDataAddress},
		"EXC-fc3-01":  {Request{1, ReadHolding, 0, 1, nil}, IllegalFunction},
		"EXC-fc3-02":  {Request{1, ReadHolding, 0, 1, nil}, IllegalDataAddress},
		"EXC-fc4-03":  {Request{1, ReadInput, 0, 1, nil}, IllegalDataValue},
		"EXC-fc6-04":  {Request{1, WriteRegister, 0, 1, []byte{0, 0}}, DeviceFailure},
		"EXC-fc16-06": {Request{1, WriteRegisters, 0, 1, []byte{0, 0}}, DeviceBusy},
	} {
		_, err := x.request.ParseReply(frameNamed(t, id))
		assert.Equal(t, Exception{x.code}, err, id)
		assert.Equal(t, frameNamed(t, id), x.request.AppendException(nil, Exception{x.code}))
	}
	assert.EqualError(t, Exception{IllegalDataAddress}, "refused: illegal data address (exception 02)")
	assert.ErrorContains(t, Exception{0x63}, "does not name")
}

// The limits of quantity of V1.1b3, section 6, and its order of tests: function,
// quantity and value, address.
func TestLimits(t *testing.T) {
	for _, x := range []struct {
		function uint8
		most     uint16
	}{{1, 2000}, {2, 2000}, {3, 125}, {4, 125}, {15, 1968}, {16, 123}} {
		r := Request{Unit: 1, Function: x.function}
		for quantity, code := range map[uint16]uint8{0: IllegalDataValue, 1: 0, x.most: 0, x.most + 1: IllegalDataValue} {
			r.Quantity = quantity
			if r.Writes() {
				r.Data = make([]byte, r.size())
			}
			refusal := Exception{}
			errors.As(r.Check(), &refusal)
			assert.Equal(t, code, refusal.Code, "function %d, quantity %d", x.function, quantity)
			if code == 0 {
				assert.LessOrEqual(t, len(r.Append(nil)), MaxFrame)
				assert.LessOrEqual(t, r.ReplyLength(), MaxFrame)
			}
		}
	}
	assert.ErrorIs(t, Request{1, 7, 0, 0, nil}.Check(), Exception{IllegalFunction})
	assert.ErrorIs(t, Request{1, WriteCoil, 0, 1, []byte{1, 0}}.Check(), Exception{IllegalDataValue})
	assert.ErrorIs(t, Request{1, WriteRegisters, 0, 2, []byte{1, 0}}.Check(), Exception{IllegalDataValue})
	assert.ErrorIs(t, Request{1, ReadHolding, 65535, 2, nil}.Check(), Exception{IllegalDataAddress})
	assert.NoError(t, Request{1, ReadHolding, 65535, 1, nil}.Check())
}

func TestRequestsThatAreMetWithSilence(t *testing.T) {
	good := frameNamed(t, "FC16-req")
	_, err := ParseRequest(good[:3])
	assert.ErrorIs(t, err, ErrLength)
	_, err = ParseRequest(good[:len(good)-1])
	assert.ErrorIs(t, err, ErrCRC)
	_, err = ParseRequest(seal(append([]byte{}, good[:8]...), 0))
	assert.ErrorIs(t, err, ErrLength)
	r, err := ParseRequest(frameNamed(t, "CRC-0207"))
	assert.ErrorIs(t, err, Exception{IllegalFunction})
	assert.Equal(t, uint8(2), r.Unit)
	assert.Equal(t, 0, RequestLength(good[:1]))
	assert.Equal(t, 0, RequestLength(good[:6]))
	assert.Equal(t, -1, RequestLength([]byte{2, 7}))
}

func TestRepliesThatAreNoAnswer(t *testing.T) {
	r := Request{17, ReadHolding, 0x6B, 3, nil}
	good := frameNamed(t, "FC3-rsp")
	for name, x := range map[string]struct {
		frame []byte
		want  error
	}{
		"nothing":          {nil, ErrLength},
		"bad check":        {append(append([]byte{}, good[:10]...), 0), ErrCRC},
		"another unit":     {Request{18, ReadHolding, 0, 3, nil}.AppendReply(nil, good[3:9]), ErrUnit},
		"another function": {Request{17, ReadInput, 0, 3, nil}.AppendReply(nil, good[3:9]), ErrFunction},
		"another quantity": {r.AppendReply(nil, good[3:7]), ErrLength},
		"too long":         {seal(append([]byte{}, good[:10]...), 0), ErrLength},
		"long refusal":     {seal([]byte{17, 0x83, 2, 0}, 0), ErrLength},
	} {
		_, err := r.ParseReply(x.frame)
		assert.ErrorIs(t, err, x.want, name)
	}
	one := Request{17, WriteRegister, 1, 1, []byte{0, 3}}
	for _, other := range []Request{{17, WriteRegister, 2, 1, []byte{0, 3}}, {17, WriteRegister, 1, 1, []byte{0, 4}}} {
		_, err := one.ParseReply(other.Append(nil))
		assert.ErrorIs(t, err, ErrEcho)
	}
	several := Request{17, WriteRegisters, 1, 2, make([]byte, 4)}
	_, err := several.ParseReply(Request{17, WriteRegisters, 1, 1, nil}.AppendReply(nil, nil))
	assert.ErrorIs(t, err, ErrEcho)
}

// anyRequest draws a request that passes Check.
func anyRequest(t *rapid.T) Request {
	r := Request{
		Unit:     rapid.Uint8Range(1, 247).Draw(t, "unit"),
		Function: rapid.SampledFrom([]uint8{1, 2, 3, 4, 5, 6, 15, 16}).Draw(t, "function"),
	}
	r.Quantity = rapid.Uint16Range(1, limit(r.Function)).Draw(t, "quantity")
	r.Address = rapid.Uint16Range(0, uint16(1<<16-int(r.Quantity))).Draw(t, "address")
	if r.Writes() {
		r.Data = rapid.SliceOfN(rapid.Byte(), r.size(), r.size()).Draw(t, "data")
	}
	if r.Function == WriteCoil {
		r.Data = AppendCoil(nil, rapid.Bool().Draw(t, "on"))
	}
	return r
}

func TestEveryRequestReturns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t)
		frame := r.Append([]byte("before"))
		back, err := ParseRequest(frame[len("before"):])
		require.NoError(t, err)
		require.Equal(t, r, back)
	})
}

// A frame from noise never panics, and a parsed one is what would be sent.
func FuzzParse(f *testing.F) {
	f.Add([]byte{17, 3, 0, 0x6B, 0, 3})
	f.Add([]byte{17, 16, 0, 1, 0, 2, 4, 0, 10, 1, 2})
	f.Add([]byte{2, 7})
	f.Fuzz(func(t *testing.T, body []byte) {
		frame := seal(body, 0)
		if r, err := ParseRequest(frame); err == nil {
			assert.Equal(t, frame, r.Append(nil))
		}
		_, _ = Request{17, ReadHolding, 0x6B, 3, nil}.ParseReply(frame)
		_, _ = Request{17, WriteRegister, 1, 1, []byte{0, 3}}.ParseReply(frame)
	})
}
