package history

import (
	"database/sql"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestACountOfARelayNeverFalls, and two relays are two by bench, coil or day.
func TestACountOfARelayNeverFalls(t *testing.T) {
	s := open(t, t.TempDir())
	put := func(all ...Relay) {
		require.NoError(t, s.do(func(tx *sql.Tx) error { return putRelays(tx, all) }))
	}
	first := Relay{Bench: "bench", Place: "relays 2", Pot: "left", Operations: 7, Since: noon, At: noon}
	put(first)
	later := first
	later.Operations, later.At, later.Since = 9, noon.Add(time.Hour), noon.Add(time.Hour)
	put(later)
	put(first)
	other := first
	other.Fitted, other.Operations = "2026-03-14", 1
	put(other)
	all, err := s.Relays()
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, []int64{9, 1}, []int64{all[0].Operations, all[1].Operations})
	assert.True(t, all[0].Since.Equal(noon), "since the first")
	assert.True(t, all[0].At.Equal(noon.Add(time.Hour)))
}
