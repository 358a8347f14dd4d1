package simbench

import (
	"math"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// melt is where the probe faults are injected; its registers are 2 and 10.
var melt = Place{Pot: 1, Probe: registers.Melt}

func meltRegister(t *testing.T, b *Bench) (value, status uint16) {
	t.Helper()
	all := inputs(t, b)
	return all[2], all[8+2]
}

func celsius(raw uint16) float64 { return float64(int16(raw)) / countsPerC }

// spreadOf returns the standard deviation of a minute of readings.
func spreadOf(t *testing.T, b *Bench) float64 {
	t.Helper()
	var sum, squares float64
	const n = 240
	for range n {
		time.Sleep(250 * time.Millisecond)
		v, _ := meltRegister(t, b)
		sum += celsius(v)
		squares += celsius(v) * celsius(v)
	}
	return math.Sqrt(squares/n - sum/n*sum/n)
}

// requireOff holds how far a reading is off against how far the melt is from the
// module's terminals, where every type is right. Type K gives 39.5 to 42 µV/°C from 0 to
// 100 °C, type J 50.4 to 54.4 (NIST Monograph 175).
func requireOff(t *testing.T, b *Bench, low, high float64) {
	t.Helper()
	value, status := meltRegister(t, b)
	require.Zero(t, status)
	const selfHeatingC, noiseC = 5, 1.5
	above := b.Truth().Pots[1].MeltC - b.Truth().RoomC - selfHeatingC
	off := celsius(value) - b.Truth().Pots[1].MeltC - b.Truth().Pots[1].MeltProbeErrorC
	require.Greater(t, off, low*above-noiseC)
	require.Less(t, off, high*above+noiseC)
}

// probeFaults says how each fault shows on the wire.
var probeFaults = map[Fault]func(t *testing.T, b *Bench){
	OpenProbe: func(t *testing.T, b *Bench) {
		value, status := meltRegister(t, b)
		require.Equal(t, uint16(noReading), value)
		require.Equal(t, uint16(statusOpen), status)
	},
	GroundedProbe: func(t *testing.T, b *Bench) {
		value, status := meltRegister(t, b)
		require.Equal(t, uint16(noReading), value)
		require.Equal(t, uint16(statusGround), status)
	},
	SentinelReading: func(t *testing.T, b *Bench) {
		value, status := meltRegister(t, b)
		require.Equal(t, uint16(noReading), value)
		require.Zero(t, status)
	},
	ShortedProbe: func(t *testing.T, b *Bench) {
		value, status := meltRegister(t, b)
		require.InDelta(t, b.Truth().RoomC+5, celsius(value), 0.1)
		require.Zero(t, status)
	},
	FrozenProbe: func(t *testing.T, b *Bench) { require.Zero(t, spreadOf(t, b)) },
	NoisyProbe:  func(t *testing.T, b *Bench) { require.Greater(t, spreadOf(t, b), 5.0) },
	PulledProbe: func(t *testing.T, b *Bench) {
		before, _ := meltRegister(t, b)
		time.Sleep(5 * time.Second)
		after, _ := meltRegister(t, b)
		drop := celsius(before) - celsius(after)
		require.Greater(t, drop/5, 0.5, "°C per second, far more than any pot can fall")
	},
	TypeKOnJ: func(t *testing.T, b *Bench) { requireOff(t, b, -0.25, -0.18) },
	TypeJOnK: func(t *testing.T, b *Bench) { requireOff(t, b, 0.22, 0.33) },
}

func TestProbeFaultsShowOnTheWireAndEnd(t *testing.T) {
	for _, fault := range Faults() {
		if fault.Scope() != OfProbe {
			continue
		}
		t.Run(string(fault), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, 2)
				driveFor(t, b, 12*time.Minute, 0, fullDuty/4, 0)
				require.Greater(t, b.Truth().Pots[1].MeltC, 60.0)
				require.NoError(t, b.Inject(fault, melt))
				time.Sleep(500 * time.Millisecond)
				probeFaults[fault](t, b)
				require.Zero(t, inputs(t, b)[8], "the neighbour is unharmed")
				require.NoError(t, b.Clear(fault, melt))
				time.Sleep(10 * time.Minute) // near the truth again, which hardly moves by then
				value, status := meltRegister(t, b)
				require.Zero(t, status)
				require.InDelta(t, b.Truth().Pots[1].MeltC, celsius(value), 4)
			})
		})
	}
}

func TestEveryProbeFaultHasAnExpectation(t *testing.T) {
	n := 0
	for _, fault := range Faults() {
		require.NotZero(t, fault.Scope(), fault)
		if fault.Scope() == OfProbe {
			n++
		}
	}
	require.Len(t, probeFaults, n)
}

func TestContactFaults(t *testing.T) {
	for i, fault := range []Fault{EStopOpened, CutOutOpened, FanStopped} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, 1)
			require.Equal(t, []bool{true, true, true, false, false}, discretes(t, b))
			require.NoError(t, b.Inject(fault, Place{}))
			want := []bool{true, true, true, false, false}
			want[i] = false
			require.Equal(t, want, discretes(t, b))
			require.NoError(t, b.Clear(fault, Place{}))
			require.True(t, discretes(t, b)[i])
		})
	}
}

func TestHeaterFaults(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		require.NoError(t, b.Inject(HeaterFailed, Place{Pot: 0}))
		require.NoError(t, b.Inject(RelayWelded, Place{Pot: 2}))
		driveFor(t, b, 5*time.Second, fullDuty, fullDuty, 0)
		truth := b.Truth()
		require.Zero(t, truth.Pots[0].HeatJ)
		require.Greater(t, truth.Pots[1].PowerW, 800.0)
		require.Greater(t, truth.Pots[2].PowerW, 650.0)
	})
}

func TestExceptionRepliesDoNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		require.NoError(t, b.Inject(ExceptionReplies, Place{Unit: UnitPower}))
		r := modbus.Request{Unit: UnitPower, Function: modbus.WriteCoil, Quantity: 1, Data: modbus.AppendCoil(nil, true)}
		_, err := r.ParseReply(ask(b, r))
		require.Equal(t, modbus.Exception{Code: modbus.DeviceFailure}, err)
		require.False(t, b.Truth().Contactor)
		inputs(t, b)
	})
}

func TestRefusesPlacesThatDoNotExist(t *testing.T) {
	b := newBench(t, 1)
	require.Error(t, b.Inject("gremlins", Place{}))
	require.Error(t, b.Inject(OpenProbe, Place{Pot: 3, Probe: registers.Melt}))
	require.Error(t, b.Inject(OpenProbe, Place{Pot: 0}))
	require.Error(t, b.Inject(RelayWelded, Place{Pot: -1}))
	require.Error(t, b.Clear(NoReply, Place{Unit: 4}))
	require.NoError(t, b.Inject(OpenProbe, Place{Pot: 99, Probe: registers.Room}), "the pot does not count")
}

// TestHeatPastTheContactor: a welded contactor and a heater that is wired past it
// draw power with the coil off, and no more than their duty.
func TestHeatPastTheContactor(t *testing.T) {
	for _, fault := range []Fault{ContactorWelded, HeaterBypasses} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, 1)
			require.NoError(t, b.Inject(fault, Place{Pot: 1}))
			require.Zero(t, b.Truth().Pots[1].PowerW)
			write := modbus.Request{Unit: UnitPower, Function: modbus.WriteRegister, Address: 1, Quantity: 1, Data: modbus.AppendRegisters(nil, fullDuty/4)}
			_, err := write.ParseReply(ask(b, write))
			require.NoError(t, err)
			require.NoError(t, b.Inject(EStopOpened, Place{}))
			require.False(t, b.Truth().Contactor)
			require.InDelta(t, 250, b.Truth().Pots[1].PowerW, 60)
		})
	}
}

// TestTrafficFeeds: what is only read keeps the outputs on.
func TestTrafficFeeds(t *testing.T) {
	coil := modbus.Request{Unit: UnitPower, Function: modbus.WriteCoil, Quantity: 1, Data: modbus.AppendCoil(nil, true)}
	duty := modbus.Request{Unit: UnitPower, Function: modbus.WriteRegister, Quantity: 1, Data: modbus.AppendRegisters(nil, 1)}
	read := modbus.Request{Unit: UnitPower, Function: modbus.ReadHolding, Quantity: 1}
	for _, fed := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, 1)
			if fed {
				require.NoError(t, b.Inject(TrafficFeeds, Place{Unit: UnitPower}))
			}
			ask(b, duty)
			ask(b, coil)
			for range 20 {
				time.Sleep(200 * time.Millisecond)
				ask(b, read)
			}
			require.Equal(t, fed, b.Truth().Contactor)
			time.Sleep(2 * time.Second)
			require.False(t, b.Truth().Contactor, "silence still ends it")
		})
	}
}

// TestTimeoutOutlastsTheSupply, unless it is forgotten.
func TestTimeoutOutlastsTheSupply(t *testing.T) {
	b := newBench(t, 1)
	b.power.timeoutMS = 500
	require.NoError(t, b.Inject(UnitRestarts, Place{Unit: UnitPower}))
	require.Equal(t, uint16(500), b.power.timeoutMS)
	require.NoError(t, b.Inject(TimeoutForgotten, Place{}))
	require.NoError(t, b.Inject(UnitRestarts, Place{Unit: UnitPower}))
	require.Equal(t, uint16(maxTimeoutMS), b.power.timeoutMS)
}

// TestDippedProbe feels the cup, with or without a fault of its own, until it is back.
func TestDippedProbe(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 2)
		room := b.Truth().RoomC
		reads := func(want float64) {
			t.Helper()
			time.Sleep(time.Minute)
			value, _ := meltRegister(t, b)
			require.InDelta(t, want, celsius(value), 3.5) // class 2, and noise
			require.InDelta(t, room, celsius(inputs(t, b)[0]), 3.5, "the neighbour is not in the cup")
		}
		b.DipMelt(1, 60)
		reads(60)
		require.NoError(t, b.Inject(PulledProbe, melt))
		reads(60)
		b.DipMelt(1, 45)
		reads(45)
		require.NoError(t, b.Clear(PulledProbe, melt))
		b.PutMeltBack(1)
		reads(room)
		require.InDelta(t, room, b.Truth().Pots[1].MeltC, 0.01, "the melt is not warmed")
	})
}
