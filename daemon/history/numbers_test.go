package history

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNumbersOfFourHours prints what four hours of three pots at five cycles a
// second come to on disk (at most 2 MB), and how long a replay of them takes.
func TestNumbersOfFourHours(t *testing.T) {
	if testing.Short() {
		t.Skip("four hours of cycles take minutes under the race detector")
	}
	const n = 4 * 3600 * 5
	folder := t.TempDir()
	s, err := Open(folder)
	require.NoError(t, err)
	r := record(t, s, n)
	require.NoError(t, r.Close(noon))
	began := time.Now()
	back, err := s.Replay(r.Run())
	require.NoError(t, err)
	assert.Equal(t, Replayed{Cycles: n}, back)
	replayed := time.Since(began)
	require.NoError(t, s.Close()) // and the log is put into the file
	info, err := os.Stat(filepath.Join(folder, FileName))
	require.NoError(t, err)
	readings := float64(n * 8)
	t.Logf("four hours: %.2f MB, %.1f bytes a cycle, %.2f bytes a reading, all outputs included; replayed in %.2f s on %s",
		float64(info.Size())/1e6, float64(info.Size())/n, float64(info.Size())/readings, replayed.Seconds(), runtime.GOARCH)
	assert.LessOrEqual(t, info.Size(), int64(2e6))
}
