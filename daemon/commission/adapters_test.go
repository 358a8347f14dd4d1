package commission

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/ports"
)

// TestAdaptersAreOnRecord as the lines had them first, and are told for the bench file that
// they were put on record with.
func TestAdaptersAreOnRecord(t *testing.T) {
	b := benchFile(t, nil)
	is := ports.Identity{Port: ports.Port{Name: "/dev/ttyUSB0", Adapter: ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A1", Socket: "h/1.4"}}, Doubt: ports.Twins}
	s := &session{Options: Options{Bench: b}, record: complete(b)}
	s.noteAdapters()
	assert.Empty(t, s.record.Adapters, "nobody says which")
	s.Seen = func(line string) (ports.Identity, bool) { return is, line == b.Lines[0].Name }
	s.noteAdapters()
	other := is
	other.Adapter.Serial = "A2"
	s.Seen = func(string) (ports.Identity, bool) { return other, true }
	s.noteAdapters()

	kept, err := json.Marshal(s.record)
	require.NoError(t, err)
	var r *Record
	require.NoError(t, json.Unmarshal(kept, &r))
	told := map[string]ports.Identity{}
	tell := func(line string, is ports.Identity, since string) {
		told[line] = is
		assert.Contains(t, since, "when the bench was commissioned (")
	}
	r.Expect(b, tell)
	assert.Equal(t, map[string]ports.Identity{b.Lines[0].Name: is}, told)
	cleared, missing := r.Against(b)
	assert.True(t, cleared.Holds(), missing)
	sections := r.sections()
	assert.Contains(t, sections[len(sections)-1].Lines[0], `fff1:0001 serial "A1" in socket h/1.4`)

	clear(told)
	r.Digest = "of another file"
	r.Expect(b, tell)
	(*Record)(nil).Expect(b, tell)
	assert.Empty(t, told)
}
