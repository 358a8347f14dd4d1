//go:build unix

package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/daemon"
	"meltwarden/daemon/calibrate"
	"meltwarden/daemon/history"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// inIce puts on record that the melt probe of the first pot was in ice, as a session does,
// which takes a minute of bench time: daemon/calibrate has its own tests, in virtual time.
func inIce(t *testing.T, file, folder string, shownC float64) {
	t.Helper()
	_, err := run(t.Context(), "calibrate", "--config", file, "--data", folder, "--changed", "melt left")
	require.NoError(t, err)
	past, err := history.Open(folder)
	require.NoError(t, err)
	defer past.Close()
	all, err := past.Calibrations()
	require.NoError(t, err)
	point := all[0] // that it was changed
	record, err := json.Marshal(calibrate.Point{Kind: calibrate.Ice, Words: "ice", At: time.Now(), WithinC: 0.1, ShownC: shownC, Readings: 300, ScatterC: 0.25, StepC: 0.25})
	require.NoError(t, err)
	point.Kind, point.Record = history.CalibrationPoint, string(record)
	require.NoError(t, past.KeepCalibration(point))
}

// ended ends a program on a bench ten times faster than real time, where a busy computer may
// be too late to have zeros confirmed. That they are is tried elsewhere.
func ended(t *testing.T, end func() error) {
	t.Helper()
	if err := end(); err != nil {
		require.ErrorContains(t, err, "did not confirm zero before the end")
	}
}

// TestCalibrateThenCheck: over a real pseudo-terminal a probe that was 2 °C high in ice is
// corrected from the next start on, told by check, written down with a run, and taken
// back. Neither the proof of the heaters nor the bench file change by it.
func TestCalibrateThenCheck(t *testing.T) {
	t.Parallel()
	bench, clk, file := fastBench(t)
	folder := t.TempDir()
	bench.Err(simbench.Place{Probe: registers.Melt}, 2, 0)
	bench.Err(simbench.Place{Probe: registers.Plate}, 0, 0)
	nudged(t, file, folder, "left")
	digest := statusOf(t, file, folder).Digest

	say := func(args ...string) string {
		t.Helper()
		said, err := run(t.Context(), append(args, "--config", file, "--data", folder)...)
		require.NoError(t, err, said)
		return said
	}
	before := say("check")
	require.Contains(t, before, "Calibration: melt left has never been calibrated.")
	require.InDelta(t, 2, readIn(t, before, "melt")-readIn(t, before, "plate"), 1.2, "cold, and 0.25 °C of noise each")
	inIce(t, file, folder, 2)
	require.Contains(t, oneLine(say("check")), "melt left was changed on")
	c, said := calibrateAt(clk), &tap{}
	c.SetArgs([]string{"accept", "--config", file, "--data", folder})
	c.SetOut(said)
	require.NoError(t, c.ExecuteContext(t.Context()), said)
	require.Contains(t, said.String(), "In force from the next start of serve on: melt left -2.00 °C")

	checked := say("check")
	require.Regexp(t, `corrected: melt left, measured \S+: -2\.00 °C; then within 0\.7 °C at 100 °C`, oneLine(checked))
	require.NotContains(t, checked, "Calibration:")
	require.InDelta(t, 0, readIn(t, checked, "melt")-readIn(t, checked, "plate"), 1.2)
	require.Contains(t, say("check", "--json"), `"corrections":["corrected: melt left`)
	require.Equal(t, digest, statusOf(t, file, folder).Digest)
	require.Contains(t, say("calibrate", "--status"), "melt left\n  in force since")
	require.Contains(t, say("calibrate", "--status"), `to take a correction back:`+"\n"+`  meltwarden calibrate --config FILE --take-back "melt left"`)
	require.Contains(t, say("calibrate", "--status", "--json"), `"in_force":{"offset_c":-`)
	typed, err := os.ReadFile(file)
	require.NoError(t, err)
	renamed := regexp.MustCompile(`(?m)^name: .*$`).ReplaceAllString(string(typed), "name: north bench")
	require.NoError(t, os.WriteFile(file, []byte(renamed), 0o644))
	for _, said := range []string{say("check"), say("calibrate", "--status")} { // a port shows of no bench that it is the same
		require.Contains(t, oneLine(said), `melt left is not corrected: a correction is on record of a bench called "small bench", and nothing shows that it is this bench.`)
		require.NotContains(t, said, "corrected: melt left")
	}
	require.Equal(t, digest, statusOf(t, file, folder).Digest, "nor does its proof go by a name")
	require.NoError(t, os.WriteFile(file, typed, 0o644))

	served := &tap{}
	end := inBackground(t, serveAt(clk), served, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	require.Eventually(t, func() bool { return runsIn(folder) == 1 }, soon, 10*time.Millisecond, served)
	ended(t, end)
	require.Contains(t, served.String(), "corrected: melt left")
	reviewed, err := run(t.Context(), "review", "1", "--data", folder)
	require.NoError(t, err)
	require.Contains(t, oneLine(reviewed), "readings are corrected by calibration: melt left -")

	require.Contains(t, completed(t, "calibrate", "--data", folder, "--take-back", ""), "melt left")
	none := say("calibrate", "--take-back", "melt left")
	require.Contains(t, none, "no correction is in force")
	require.NotContains(t, none, "to take a correction back", "there is none")
	require.Contains(t, oneLine(say("check")), "its correction was taken back on")

	past, err := history.Open(folder)
	require.NoError(t, err)
	all, err := past.Calibrations()
	require.NoError(t, err)
	broken := all[len(all)-1]
	broken.Kind, broken.Record = history.CalibrationInForce, `{"offset_c": 40}`
	require.NoError(t, past.KeepCalibration(broken))
	require.NoError(t, past.Close())
	require.Contains(t, oneLine(say("check")), "heat is refused, because the record can not be read")
	served = &tap{}
	end = inBackground(t, serveAt(clk), served, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	require.Eventually(t, func() bool { return strings.Contains(oneLine(served.String()), daemon.RefusedUncorrected) }, soon, 10*time.Millisecond, served)
	ended(t, end)
	require.NotContains(t, served.String(), "can switch heat on")
}

// readIn is what check says that a probe of the first pot reads.
func readIn(t *testing.T, checked, role string) float64 {
	t.Helper()
	found := regexp.MustCompile(`ok +` + role + ` +left +probes +(\S+) °C`).FindStringSubmatch(checked)
	require.Len(t, found, 2, checked)
	c, err := strconv.ParseFloat(found[1], 64)
	require.NoError(t, err)
	return c
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
