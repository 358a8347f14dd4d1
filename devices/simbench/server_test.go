package simbench

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
)

// onLine runs f against a served bench in virtual time. The given send puts
// bytes on the line and returns what comes back within the time-out.
func onLine(t *testing.T, c Config, f func(t *testing.T, b *Bench, send func(frame []byte, within time.Duration) []byte)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		c.Pots = demoPots()
		b, err := New(c, clock.New(1))
		require.NoError(t, err)
		ours, theirs := pipe.New()
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- b.Serve(ctx, theirs) }()
		f(t, b, func(frame []byte, within time.Duration) []byte {
			_, err := ours.Write(frame)
			require.NoError(t, err)
			require.NoError(t, ours.SetReadTimeout(within))
			reply := make([]byte, 2*modbus.MaxFrame)
			n, err := ours.Read(reply)
			require.NoError(t, err)
			return reply[:n]
		})
		stop()
		require.NoError(t, <-ended)
	})
}

var (
	askMelt  = modbus.Request{Unit: UnitThermocouples, Function: modbus.ReadInput, Address: 0, Quantity: 1}
	askEStop = modbus.Request{Unit: UnitContacts, Function: modbus.ReadInputs, Address: 0, Quantity: 1}
)

const patience = 200 * time.Millisecond

type sender = func(frame []byte, within time.Duration) []byte

func answers(t *testing.T, r modbus.Request, send sender) {
	t.Helper()
	_, err := r.ParseReply(send(r.Append(nil), patience))
	require.NoError(t, err)
}

func TestServesWhatWasLeftOfAFrameAndGarbage(t *testing.T) {
	onLine(t, Config{Seed: 1}, func(t *testing.T, _ *Bench, send sender) {
		answers(t, askMelt, send)
		require.Empty(t, send([]byte{1, 4, 0}, patience), "half a frame")
		answers(t, askMelt, send)
		bad := askMelt.Append(nil)
		bad[7] ^= 1
		require.Empty(t, send(bad, patience), "check wrong")
		answers(t, askEStop, send)
		garbage := append([]byte{0x55, 0xAA, 0x33}, askEStop.Append(nil)...)
		require.Equal(t, []byte{3, 2, 1, 1}, send(garbage, patience)[:4], "finds the frame behind garbage")
		require.Equal(t, sealed([]byte{1, 0xC1, 1}), send(sealed([]byte{1, 0x41, 9, 9}), patience), "unknown function")
		slow := askMelt.Append(nil)
		require.Empty(t, send(slow[:5], time.Millisecond))
		require.NotEmpty(t, send(slow[5:], patience), "in two pieces")
	})
}

func TestLineFaults(t *testing.T) {
	whole := Place{}
	for name, test := range map[string]struct {
		fault Fault
		check func(t *testing.T, send sender)
	}{
		"no reply": {NoReply, func(t *testing.T, send sender) {
			require.Empty(t, send(askMelt.Append(nil), patience))
		}},
		"corrupt": {CorruptReplies, func(t *testing.T, send sender) {
			for range 50 {
				reply := send(askMelt.Append(nil), patience)
				require.Len(t, reply, askMelt.ReplyLength())
				require.False(t, modbus.Intact(reply))
			}
		}},
		"late": {LateReplies, func(t *testing.T, send sender) {
			require.Empty(t, send(askMelt.Append(nil), patience))
			require.Empty(t, send(askEStop.Append(nil), patience), "too busy to listen")
			require.Equal(t, UnitThermocouples, send(nil, LateBy)[0], "late, and to the first question")
			require.Empty(t, send(nil, 2*LateBy))
		}},
		"duplicate": {DuplicateReplies, func(t *testing.T, send sender) {
			reply := send(askMelt.Append(nil), patience)
			half := askMelt.ReplyLength()
			require.Len(t, reply, 2*half)
			require.Equal(t, reply[:half], reply[half:])
		}},
		"lost": {LostReplies, func(t *testing.T, send sender) {
			require.Empty(t, send(askMelt.Append(nil), patience))
		}},
		"truncated": {TruncatedReplies, func(t *testing.T, send sender) {
			for range 50 {
				reply := send(askMelt.Append(nil), patience)
				require.NotEmpty(t, reply)
				require.Less(t, len(reply), askMelt.ReplyLength())
			}
		}},
		"garbage": {GarbageReplies, func(t *testing.T, send sender) {
			reply := send(askMelt.Append(nil), patience)
			require.Len(t, reply, askMelt.ReplyLength())
			require.False(t, modbus.Intact(reply))
		}},
		"alien": {AlienReplies, func(t *testing.T, send sender) {
			reply := send(askMelt.Append(nil), patience)
			require.Equal(t, UnitPower, reply[0])
			require.True(t, modbus.Intact(reply))
			_, err := askMelt.ParseReply(reply)
			require.ErrorIs(t, err, modbus.ErrUnit)
		}},
		"echo": {EchoedRequests, func(t *testing.T, send sender) {
			require.Equal(t, askMelt.Append(nil), send(askMelt.Append(nil), time.Millisecond))
			_, err := askMelt.ParseReply(send(nil, patience))
			require.NoError(t, err)
		}},
		"restarting": {UnitRestarts, func(t *testing.T, send sender) {
			require.Empty(t, send(askMelt.Append(nil), patience))
		}},
		"exception": {ExceptionReplies, func(t *testing.T, send sender) {
			require.Equal(t, sealed([]byte{1, 0x84, 4}), send(askMelt.Append(nil), patience))
		}},
	} {
		t.Run(name, func(t *testing.T) {
			onLine(t, Config{Seed: 1}, func(t *testing.T, b *Bench, send sender) {
				require.NoError(t, b.Inject(test.fault, whole))
				test.check(t, send)
				require.NoError(t, b.Clear(test.fault, whole))
				answers(t, askMelt, send)

				require.NoError(t, b.Inject(test.fault, Place{Unit: UnitThermocouples}))
				answers(t, askEStop, send)
				test.check(t, send)
				require.NoError(t, b.Clear(test.fault, Place{Unit: UnitThermocouples}))
				answers(t, askMelt, send)
			})
		})
	}
}

// TestALostReplyToAnObeyedWrite: the heaters do what was asked, and nobody hears so.
func TestALostReplyToAnObeyedWrite(t *testing.T) {
	onLine(t, Config{Seed: 1}, func(t *testing.T, b *Bench, send sender) {
		coil := modbus.Request{Unit: UnitPower, Function: modbus.WriteCoil, Quantity: 1, Data: modbus.AppendCoil(nil, true)}
		full := modbus.Request{Unit: UnitPower, Function: modbus.WriteRegisters, Quantity: 3, Data: modbus.AppendRegisters(nil, fullDuty, 0, 0)}
		require.NoError(t, b.Inject(LostReplies, Place{Unit: UnitPower}))
		require.Empty(t, send(full.Append(nil), patience))
		require.Empty(t, send(coil.Append(nil), patience))
		require.Positive(t, b.Truth().Pots[0].PowerW)
	})
}

// TestAUnitThatRestartsForgets what it was told, until it is told again.
func TestAUnitThatRestartsForgets(t *testing.T) {
	onLine(t, Config{Seed: 1}, func(t *testing.T, b *Bench, send sender) {
		coil := modbus.Request{Unit: UnitPower, Function: modbus.WriteCoil, Quantity: 1, Data: modbus.AppendCoil(nil, true)}
		full := modbus.Request{Unit: UnitPower, Function: modbus.WriteRegisters, Quantity: 3, Data: modbus.AppendRegisters(nil, fullDuty, 0, 0)}
		answers(t, full, send)
		answers(t, coil, send)
		require.NoError(t, b.Inject(UnitRestarts, Place{Unit: UnitPower}))
		require.Zero(t, b.Truth().Pots[0].PowerW)
		require.NoError(t, b.Clear(UnitRestarts, Place{Unit: UnitPower}))
		answers(t, coil, send)
		require.Zero(t, b.Truth().Pots[0].PowerW)
		answers(t, full, send)
		answers(t, coil, send)
		require.Positive(t, b.Truth().Pots[0].PowerW)
	})
}

func TestDeadLineLetsTheHeatersDrop(t *testing.T) {
	onLine(t, Config{Seed: 1}, func(t *testing.T, b *Bench, send sender) {
		full := modbus.Request{
			Unit: UnitPower, Function: modbus.WriteRegisters, Quantity: 3,
			Data: modbus.AppendRegisters(nil, fullDuty, fullDuty, fullDuty),
		}
		coil := modbus.Request{Unit: UnitPower, Function: modbus.WriteCoil, Quantity: 1, Data: modbus.AppendCoil(nil, true)}
		answers(t, full, send)
		answers(t, coil, send)
		require.NoError(t, b.Inject(NoReply, Place{Unit: UnitPower}))
		for range 8 { // 1.6 s of writes that never arrive
			require.Empty(t, send(full.Append(nil), patience))
		}
		require.False(t, b.Truth().Contactor)
		require.Zero(t, b.Truth().Pots[0].PowerW)
	})
}

func TestBytesTakeTheirTime(t *testing.T) {
	// Modbus over serial line V1.02: 11 bits a character, so 0.5729 ms at 19200.
	onLine(t, Config{Seed: 1, Baud: 19200}, func(t *testing.T, _ *Bench, send sender) {
		start := time.Now()
		answers(t, askMelt, send)
		characters := float64(8 + askMelt.ReplyLength())
		want := thinking.Seconds() + characters*0.5729e-3
		require.InDelta(t, want, time.Since(start).Seconds(), 1e-5)
	})
}

func TestServeReportsALineThatIsGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		ours, theirs := pipe.New()
		require.NoError(t, ours.Close())
		require.ErrorIs(t, b.Serve(t.Context(), theirs), pipe.ErrHungUp)
	})
}
