//go:build linux

package main

import (
	"fmt"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/commission"
	"meltwarden/devices/registers"
)

// heated is a daemon of its own that heats a foreign bench through a bad line.
type heated struct {
	*foreign
	*process
	t      *testing.T
	folder string
	rand   *rand.Rand
	second *process   // on the same port
	clock  *wallClock // the daemon's, once it was set
}

// heat starts a bench and its daemon, and presses the button until it is heated.
func heat(t *testing.T, seed uint64) *heated {
	t.Helper()
	h := &heated{foreign: startForeign(t), t: t, folder: t.TempDir(), rand: rand.New(rand.NewPCG(seed, 0))}
	allOnRecord(t, h.file, h.folder)
	h.serve()
	h.pressUntilHot(t, h.said.String)
	return h
}

func (h *heated) serve() { h.process = watching(h.t, h.file, h.folder) }

// allOnRecord puts a whole commissioning of the foreign bench on record, which
// TestNumbersOfTheForeignBench leads for real.
func allOnRecord(t *testing.T, file, folder string) {
	t.Helper()
	now := time.Now()
	done := nudges(foreignPots...)
	done.Melts = append(done.Melts, dipped(foreignPots[0]))
	done.Proofs = []commission.Proof{{Device: "everything", At: now, StillOnS: 1, LetGoS: 1.125, ReadS: 2, AgainS: 2}}
	done.Interlocks = []commission.Interlock{{Role: registers.EStop, At: now}, {Role: registers.CutOut, At: now}}
	answers := strings.Split(theAnswers, "\n")
	for i, question := range []string{
		"cut-out", "cut-out-opens", "cut-out-tried", "fuse", "residual-current-device", "residual-current-device-tried",
		"earth", "earth-measured", "e-stop", "e-stop-tried", "e-stop-release", "contactor", "extraction", "extinguisher",
		"gauntlets", "electrician",
	} {
		done.Answers = append(done.Answers, commission.Answer{Question: question, Words: answers[i], At: now})
	}
	onRecord(t, file, folder, done)
}

// trouble is something that goes wrong while a bench is heated, and is mended.
type trouble struct {
	name        string
	begin, mend func(*heated)
	// by is what has to end the heat, where only one thing can; harmless trouble must
	// not end it.
	by       string
	harmless bool
}

// onTheLine is trouble of the serial line.
func onTheLine(name string, f fault) trouble {
	return trouble{
		name:  name,
		begin: func(h *heated) { h.line.spoil(f) },
		mend:  func(h *heated) { h.line.spoil(fault{}) },
	}
}

// told is a signal to the daemon.
func told(s syscall.Signal) func(*heated) {
	return func(h *heated) { assert.NoError(h.t, h.Process.Signal(s)) }
}

func lost([]byte) [][]byte { return nil }

func badCheck(frame []byte) [][]byte {
	frame[len(frame)-1] ^= 1
	return [][]byte{frame}
}

func truncated(frame []byte) [][]byte { return [][]byte{frame[:len(frame)/2]} }

func twice(frame []byte) [][]byte { return [][]byte{frame, frame} }

func fromAnother(frame []byte) [][]byte {
	frame[0]++
	return [][]byte{sealed(frame[:len(frame)-2]...)}
}

// exception is "server device failure" (Modbus application protocol V1.1b3, 7).
func exception(frame []byte) [][]byte { return [][]byte{sealed(frame[0], frame[1]|0x80, 4)} }

// garbage is as long as the reply.
func (h *heated) garbage(frame []byte) [][]byte {
	for i := range frame {
		frame[i] = byte(h.rand.Uint32())
	}
	return [][]byte{frame}
}

// lanes are benches side by side, and what happens to each, one after the other.
var lanes = [][]trouble{{
	{name: "unplugged", begin: func(h *heated) { h.line.unplug() }, mend: func(h *heated) { h.line.plug() }, by: "silence"},
	onTheLine("bad check", fault{reply: badCheck}),
	onTheLine("late by 0.45 s", fault{late: 450 * time.Millisecond}),
}, {
	{name: "dead line", begin: func(h *heated) { h.line.spoil(fault{deaf: true}) }, mend: func(h *heated) { h.line.spoil(fault{}) }, by: "silence"},
	onTheLine("truncated", fault{reply: truncated}),
	harmless(onTheLine("duplicated", fault{reply: twice})),
}, {
	onTheLine("replies lost", fault{reply: lost}),
	{name: "garbage", begin: func(h *heated) { h.line.spoil(fault{reply: h.garbage}) }, mend: func(h *heated) { h.line.spoil(fault{}) }},
	{name: "killed", begin: told(syscall.SIGKILL), mend: func(h *heated) { _ = h.Wait(); h.serve() }, by: "silence"},
}, {
	onTheLine("wrong unit", fault{reply: fromAnother}),
	onTheLine("exceptions", fault{reply: exception}),
	{name: "told to end", begin: told(syscall.SIGTERM), mend: func(h *heated) { assert.NoError(h.t, h.Wait()); h.serve() }, by: "told"},
}, {
	{name: "peer reboots", begin: func(h *heated) { h.do("off") }, mend: func(h *heated) { h.do("on") }, by: "supply"},
	{name: "halted", begin: told(syscall.SIGSTOP), mend: told(syscall.SIGCONT), by: "silence"},
	harmless(onTheLine("echo", fault{echo: true})),
}, {
	onTheLine("echo, replies lost", fault{echo: true, reply: lost}),
	harmless(trouble{name: "a second daemon", begin: (*heated).another, mend: (*heated).anotherEnds}),
}, {
	rebootsFor(100 * time.Millisecond),
	rebootsFor(300 * time.Millisecond),
	rebootsFor(600 * time.Millisecond),
}, {
	harmless(trouble{name: "clock back a day", begin: clockSet(-24 * time.Hour), mend: stays}),
	{name: "clock forward 90 s", begin: clockSet(90 * time.Second), mend: stays, by: "told"},
	harmless(trouble{name: "clock forward 1 s", begin: clockSet(time.Second), mend: stays}),
	harmless(trouble{name: "clock back an hour", begin: clockSet(-time.Hour), mend: stays}),
}}

func stays(*heated) {}

// rebootsFor is a peer that loses its supply for a moment only, and is itself again.
func rebootsFor(span time.Duration) trouble {
	return trouble{
		name:  fmt.Sprintf("peer reboots %.1f s", span.Seconds()),
		begin: func(h *heated) { h.do("off"); h.after(span, "on") },
		mend:  stays,
		by:    "supply",
	}
}

func harmless(tr trouble) trouble {
	tr.harmless = true
	return tr
}

// another starts a second daemon on the same port, which might heat as well, and
// which is refused.
func (h *heated) another() {
	folder := h.t.TempDir()
	allOnRecord(h.t, h.file, folder)
	h.second = started(h.t, command("serve", "--config", h.file, "--listen", "127.0.0.1:0", "--data", folder))
	require.Eventually(h.t, h.second.saysSo("in use by another program: stop that one first"), soon, beat)
}

func (h *heated) anotherEnds() {
	require.NoError(h.t, h.second.Process.Signal(syscall.SIGTERM))
	require.IsType(h.t, &exec.ExitError{}, h.second.Wait(), "it could tell no heater")
}

const (
	endsWithin = 2 * time.Second
	// look is what the peer may see it later: a step of its clock, and its wait for a
	// processor that other benches use.
	look = 100 * time.Millisecond
	// watchedFor is for how long the peer is watched after a trouble has begun, and again
	// after it is mended.
	watchedFor = 3 * time.Second
)

// TestNumbersOfForeignTroubles: a daemon of its own heats pymodbus's bench through a
// line that is spoilt, the peer reboots, or the daemon itself is halted or killed. When
// the heat ended is the peer's word. Then all is well again, and nothing heats until
// somebody presses the bench's own button.
func TestNumbersOfForeignTroubles(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	var table []string
	t.Cleanup(func() {
		slices.Sort(table)
		t.Logf("%-20s %12s %-8s %s\n%s", "trouble", "heat ended", "by", "presses until it heated again", strings.Join(table, "\n"))
	})
	for i, lane := range lanes {
		t.Run(lane[0].name, func(t *testing.T) {
			t.Parallel()
			h := heat(t, uint64(i))
			for _, tr := range lane {
				row := h.goesThrough(tr)
				mu.Lock()
				table = append(table, row)
				mu.Unlock()
			}
			h.ends(t)
			out, err := run(t.Context(), "replay", "1", "--data", h.folder)
			require.NoError(t, err)
			require.Regexp(t, `^\d+ cycles, no difference\n$`, out)
		})
	}
}

// goesThrough has something go wrong, and be mended, and returns what came of it.
func (h *heated) goesThrough(tr trouble) string {
	h.t.Helper()
	if tr.harmless {
		h.heatsThrough(tr)
		return fmt.Sprintf("%-20s %12s", tr.name, "not")
	}
	began := monotonic(h.t)
	tr.begin(h)
	time.Sleep(watchedFor)
	require.False(h.t, h.hot(), tr.name)
	changes := h.changes(began)
	end := changes[len(changes)-1]
	if tr.by != "" {
		assert.Equal(h.t, tr.by, end.why, tr.name)
	}
	assert.LessOrEqual(h.t, end.at-began, endsWithin+look, tr.name)

	mended := monotonic(h.t)
	tr.mend(h)
	time.Sleep(watchedFor)
	require.Empty(h.t, h.changes(mended), "%s: nothing heats by itself", tr.name)
	presses := h.pressUntilHot(h.t, h.said.String)
	return fmt.Sprintf("%-20s %8.2f s   %-8s %d", tr.name, (end.at - began).Seconds(), end.why, presses)
}

// heatsThrough has something go wrong that must not end the heat. Where other tests
// take the processor from a daemon for half a second, its heat ends all the same: it is
// tried three times.
func (h *heated) heatsThrough(tr trouble) {
	h.t.Helper()
	var changes []change
	for range 3 {
		began := monotonic(h.t)
		tr.begin(h)
		time.Sleep(watchedFor)
		tr.mend(h)
		if changes = h.changes(began); len(changes) == 0 {
			return
		}
		h.pressUntilHot(h.t, h.said.String)
	}
	require.Fail(h.t, tr.name, "%v\n%s", changes, h.said.String())
}
