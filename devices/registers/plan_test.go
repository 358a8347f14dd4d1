package registers

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/devices/modbus"
)

// at returns a channel that is only about where it is.
func at(function uint8, address uint16, of Type) Channel {
	return Channel{Role: Melt, Pot: "left", Device: "inputs", Function: function, Address: address, Type: of}
}

func TestNeighboursAreReadTogether(t *testing.T) {
	a, b := at(4, 0, Int16), at(4, 1, Float32)
	a.Status = &Status{Function: 4, Address: 3}
	b.Status = &Status{Function: 4, Address: 3} // one status register for both
	p := PlanReads([]Channel{b, a, at(16, 0, Uint16)}, 0)
	assert.Equal(t, []Span{{Function: 4, Address: 0, Count: 4}}, p.Spans)

	data := []uint16{10, 11, 12, 13}
	for _, x := range []struct {
		find    func(int) (Place, bool)
		channel int
		want    []uint16
	}{
		{p.Value, 0, []uint16{11, 12}}, {p.Value, 1, []uint16{10}}, {p.Status, 0, []uint16{13}}, {p.Status, 1, []uint16{13}},
	} {
		place, ok := x.find(x.channel)
		require.True(t, ok)
		assert.Equal(t, x.want, At(data, place))
	}
	_, written := p.Value(2)
	assert.False(t, written, "a written channel is not read")
	place, _ := p.Status(0)
	assert.Nil(t, At(data[:3], place), "short data has nothing there")
}

func TestGaps(t *testing.T) {
	far := []Channel{at(3, 0, Int16), at(3, 9, Int16), at(4, 10, Int16)}
	together := []Span{{3, 0, 10}, {4, 10, 1}}
	apart := []Span{{3, 0, 1}, {3, 9, 1}, {4, 10, 1}}
	assert.Equal(t, together, PlanReads(far, 8).Spans)
	for _, gap := range []int{7, 0, -1} {
		assert.Equal(t, apart, PlanReads(far, gap).Spans)
	}
}

// The limits of application protocol specification V1.1b3, 6.1 to 6.4, 6.11 and
// 6.12: 2000 bits or 125 registers read, 1968 bits or 123 registers written.
func TestLimits(t *testing.T) {
	spans := func(function uint8, of Type, n int) []Span {
		var channels []Channel
		for i := range n {
			c := at(function, 0, of)
			c.Address = uint16(i * c.Registers())
			channels = append(channels, c)
		}
		if reads(function) {
			return PlanReads(channels, 8).Spans
		}
		p, err := PlanWrites(channels)
		require.NoError(t, err)
		return p.Spans
	}
	assert.Equal(t, []Span{{4, 0, 125}, {4, 125, 1}}, spans(4, Int16, 126))
	assert.Equal(t, []Span{{3, 0, 124}, {3, 124, 2}}, spans(3, Float32, 63), "a value is not split")
	assert.Equal(t, []Span{{1, 0, 2000}, {1, 2000, 1}}, spans(1, Bit, 2001))
	assert.Equal(t, []Span{{2, 0, 2000}}, spans(2, Bit, 2000))
	assert.Equal(t, []Span{{16, 0, 123}, {16, 123, 1}}, spans(16, Int16, 124))
	assert.Equal(t, []Span{{15, 0, 1968}, {15, 1968, 1}}, spans(15, Bit, 1969))
	assert.Equal(t, []Span{{5, 0, 1}, {5, 1, 1}}, spans(5, Bit, 2))
	assert.Equal(t, []Span{{6, 0, 1}, {6, 1, 1}}, spans(6, Int16, 2))
}

// TestASetpointIsWrittenAlone, whatever lies beside it.
func TestASetpointIsWrittenAlone(t *testing.T) {
	of := func(role Role, address uint16, kind Type) Channel {
		c := at(16, address, kind)
		c.Role = role
		return c
	}
	p, err := PlanWrites([]Channel{of(Setpoint, 1, Float32), of(Setpoint, 3, Float32), of(Setpoint, 5, Int16), of(Heater, 0, Int16), of(Heater, 6, Int16), of(Heater, 7, Int16)})
	require.NoError(t, err)
	assert.Equal(t, []Span{{16, 0, 1}, {16, 1, 2}, {16, 3, 2}, {16, 5, 1}, {16, 6, 2}}, p.Spans)
}

func TestWritesLeaveGapsAlone(t *testing.T) {
	p, err := PlanWrites([]Channel{at(16, 3, Uint16), at(16, 0, Uint32), at(4, 0, Int16), at(16, 2, Uint16), at(16, 5, Uint16), at(15, 0, Bit)})
	require.NoError(t, err)
	assert.Equal(t, []Span{{15, 0, 1}, {16, 0, 4}, {16, 5, 1}}, p.Spans)
	place, ok := p.Value(0)
	assert.True(t, ok)
	assert.Equal(t, Place{Span: 1, Offset: 3, Count: 1}, place)
	_, read := p.Value(2)
	assert.False(t, read, "a read channel is not written")
}

func TestTwoWritersOfOnePlace(t *testing.T) {
	lamp := at(5, 3, Bit)
	lamp.Role, lamp.Pot = Lamp, ""
	_, err := PlanWrites([]Channel{at(6, 3, Uint16), lamp, at(16, 2, Uint32)})
	assert.EqualError(t, err, "melt of pot left and melt of pot left both write address 3 of device inputs, give each its own")
	_, err = PlanWrites([]Channel{lamp, at(15, 3, Bit)})
	assert.EqualError(t, err, "lamp and melt of pot left both write address 3 of device inputs, give each its own")
	_, err = PlanWrites([]Channel{lamp, at(16, 3, Uint16)})
	assert.NoError(t, err, "coils and registers are apart")
}

// anyChannels draws channels that are read, near to each other or not.
func anyChannels(t *rapid.T) []Channel {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Channel {
		address := rapid.OneOf(rapid.Uint16Range(0, 300), rapid.Uint16Range(0, 65534))
		c := at(rapid.Uint8Range(1, 4).Draw(t, "function"), address.Draw(t, "address"), Bit)
		if c.Function > 2 {
			c.Type = rapid.SampledFrom(temperature.types()).Draw(t, "type")
		}
		if rapid.Bool().Draw(t, "has status") {
			c.Status = &Status{Function: rapid.Uint8Range(3, 4).Draw(t, "status function"), Address: address.Draw(t, "status address")}
		}
		return c
	}), 0, 60).Draw(t, "channels")
}

// wanted returns the addresses that a channel wants of each function.
func wanted(channels []Channel) map[uint8]map[int]bool {
	all := map[uint8]map[int]bool{1: {}, 2: {}, 3: {}, 4: {}}
	for _, c := range channels {
		for i := range c.Registers() {
			all[c.Function][int(c.Address)+i] = true
		}
		if c.Status != nil {
			all[c.Status.Function][int(c.Status.Address)] = true
		}
	}
	return all
}

func TestPlanCoversEveryChannelWithinLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		channels := anyChannels(t)
		gap := rapid.IntRange(0, 200).Draw(t, "gap")
		p := PlanReads(channels, gap)
		for i, c := range channels {
			place, ok := p.Value(i)
			require.True(t, ok)
			requirePlace(t, p, place, Span{c.Function, c.Address, uint16(c.Registers())})
			place, ok = p.Status(i)
			require.Equal(t, c.Status != nil, ok)
			if ok {
				requirePlace(t, p, place, Span{c.Status.Function, c.Status.Address, 1})
			}
		}
		requireSpans(t, p, wanted(channels), gap)
		seed := rapid.Uint64().Draw(t, "seed")
		rand.New(rand.NewPCG(seed, 0)).Shuffle(len(channels), func(i, j int) { channels[i], channels[j] = channels[j], channels[i] })
		require.Equal(t, p.Spans, PlanReads(channels, gap).Spans, "the order of channels does not matter")
	})
}

// requirePlace checks that a place is exactly what is wanted.
func requirePlace(t *rapid.T, p Plan, place Place, want Span) {
	span := p.Spans[place.Span]
	require.Equal(t, want, Span{span.Function, span.Address + uint16(place.Offset), uint16(place.Count)})
	require.LessOrEqual(t, place.Offset+place.Count, int(span.Count))
	require.Len(t, At(make([]uint16, span.Count), place), place.Count)
}

// requireSpans checks that a device can answer every span, and that none reads
// along more than it may.
func requireSpans(t *rapid.T, p Plan, wanted map[uint8]map[int]bool, gap int) {
	for _, s := range p.Spans {
		require.NoError(t, modbus.Request{Unit: 1, Function: s.Function, Address: s.Address, Quantity: s.Count}.Check())
		unwanted := 0
		for a := int(s.Address); a < int(s.Address)+int(s.Count); a++ {
			unwanted++
			if wanted[s.Function][a] {
				unwanted = 0
			}
			require.LessOrEqual(t, unwanted, gap)
		}
		require.Zero(t, unwanted, "nothing is read along at the end")
	}
	for i := 1; i < len(p.Spans); i++ {
		a, b := p.Spans[i-1], p.Spans[i]
		near := a.Function == b.Function && int(b.Address)-int(a.Address)-int(a.Count) <= gap
		if near { // only the limit may part them
			require.Greater(t, int(b.Address)+int(b.Count)-int(a.Address), mostAtOnce(a.Function))
		}
	}
}
