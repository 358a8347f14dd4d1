package daemon

import (
	"bytes"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
)

// The packer makes its channels when it first packs. It does so here, outside the bubbles of
// invented time in other tests, whose channels nobody else may use.
func init() { cycles.Encode(nil) }

// TestOldRunsAreThinnedByTheBenchFile: by the age that it says, and it is logged.
func TestOldRunsAreThinnedByTheBenchFile(t *testing.T) {
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer s.Close()
	began := time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC)
	set := control.Settings{Period: 200 * time.Millisecond, Pots: []control.PotSettings{{Name: "only"}}}
	r, err := s.Record(began, history.Start{Title: "invented", RecipeName: "invented", Fingerprint: "abc", Settings: set})
	require.NoError(t, err)
	for i := range 700 {
		f := control.Frame{Cycle: uint64(i + 1), Time: time.Duration(i) * set.Period, Pots: make([]control.PotFrame, 1)}
		in := control.Input{Elapsed: set.Period, Pots: make([]control.PotReadings, 1)}
		r.PutAll(history.Kept{Record: cycles.Keep(began.Add(f.Time), &in, &f)})
	}
	require.NoError(t, r.Close(began.Add(time.Hour)))
	var log bytes.Buffer
	d := &Daemon{opts: Options{History: s, KeepCycles: 30 * 24 * time.Hour, Log: slog.New(slog.NewTextHandler(&log, nil))}}
	d.tidyNow(t.Context(), began.AddDate(0, 0, 29))
	assert.Empty(t, log.String())
	d.tidyNow(t.Context(), began.AddDate(0, 0, 31))
	assert.Contains(t, log.String(), `msg="an old run was thinned" run=1 cycles_before=700`)
	kept, err := s.Run(1)
	require.NoError(t, err)
	assert.NotNil(t, kept.Thinned)
}
