//go:build unix

package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// TestCalibrateThenCheck: over a real pseudo-terminal a probe that is 2 °C high is found in
// ice, corrected from the next start on, told by check, written down with a run, and taken
// back. Neither the proof of the heaters nor the bench file change by it.
func TestCalibrateThenCheck(t *testing.T) {
	t.Parallel()
	bench, clk, file := fasterBench(t, 50)
	folder := t.TempDir()
	bench.Err(simbench.Place{Probe: registers.Melt}, 2, 0)
	bench.DipMelt(0, 0)
	nudged(t, file, folder, "left")
	digest := statusOf(t, file, folder).Digest

	say := func(args ...string) string {
		t.Helper()
		said, err := run(t.Context(), append(args, "--config", file, "--data", folder)...)
		require.NoError(t, err, said)
		return said
	}
	require.Contains(t, say("check"), "Calibration: no melt probe has ever been calibrated.")
	c, said := calibrateAt(clk), &tap{}
	c.SetArgs([]string{"ice", "accept", "--config", file, "--data", folder})
	c.SetOut(said)
	require.NoError(t, c.ExecuteContext(t.Context()), said)
	require.Contains(t, said.String(), "In force from the next start of serve on: melt left -")

	checked := say("check")
	require.Regexp(t, `corrected: melt left, measured \S+: -[12]\.\d\d °C; then within 0\.7 °C at 100 °C`, checked)
	require.NotContains(t, checked, "Calibration:")
	require.Regexp(t, `ok +melt +left +probes +-?0\.\d °C`, checked, "the ice reads as ice")
	require.Contains(t, say("check", "--json"), `"corrections":["corrected: melt left`)
	require.Equal(t, digest, statusOf(t, file, folder).Digest)
	require.Contains(t, say("calibrate", "--status"), "melt left\n  in force since")
	require.Contains(t, say("calibrate", "--status", "--json"), `"in_force":{"OffsetC":-`)

	served := &tap{}
	end := inBackground(t, serveAt(clk), served, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	require.Eventually(t, func() bool { return runsIn(folder) == 1 }, soon, 10*time.Millisecond, served)
	require.NoError(t, end())
	require.Contains(t, served.String(), "corrected: melt left")
	reviewed, err := run(t.Context(), "review", "1", "--data", folder)
	require.NoError(t, err)
	require.Contains(t, strings.ReplaceAll(reviewed, "\n", " "), "readings are corrected by calibration: melt left -")

	require.Contains(t, say("calibrate", "--take-back", "melt left"), "no correction is in force")
	require.Contains(t, say("check"), "its correction was taken back on")
}

// runsIn counts the runs of a data folder.
func runsIn(folder string) int {
	s, err := history.OpenExisting(folder)
	if s == nil || err != nil {
		return 0
	}
	defer s.Close()
	runs, _ := s.Runs(history.Filter{})
	return len(runs)
}

func TestCalibrateMistakes(t *testing.T) {
	file := benchIn(t, t.TempDir(), "/dev/there-is-no-such-port")
	folder := t.TempDir()
	for want, args := range map[string][]string{
		"give only one of them":                {"--status", "--again"},
		`"ice": points are taken without`:      {"ice", "--status"},
		`"snow" is not known: write ice`:       {"snow"},
		"hPa is no pressure that a bench":      {"boiling at 98 hPa"},
		`probe "melt lift": there is none`:     {"--take-back", "melt lift"},
		`melt left: no correction is in force`: {"--take-back", "melt left"},
	} {
		_, err := run(t.Context(), append([]string{"calibrate", "--config", file, "--data", folder}, args...)...)
		require.ErrorContains(t, err, want)
	}
	_, err := run(t.Context(), "calibrate", "--config", filepath.Join(folder, "none.yaml"))
	require.ErrorContains(t, err, "no such file")
}
