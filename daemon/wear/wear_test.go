package wear

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control/circuit"
	"meltwarden/daemon/history"
	"meltwarden/devices/registers"
)

var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.Local)

// bench has a relay that wears, a solid-state one, and a heater that a device switches.
func bench(r config.Relay) *config.Bench {
	coil := func(pot string, address uint16) registers.Channel {
		return registers.Channel{Role: registers.Heater, Pot: pot, Device: "relays", Address: address, Type: registers.Bit}
	}
	return &config.Bench{
		Name: "bench",
		Pots: []config.Pot{
			{Name: "left", Output: circuit.Hidden}, {Name: "middle", Output: circuit.Switched},
			{Name: "right", Output: circuit.Switched, Relay: r},
		},
		Channels: []registers.Channel{coil("middle", 1), coil("right", 2)},
	}
}

// TestAClosingAndAnOpeningAreOne, and only of what wears.
func TestAClosingAndAnOpeningAreOne(t *testing.T) {
	c := NewCounter(Stand(nil, bench(config.Relay{Life: 1000})), noon)
	var kept []history.Relay
	for _, on := range []float64{0, 1, 1, 0, 1, 0, 0} {
		if changed := c.See(noon.Add(time.Second), []float64{on, 1 - on, on}); changed != nil {
			kept = changed
		}
	}
	assert.Equal(t, []history.Relay{{
		Bench: "bench", Place: "relays 2", Pot: "right", Operations: 2, Since: noon, At: noon.Add(time.Second),
	}}, kept)
	assert.Nil(t, NewCounter(Stand(nil, bench(config.Relay{})), noon), "none wears")
}

// TestWhatIsKnownOfARelay, and what is not is not zero.
func TestWhatIsKnownOfARelay(t *testing.T) {
	kept := []history.Relay{
		{Bench: "bench", Place: "relays 2", Fitted: "2026-03-01", Operations: 79_000, Since: noon},
		{Bench: "bench", Place: "relays 2", Fitted: "", Operations: 12, Since: noon},
		{Bench: "another", Place: "relays 2", Fitted: "2026-03-02", Operations: 5, Since: noon},
	}
	for _, c := range []struct {
		relay config.Relay
		words string
		worn  bool
	}{
		{config.Relay{Life: 100_000, Fitted: "2026-03-01"}, "relay of pot right: ≈ 79 % of its 100000 rated operations used: 79000 counted since 2026-03-14", false},
		{config.Relay{Life: 100_000, Used: 1000, Fitted: "2026-03-01"}, "relay of pot right: ≈ 80 % of its 100000 rated operations used: 79000 counted since 2026-03-14, 1000 before counting began, as its owner says", true},
		{config.Relay{Life: 100_000, Used: 1000}, "relay of pot right: ≈ 1 % of its 100000 rated operations used: 12 counted since 2026-03-14, 1000 before counting began, as its owner says", false},
		{config.Relay{Life: 100_000, Fitted: "2026-03-02"}, "relay of pot right: rated for 100000 operations; none was counted yet", false},
	} {
		all := Stand(kept, bench(c.relay))
		require.Len(t, all, 1)
		assert.Equal(t, c.words, all[0].Words)
		assert.Equal(t, c.worn, all[0].Worn)
		assert.Equal(t, c.worn, Remind(all) != "")
	}
	text, err := json.Marshal(Stand(nil, bench(config.Relay{Life: 100_000})))
	require.NoError(t, err)
	assert.Contains(t, string(text), `"counted_operations":null,"counted_since":null,"operations_before":0,"used_share":null`)
	assert.Empty(t, Lines(Stand(nil, bench(config.Relay{}))))
}
