//go:build linux

package demo

import (
	"context"
	"os"
	"os/exec"
	"regexp"
	"runtime/debug"
	"strconv"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// TestNumbersOfMemory prints what an evening of four hours takes: the whole
// program (bench, Modbus frames, control, trend, metrics, history) in virtual time
// in a process of its own, its resident memory at the end and at its worst as Linux
// counts it, and the history's size.
func TestNumbersOfMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("four hours at the bench take some seconds")
	}
	if folder := os.Getenv("FOUR_HOURS_INTO"); folder != "" {
		synctest.Test(t, func(t *testing.T) { passFourHours(t, folder) })
		debug.FreeOSMemory() // as the idle minutes of a real evening would
		status, err := os.ReadFile("/proc/self/status")
		require.NoError(t, err)
		os.Stdout.Write(status)
		return
	}
	folder := t.TempDir()
	c := exec.Command(os.Args[0], "-test.run=^TestNumbersOfMemory$")
	c.Env = append(os.Environ(), "FOUR_HOURS_INTO="+folder)
	said, err := c.CombinedOutput()
	require.NoError(t, err, string(said))
	inMB := func(name string) float64 {
		found := regexp.MustCompile(name + `:\s+(\d+) kB`).FindSubmatch(said)
		require.NotNil(t, found, string(said))
		kb, err := strconv.ParseFloat(string(found[1]), 64)
		require.NoError(t, err)
		return kb / 1000
	}
	info, err := os.Stat(folder + "/" + history.FileName)
	require.NoError(t, err)
	now, most, size := inMB("VmRSS"), inMB("VmHWM"), float64(info.Size())/1e6
	t.Logf("after 4 h x 3 pots: %.0f MB resident, %.0f MB at most, history %.2f MB", now, most, size)
	assert.Less(t, size, 2.0)
	if raced {
		return // the race detector takes several times the memory
	}
	assert.Less(t, most, 80.0)
}

func passFourHours(t *testing.T, folder string) {
	s, err := history.Open(folder)
	require.NoError(t, err)
	d := newVirtual(t, Options{Seed: 1, History: s})
	ctx, end := context.WithCancel(context.Background())
	defer end()
	require.NoError(t, d.Run(ctx, func(f *frames.Frame) {
		if f.Time >= 4*time.Hour {
			end()
		}
	}))
	require.NoError(t, s.Close())
}
