//go:build unix

package main

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/commission"
	"meltwarden/devices/registers"
)

// proven puts on record all that the bench of one pot needs to be heated.
func proven(t *testing.T, file, folder string) {
	t.Helper()
	done, now := nudges("left"), time.Now()
	done.Melts = append(done.Melts, dipped("left"))
	answers := strings.Split(theAnswers, "\n")
	for i, line := range commission.Steps(nil)[0].Lines {
		key, _, _ := strings.Cut(line, ": ")
		done.Answers = append(done.Answers, commission.Answer{Question: key, Words: answers[i], At: now})
	}
	done.Proofs = []commission.Proof{{Device: "power", At: now, AgainS: 2, LetGoS: 1.5, StillOnS: 1, ReadS: 2}}
	done.Interlocks = []commission.Interlock{{Role: registers.EStop, At: now}, {Role: registers.CutOut, At: now}}
	onRecord(t, file, folder, done)
}

// TestFirstHeatOverTheLine: over a real pseudo-terminal nothing is heated before the press;
// then it is, and who interrupts it leaves a cold bench of which nothing is known.
func TestFirstHeatOverTheLine(t *testing.T) {
	t.Parallel()
	bench, clk, file := fastBench(t)
	folder := t.TempDir()
	proven(t, file, folder)
	require.True(t, statusOf(t, file, folder).Complete)

	said := &tap{}
	heat := func() float64 { return bench.Truth().Pots[0].HeatJ }
	end := inBackground(t, firstHeatAt(clk), said, "--config", file, "--data", folder)
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "Press the bench's enable button") }, soon, 10*time.Millisecond, said)
	require.True(t, clk.Sleep(context.Background(), 5*time.Second))
	require.Zero(t, heat(), "nobody has pressed")
	heatsAfterPress(t, bench, clk, said)
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "0:15") }, soon, 10*time.Millisecond, said)
	require.Positive(t, heat())
	require.ErrorContains(t, end(), "the heaters were told zero, and nothing is kept")
	truth := bench.Truth()
	assert.False(t, truth.Contactor)
	assert.Zero(t, truth.Pots[0].PowerW)
	known, err := run(t.Context(), "first-heat", "--config", file, "--data", folder, "--status")
	require.NoError(t, err)
	assert.Contains(t, oneLine(known), "nothing is known of it yet; it has to gain by first-heat")
	runs, err := run(t.Context(), "runs", "--data", folder)
	require.NoError(t, err)
	assert.Contains(t, runs, "first heat: raw paste warmed a little, no evening")
}
