//go:build linux

package main

import (
	"bytes"
	"debug/elf"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// wallClock sets the wall clock of one process and of no other: in that process's own
// copy of the code with which the system tells the time, it puts code that asks the
// system and adds a span. Monotonic time stays as it is.
type wallClock struct {
	t       *testing.T
	memory  *os.File
	at      int64 // the address of the span, in seconds
	wrongBy time.Duration
}

// tell is that code, clock_gettime of the system's interface for amd64: as many
// seconds as follow it are added to CLOCK_REALTIME, clock 0.
var tell = []byte{
	0xB8, 0xE4, 0x00, 0x00, 0x00, // mov eax, 228: the system call
	0x0F, 0x05, // syscall: edi is the clock, rsi where its time is put
	0x85, 0xFF, // test edi, edi
	0x75, 0x0A, // jne over the next two
	0x48, 0x8B, 0x0D, 0x06, 0x00, 0x00, 0x00, // mov rcx, [rip+6]: the span
	0x48, 0x01, 0x0E, // add [rsi], rcx
	0xC3, 0x90, 0x90, // ret
	0, 0, 0, 0, 0, 0, 0, 0, // the span
}

// wallClockOf halts the process for a moment. That it is just then in the middle of
// that code, which takes less than a microsecond each time, is left to chance.
func wallClockOf(t *testing.T, p *os.Process) *wallClock {
	t.Helper()
	if runtime.GOARCH != "amd64" {
		t.Skip("the code that sets the clock is amd64's")
	}
	maps, err := os.ReadFile(fmt.Sprintf("/proc/%d/maps", p.Pid))
	require.NoError(t, err)
	lines := strings.Split(string(maps), "\n")
	i := slices.IndexFunc(lines, func(line string) bool { return strings.HasSuffix(line, "[vdso]") })
	require.GreaterOrEqual(t, i, 0)
	var from, to int64
	_, err = fmt.Sscanf(lines[i], "%x-%x", &from, &to)
	require.NoError(t, err)
	memory, err := os.OpenFile(fmt.Sprintf("/proc/%d/mem", p.Pid), os.O_RDWR, 0)
	require.NoError(t, err)
	t.Cleanup(func() { _ = memory.Close() })
	code := make([]byte, to-from)
	_, err = memory.ReadAt(code, from)
	require.NoError(t, err)
	at := from + offsetOf(t, code, "__vdso_clock_gettime")
	require.NoError(t, p.Signal(syscall.SIGSTOP))
	require.Eventually(t, func() bool {
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.Pid))
		return err == nil && bytes.Contains(status, []byte("T (stopped)"))
	}, soon, time.Millisecond)
	_, err = memory.WriteAt(tell, at)
	require.NoError(t, err)
	require.NoError(t, p.Signal(syscall.SIGCONT))
	return &wallClock{t: t, memory: memory, at: at + int64(len(tell)-8)}
}

// offsetOf finds a function in a library and sees that tell has room in it.
func offsetOf(t *testing.T, library []byte, name string) int64 {
	t.Helper()
	file, err := elf.NewFile(bytes.NewReader(library))
	require.NoError(t, err)
	symbols, err := file.DynamicSymbols()
	require.NoError(t, err)
	i := slices.IndexFunc(symbols, func(s elf.Symbol) bool { return s.Name == name })
	require.GreaterOrEqual(t, i, 0)
	require.GreaterOrEqual(t, symbols[i].Size, uint64(len(tell)))
	return int64(symbols[i].Value)
}

// set moves the clock by whole seconds.
func (w *wallClock) set(by time.Duration) {
	w.t.Helper()
	w.wrongBy += by
	_, err := w.memory.WriteAt(binary.LittleEndian.AppendUint64(nil, uint64(w.wrongBy/time.Second)), w.at)
	require.NoError(w.t, err)
}

// clockSet is trouble that begins with the daemon's wall clock moved, and sees that
// the daemon tells that time.
func clockSet(by time.Duration) func(*heated) {
	return func(h *heated) {
		if h.clock == nil {
			h.clock = wallClockOf(h.t, h.Process)
		}
		h.clock.set(by)
		require.Eventually(h.t, func() bool { return (h.pageClock() - h.clock.wrongBy).Abs() < 500*time.Millisecond }, soon, beat)
	}
}

// pageClock is how far the newest frame's wall time is from ours.
func (h *heated) pageClock() time.Duration {
	answer, err := http.Get(h.page + "/api/v1/bench")
	require.NoError(h.t, err)
	defer answer.Body.Close()
	var shown struct{ At time.Time }
	require.NoError(h.t, json.NewDecoder(answer.Body).Decode(&shown))
	return time.Until(shown.At)
}
