package budget_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices"
	"meltwarden/devices/budget"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

const period = 200 * time.Millisecond

func number(role registers.Role, pot, device string, function uint8, address uint16) registers.Channel {
	unit := registers.Celsius
	if role == registers.Heater {
		unit = registers.Fraction
	}
	return registers.Channel{
		Role: role, Pot: pot, Device: device, Function: function, Address: address, Type: registers.Int16,
		Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: 0.001, Unit: unit,
	}
}

func bit(role registers.Role, device string, function uint8, address uint16) registers.Channel {
	return registers.Channel{Role: role, Device: device, Function: function, Address: address, Type: registers.Bit, Scale: 1}
}

// one is a bench with one device, whose probes lie where the addresses say.
func one(baud int, addresses ...uint16) devices.Config {
	c := devices.Config{
		Lines:   []devices.LineConfig{{Name: "line", Baud: baud, Parity: "even", StopBits: 1}},
		Devices: []devices.DeviceConfig{{Name: "probes", Line: "line", Unit: 1, Timeout: time.Second}},
	}
	for _, a := range addresses {
		pot := string(rune('a' + len(c.Pots)))
		c.Pots = append(c.Pots, pot)
		c.Channels = append(c.Channels, number(registers.Melt, pot, "probes", modbus.ReadInput, a))
	}
	return c
}

func of(t *testing.T, c devices.Config, turns budget.Turns) budget.Line {
	t.Helper()
	all, err := budget.Of(c, period, turns)
	require.NoError(t, err)
	return all[0]
}

// TestOneExchangeByHand: four neighbouring registers at 9600 bits per second. Request and
// reply have 8 and 5+8 bytes (V1.1b3, 6.4; V1.02, 2.5.1); a character takes 1.1458 ms and
// the silence 4.0104 ms (V1.02, 2.5.1.1, testdata/modbus/timing.csv).
func TestOneExchangeByHand(t *testing.T) {
	const ms = float64(time.Millisecond)
	l := of(t, one(9600, 0, 1, 2, 3), budget.Turns{"probes": 10 * time.Millisecond})
	assert.Equal(t, []int{1, 21, 11}, []int{l.Exchanges, l.Characters, l.Bits})
	assert.InDelta(t, 21*1.1458, float64(l.Wire)/ms, 0.01)
	assert.InDelta(t, 4.0104, float64(l.Silence)/ms, 0.001)
	assert.InDelta(t, 21*1.1458+4.0104+10, float64(l.Cycle)/ms, 0.01)
	assert.Equal(t, l.Cycle, l.Mean)
	assert.Equal(t, []string{"probes"}, l.Measured)
	assert.True(t, l.Fits())
	assert.InDelta(t, 1000/(21*1.1458+14.0104), l.Rate(), 0.01)

	assumed := of(t, one(9600, 0, 1, 2, 3), nil)
	assert.Equal(t, []string{"probes"}, assumed.Assumed)
	assert.InDelta(t, 4.0104+5, float64(assumed.Turns)/ms, 0.001, "its own silence, and what it is taken to need")

	bare := one(9600, 0, 1, 2, 3)
	bare.Lines[0].Parity = "none"
	l = of(t, bare, budget.Turns{"probes": 10 * time.Millisecond})
	assert.Equal(t, 10, l.Bits)
	assert.InDelta(t, 21*10/9.6, float64(l.Wire)/ms, 0.01)

	l = of(t, one(115200, 0, 1, 2, 3), budget.Turns{"probes": 10 * time.Millisecond})
	assert.InDelta(t, 21*0.0955+1.75+10, float64(l.Cycle)/ms, 0.01, "above 19200 the silence is fixed")
}

// TestNeighboursAreOneRequest, and registers far apart are not.
func TestNeighboursAreOneRequest(t *testing.T) {
	assert.Equal(t, 1, of(t, one(9600, 0, 1, 2), nil).Exchanges)
	assert.Equal(t, 3, of(t, one(9600, 0, 10, 20), nil).Exchanges)
}

// TestWhatToChange: where the line does not keep up, each way is tried out, and the least
// of each that helps is told; where it does, nothing is.
func TestWhatToChange(t *testing.T) {
	assert.Empty(t, of(t, one(9600, 0, 1, 2), nil).Changes)

	apart := of(t, one(9600, 0, 3, 6, 9, 12, 15, 18), nil)
	assert.False(t, apart.Fits())
	require.Len(t, apart.Changes, 2)
	assert.Equal(t, budget.Faster, apart.Changes[0].Way)
	assert.Equal(t, 19200, apart.Changes[0].Baud)
	assert.Equal(t, budget.Change{Way: budget.Join, Device: "probes", MaxGap: 2, Mean: apart.Changes[1].Mean}, apart.Changes[1])
	assert.LessOrEqual(t, apart.Changes[1].Mean, period)

	two := one(9600, 0, 20, 40, 60)
	two.Devices = append(two.Devices, devices.DeviceConfig{Name: "more", Line: "line", Unit: 2, Timeout: time.Second})
	two.Channels[2].Device, two.Channels[3].Device = "more", "more"
	two.Channels = append(two.Channels, number(registers.Mould, "", "more", modbus.ReadInput, 80))
	slow := of(t, two, budget.Turns{"probes": 75 * time.Millisecond, "more": 20 * time.Millisecond})
	ways := map[budget.Way]budget.Change{}
	for _, c := range slow.Changes {
		ways[c.Way] = c
	}
	assert.Equal(t, budget.OwnWires, slow.Changes[0].Way, "no speed helps a slow device: %v", slow.Changes)
	assert.NotContains(t, ways, budget.Join, "the gaps are too wide")
	assert.Greater(t, ways[budget.Faster].Mean, period, "the nearest is told all the same")
}

// TestSignalsAreToldSeldom: they are part of the fullest cycle, and less of the mean.
func TestSignalsAreToldSeldom(t *testing.T) {
	c := one(9600, 0)
	without := of(t, c, nil)
	c.Channels = append(c.Channels, bit(registers.Lamp, "probes", modbus.WriteCoil, 0))
	with := of(t, c, nil)
	assert.Equal(t, without.Exchanges+1, with.Exchanges)
	assert.InDelta(t, float64(with.Cycle-without.Cycle), 3*float64(with.Mean-without.Mean), 10, "every third cycle")
}

// TestABadBenchIsSaid.
func TestABadBenchIsSaid(t *testing.T) {
	c := one(9600, 0)
	c.Devices[0].Unit = 0
	_, err := budget.Of(c, period, nil)
	assert.ErrorContains(t, err, "allowed are 1 to 247")
}
