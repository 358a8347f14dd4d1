//go:build unix

package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history"
)

// program starts the whole demo as a process of its own.
func program(t *testing.T, folder string) *exec.Cmd {
	t.Helper()
	c := exec.Command(os.Args[0], "demo", "--listen", "127.0.0.1:0", "--data", folder)
	c.Env = append(os.Environ(), "AS_THE_PROGRAM=1")
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	return c
}

// newest is the newest run as "runs --json" has it.
func newest(t *testing.T, folder string) history.Run {
	out, err := run(t.Context(), "runs", "--json", "--data", folder)
	var object struct{ Runs []history.Run }
	if err != nil || json.Unmarshal([]byte(out), &object) != nil || len(object.Runs) == 0 {
		return history.Run{}
	}
	return object.Runs[0]
}

// TestKilledProgramLeavesAnInterruptedRun: the whole program, over a real
// pseudo-terminal, killed while it heats. The run says so before anybody starts the
// program again, replays, and goes on with the next start.
func TestKilledProgramLeavesAnInterruptedRun(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	folder := aPast(t)
	due := newest(t, folder).ID + 1
	number := strconv.FormatInt(due, 10)
	first := program(t, folder)
	recorded := func(more int64) func() bool {
		return func() bool {
			r := newest(t, folder)
			return r.ID == due && r.State == history.Recording && r.Cycles > more
		}
	}
	require.Eventually(t, recorded(100), 60*time.Second, 100*time.Millisecond)
	_, err := history.Open(folder)
	assert.ErrorContains(t, err, "another meltwarden records into it")

	require.NoError(t, first.Process.Kill())
	_ = first.Wait()
	left := newest(t, folder)
	assert.Equal(t, history.Interrupted, left.State)
	assert.NotNil(t, left.Ended)
	out, err := run(t.Context(), "replay", number, "--data", folder)
	require.NoError(t, err)
	assert.Regexp(t, `^\d+ cycles, no difference\n$`, out)

	second := program(t, folder)
	require.Eventually(t, recorded(left.Cycles+50), 60*time.Second, 100*time.Millisecond, "the same run goes on")
	require.NoError(t, second.Process.Signal(os.Interrupt))
	require.NoError(t, second.Wait())
	assert.Equal(t, history.Finished, newest(t, folder).State)
	out, err = run(t.Context(), "replay", number, "--data", folder)
	require.NoError(t, err)
	assert.Regexp(t, `^\d+ cycles, no difference\n$`, out)
}
