package main

import (
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/lines"
	"meltwarden/daemon/phone"
)

// toCopy is a command, or an address, that is printed to be copied: it is never broken, and
// the name of a data folder may be of any length.
var toCopy = regexp.MustCompile(`^(  +|elsewhere: )meltwarden |^ +http://`)

// assertPrinted holds that lines have room in a terminal, and end in no blank.
func assertPrinted(t *testing.T, name, said string) {
	t.Helper()
	for line := range strings.Lines(said) {
		line = strings.TrimSuffix(line, "\n")
		assert.Equal(t, strings.TrimRight(line, " "), line, "no blanks at the end: %s", name)
		if !strings.HasPrefix(line, "{") && !toCopy.MatchString(line) && !strings.Contains(line, os.TempDir()) {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), lines.Wide, "%s: %s", name, line)
		}
	}
}

// excused are commands whose print is looked at elsewhere, or is for no terminal.
var excused = map[string]string{
	"demo": "goes on until it is ended; a line for every change", "serve": "as the demo", "watch": "a block of the screen's own size, and else a line for every change",
	"checks": "of a running bench: TestChecksOfARunningBench", "phone add": "of a running bench: TestPhonesAreLetInAtATerminal",
	"service": "a file for another program", "completion": "a file for another program", "recipes text": "a file as it was typed",
	"registers": "of a device: TestNumbersOfAnUnknownDevice", "scan": "of a line: TestScanningALine",
	"replay": "one line, which is tested apart", "plan": "a rehearsal of its own: TestPlanAtATerminal",
}

// typed is how each other command is given over the demo's past, once a line. @made is a
// folder to write to, @bench a bench file, and _ a blank within a word.
var typed = map[string][]string{
	"runs": {"", "--spoiled", "--reinspect", "--state finished"}, "find": {"eel", "emergency stop", "ivory"},
	"review": {"1", "3", "6", "7", "9", "7 --events", "11 --fahrenheit", "1 --shot 1", "11 --shot 1 --fahrenheit", "7 --out @made/run.svg"},
	"why":    {"1 1", "3 1", "6 1", "7 1 --fahrenheit", "9 2", "11 1", "11 2"}, "try": {"1 1", "7 1", "10 1"}, "verdict": {"7 2 dented"},
	"causes": {"", "--fault bled"}, "attempts": {""}, "photo": {"7 1"}, "report": {"7 --out @made/why.html"},
	"recipes": {""}, "recipes diff": {"slate_eel_v1 slate_eel_v2"}, "recipes edit": {"slate_eel_v2 --set ivory.setpoint=170_C --out @made/a.yaml"}, "recipes contrast": {"slate_eel_v2"},
	"recipes scale": {"slate_eel_v2 --times 1.5", "slate_eel_v2 --shots 12 --per-shot 18mL --config @bench"}, "promote": {"9 --out @made/b.yaml"},
	"batches": {""}, "batches show": {"1", "28", "20"}, "batches set": {"12 slate 28"}, "batches correct": {"28 --lot B12"},
	"export": {"7 8 --as archive --out @made/runs.sqlite"}, "import": {"@made/runs.sqlite"}, "backup": {"@made/copy.sqlite"},
	"tidy": {"--older-than 365_days --dry-run"}, "schema": {""}, "phone list": {""}, "phone put-out": {"1", "1"},
	"dashboards": {"--out @made/watching"}, "version": {""}, "api": {""},
	"ports": {""}, "examples": {"", "board --into @made/examples"}, "calibrate": {"--status --config @bench"}, "check": {"--config @bench"}, "commission": {"--status --config @bench"},
	"first-heat":        {"--config @bench", "--status --config @bench"},
	"estimate injector": {"", "--fahrenheit"}, "estimate mould": {""}, "estimate seam": {""}, "estimate contact": {""}, "estimate warming": {""}, "estimate flow": {""},
}

// TestWhatIsPrintedFits a terminal of 80 columns, of every command, over the demo's past.
func TestWhatIsPrintedFits(t *testing.T) {
	t.Parallel()
	folder, made := aPast(t), t.TempDir()
	meant := strings.NewReplacer("_", " ", "@made", made, "@bench", benchIn(t, made, "/dev/there-is-no-such-port"))
	s := phone.Open(folder)
	_, _, err := s.Add("the phone with the blue cover, of the bench", phone.DefaultFor, time.Now())
	require.ErrorContains(t, err, "write a shorter one")
	_, _, err = s.Add("the phone with the blue cover", phone.DefaultFor, time.Now())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	began := time.Now()
	all := runnable()
	for _, name := range slices.Sorted(maps.Keys(all)) { // an export before its import
		c := all[name]
		if _, is := excused[name]; is {
			continue
		}
		lists, is := typed[name]
		require.True(t, is, "%s: what it prints is not looked at", name)
		for _, line := range lists {
			args := append(strings.Fields(name), strings.Fields(line)...)
			for i, a := range args {
				args[i] = meant.Replace(a)
			}
			if c.Flags().Lookup("data") != nil {
				args = append(args, "--data", folder)
			}
			said, err := run(t.Context(), args...)
			if name != "check" && name != "commission" && name != "try" && name != "first-heat" {
				require.NoError(t, err, args)
			}
			if err != nil {
				said += complaint(err.Error(), true)
			}
			assertPrinted(t, strings.Join(args, " "), said)
		}
	}
	t.Logf("%v for all of them", time.Since(began).Round(time.Millisecond))
}
