package commission

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// mostProofJ is what the proof may give by the rated powers: 5 % of 2800 W for 13
// seconds, and what mains and heaters differ from their rating.
const mostProofJ = 0.05 * 2800 * 13 * 1.3

// TestProofFindsTheTimeout: within a sixteenth of two seconds of what the unit is
// set to, or refused; and never longer on than it may be.
func TestProofFindsTheTimeout(t *testing.T) {
	const step = 2.0 / 16
	for _, ms := range []uint16{200, 500, 1000, 1500, 1900, 2100, 5000, 60000} {
		t.Run(fmt.Sprint(ms, " ms"), func(t *testing.T) {
			onBench(t, nil, func(t *testing.T, r *rig) {
				r.setTimeout(ms)
				ctx, end := context.WithCancel(t.Context())
				r.saying["Heater left"] = end
				err := r.commission(ctx, answers, false)
				require.Less(t, r.heatJ(), mostProofJ)
				require.Positive(t, r.heatJ())
				p := r.record().proof("power")
				if ms > 2000 {
					require.ErrorIs(t, err, ErrIncomplete)
					require.ErrorContains(t, err, "still holds heater left, heater middle, heater right, contactor 2.0 s after its line went silent: set its communication time-out")
					require.False(t, p.passed())
					return
				}
				require.ErrorIs(t, err, ErrStopped)
				require.True(t, p.passed())
				require.InDelta(t, float64(ms)/1000, p.LetGoS, step+0.05)
				require.LessOrEqual(t, p.StillOnS, float64(ms)/1000)
			})
		})
	}
}

// TestZerosAtOnce: a device that does not let go has zeros before anything else.
func TestZerosAtOnce(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		r.setTimeout(60000)
		var on time.Duration
		done := make(chan struct{})
		go func() {
			defer close(done)
			for !r.Truth().Contactor {
				time.Sleep(5 * time.Millisecond)
			}
			for began := time.Now(); r.Truth().Contactor; on = time.Since(began) {
				time.Sleep(5 * time.Millisecond)
			}
		}()
		require.ErrorIs(t, r.commission(t.Context(), answers, false), ErrIncomplete)
		<-done
		t.Logf("contactor closed for %v", on)
		require.Greater(t, on, mustLetGo)
		require.Less(t, on, mustLetGo+trialTakes)

		r.setTimeout(1500)
		require.NoError(t, r.commission(t.Context(), "", false), "mended, and gone on with")
	})
}

// TestZerosThatAreNotConfirmedAreSaid.
func TestZerosThatAreNotConfirmedAreSaid(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		go func() {
			for !r.Truth().Contactor {
				time.Sleep(5 * time.Millisecond)
			}
			time.Sleep(time.Second / 2)
			assert.NoError(t, r.Inject(simbench.NoReply, simbench.Place{Unit: simbench.UnitPower}))
		}()
		err := r.commission(t.Context(), answers, false)
		require.ErrorContains(t, err, "ZEROS WERE NOT CONFIRMED")
		require.Regexp(t, "^PRESS THE EMERGENCY STOP, then switch the mains off", err.Error())
		require.NotContains(t, err.Error(), "stay off")
		require.Regexp(t, `(?s)Why it ended: .*a computer that is too busy.*run the same command again: what is done is kept`, err.Error())
		require.NotContains(t, err.Error()+r.words(), "zeros were written")
		require.False(t, r.record().proof("power").passed())
		time.Sleep(2 * time.Second)
	})
}

// TestTheAlarmComesFirst, then the cause, then what to do; of what is no trouble of the bench
// nothing more is said.
func TestTheAlarmComesFirst(t *testing.T) {
	unread := unwell{fmt.Errorf("e-stop can not be read (%w)", errSilence)}
	require.EqualError(t, onward(foremost(unread, errNoZeros)), "PRESS THE EMERGENCY STOP, then switch the mains off. ZEROS WERE NOT CONFIRMED: see that every plate stays cold before you switch anything on again. "+
		"Why it ended: e-stop can not be read (a cable, a device without supply, or a computer that is too busy)\n"+goOn)
	require.EqualError(t, onward(foremost(unread, nil)), "e-stop can not be read (a cable, a device without supply, or a computer that is too busy)\n"+goOn)
	require.ErrorContains(t, onward(foremost(nil, errNoZeros)), "on again\nWhere nothing answers it may be a cable, a device without supply, or a computer that is too busy. "+goOn)
	require.Equal(t, ErrStopped, onward(ErrStopped))
}

// deaf is a port whose power unit refuses to have its registers read.
type deaf struct {
	modbus.Port
	refused []byte
}

func (d *deaf) Write(p []byte) (int, error) {
	if r, err := modbus.ParseRequest(p); err == nil && r.Unit == simbench.UnitPower && r.Function == modbus.ReadHolding {
		d.refused = r.AppendException(nil, modbus.Exception{Code: modbus.IllegalFunction})
		return len(p), nil
	}
	return d.Port.Write(p)
}

func (d *deaf) Read(p []byte) (int, error) {
	if n := copy(p, d.refused); n > 0 {
		d.refused = nil
		return n, nil
	}
	return d.Port.Read(p)
}

// TestOutputsThatCanNotBeReadBackAreRefused.
func TestOutputsThatCanNotBeReadBackAreRefused(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		err := Run(t.Context(), Options{
			Bench: r.file, Wiring: wiring(r.file), Clock: r.clk, History: r.store, Out: r, Version: "test",
			In: strings.NewReader(answers), Open: func(l devices.LineConfig) (modbus.Port, error) {
				port, err := r.open(l)
				return &deaf{Port: port}, err
			},
		})
		require.ErrorIs(t, err, ErrIncomplete)
		require.ErrorContains(t, err, "device power: its outputs can not be read back")
	})
}

// TestRelayStuck: one that is welded shut before the first press is found out.
func TestRelayStuck(t *testing.T) {
	for pot := range 3 {
		onBench(t, nil, func(t *testing.T, r *rig) {
			require.NoError(t, r.Inject(simbench.RelayWelded, simbench.Place{Pot: pot}))
			err := r.commission(t.Context(), answers, false)
			require.ErrorContains(t, err, "a relay may be stuck on")
			cleared, _ := r.record().Against(r.file)
			require.False(t, cleared.Holds())
			t.Logf("pot %d: %v; %.0f kJ", pot, err, r.heatJ()/1000)
			require.Less(t, r.Truth().Pots[pot].HeatJ, 1.3*1000*(mostOn+alone).Seconds())
		})
	}
}

// TestSwitchedHeatersAreTriedOneByOne, and no more of them than the bounds allow.
func TestSwitchedHeatersAreTriedOneByOne(t *testing.T) {
	bit := func(role registers.Role, pot string, address uint16) registers.Channel {
		return registers.Channel{Role: role, Pot: pot, Device: "relays", Function: modbus.WriteCoil, Address: address, Type: registers.Bit, Scale: 1}
	}
	s := &session{}
	s.Wiring.Channels = []registers.Channel{bit(registers.Contactor, "", 0), bit(registers.Heater, "a", 1), bit(registers.Heater, "b", 2)}
	groups, err := (&trials{session: s, device: "relays"}).groups(&Proof{})
	require.NoError(t, err)
	require.Equal(t, [][]string{{"heater a"}, {"heater b"}}, groups)

	groups, err = (&trials{session: s, device: "other"}).groups(&Proof{})
	require.NoError(t, err)
	require.Equal(t, [][]string{nil}, groups)

	for i := range 3 {
		s.Wiring.Channels = append(s.Wiring.Channels, bit(registers.Heater, fmt.Sprint(i), uint16(3+i)))
	}
	_, err = (&trials{session: s, device: "relays"}).groups(&Proof{})
	require.ErrorContains(t, err, "has 5 heaters that can only be switched, and at most 4 can be tried")
}

// TestRelaysAreProven: what the trials themselves give a plate is no stuck relay, and no
// reason to send somebody away, though it is then further from the others than cold probes
// may be.
func TestRelaysAreProven(t *testing.T) {
	onBench(t, relays, func(t *testing.T, r *rig) {
		furthest := 0.0
		r.saying["It is on again, with its outputs off"] = func() {
			truth := r.Truth()
			furthest = truth.Pots[0].PlateC - truth.Pots[1].PlateC
		}
		require.NoError(t, r.commission(t.Context(), answers, false), r.said())
		require.Greater(t, furthest, spreadC)
	})
}

// TestReadingMustNotFeedTheTimeout: of the device itself, or of its neighbours.
func TestReadingMustNotFeedTheTimeout(t *testing.T) {
	for _, unit := range []uint8{0, simbench.UnitPower, simbench.UnitThermocouples} {
		onBench(t, nil, func(t *testing.T, r *rig) {
			require.NoError(t, r.Inject(simbench.TrafficFeeds, simbench.Place{Unit: unit}))
			err := r.commission(t.Context(), answers, false)
			require.ErrorIs(t, err, ErrIncomplete)
			require.ErrorContains(t, err, "its time-out is fed by reading: set it to count writes only, or use another device")
			require.False(t, r.record().proof("power").passed())
			require.Less(t, r.heatJ(), mostProofJ)
		})
	}
}
