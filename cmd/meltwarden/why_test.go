package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestWhyAtATerminal goes the way of a maker from the invented bled shot to its causes, to
// another shot beside it, to a bleed of days later, and to files to pass on.
func TestWhyAtATerminal(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	said := atTerminal(t, folder)
	text := said("why", "7", "1")
	joined := unbroken(text)
	assert.Contains(t, joined, "why bled: ivory and rust? Hypotheses, no verdict.")
	assert.Regexp(t, `fits - a pot above its own target hottest pot beside its own target \+\d\.\d °C; 2\d clean shots`, joined)
	assert.Regexp(t, `(?m)^  no thermometer sees\n    - a rough or fast push$`, text)
	assert.Regexp(t, `(?m)^  rust beside +\+\d\.\d °C .* bled\n +its own\n +target$`, text)
	assert.Contains(t, text, "beside run 7, shot 2, clean")
	assert.Contains(t, said("why", "7", "1", "--beside", "4/1", "--fahrenheit"), "beside run 4, shot 1, clean")
	assert.Contains(t, text, "meltwarden report 7 --shot 1 --out why.html")
	assert.Equal(t, 1, strings.Count(said("why", "1", "1"), `causes --fault "bled"`), "two boundaries bled")

	late := ""
	for _, number := range []string{"1", "2", "3"} {
		if s := said("why", "6", number); strings.Contains(s, "bled") {
			late = s
		}
	}
	require.Contains(t, late, "not at demould")
	_, late, _ = strings.Cut(late, "\nwhy ")
	late, _, _ = strings.Cut(late, "\nbeside ")
	assert.NotContains(t, late, "°C")
	assert.Contains(t, late, "a colourant that dissolves in the plasticiser")

	var object struct {
		Findings []struct{ Hypotheses []struct{ Standing string } }
	}
	require.NoError(t, json.Unmarshal([]byte(said("why", "7", "1", "--json")), &object))
	assert.Equal(t, "fits", object.Findings[0].Hypotheses[0].Standing)

	file := filepath.Join(t.TempDir(), "why.html")
	assert.Contains(t, said("report", "7", "--out", file), "the report on run 7 is "+file)
	page, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.NotRegexp(t, regexp.MustCompile(`https?://`), string(page))
	picture := filepath.Join(t.TempDir(), "over.svg")
	said("review", "7", "--beside", "6", "--align", "ready", "--out", picture)
	said("review", "7", "--beside", "6/2", "--shot", "1", "--out", picture)
	svg, err := os.ReadFile(picture)
	require.NoError(t, err)
	assert.Contains(t, string(svg), "0:00 is shot 1 of run 7, and shot 2 of run 6")
}

// TestNumbersOfWhy prints of how many of the invented shots that a known cause spoilt it
// fits, and how often it stands first. What spoilt them is what the simulated maker was told
// to do (daemon/demo).
func TestNumbersOfWhy(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	planted := []struct{ run, shot, cause string }{
		{"1", "1", "a pot above its own target"}, // shot before all had cooled into their bands
		{"5", "2", "a long time from draw to push"},
		{"7", "1", "a pot above its own target"},
		{"9", "2", "a pot below its own target"}, // colour added just before
		{"11", "1", "pots unlike beside their targets: the thinner colour wraps the thicker"},
	}
	fits, first := 0, 0
	for _, p := range planted {
		out, err := run(t.Context(), "why", p.run, p.shot, "--json", "--data", folder)
		require.NoError(t, err)
		var c struct {
			Findings []struct {
				Hypotheses []struct{ Cause, Standing string }
			}
		}
		require.NoError(t, json.Unmarshal([]byte(out), &c))
		for i, h := range c.Findings[0].Hypotheses {
			if h.Cause != p.cause || h.Standing != "fits" {
				continue
			}
			fits++
			if i == 0 {
				first++
			}
		}
	}
	t.Logf("invented shots with a known cause: %d; it fits in %d, and stands first in %d", len(planted), fits, first)
	assert.Equal(t, len(planted), fits)
}

func TestMistakesAboutWhy(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	for want, args := range map[string][]string{
		`run 7, shot 9: there is no such shot`:                    {"why", "7", "9"},
		`run 99: there is no such run`:                            {"why", "7", "1", "--beside", "99/1"},
		`beside "4": write the run and the shot, like 5/2`:        {"why", "7", "1", "--beside", "4"},
		`shot "one": write the number`:                            {"why", "7", "one"},
		`--out: name the file to write`:                           {"report", "7"},
		`--beside: say with --shot`:                               {"report", "7", "--out", "x.html", "--beside", "4/1"},
		`--beside: name the file of the picture with --out`:       {"review", "7", "--beside", "6"},
		`--align "middle": write ready or shot`:                   {"review", "7", "--beside", "6", "--align", "middle", "--out", "x.svg"},
		`run 6, shot 8: there is no such shot`:                    {"review", "7", "--beside", "6/8", "--out", "x.svg"},
		`--shot with --out: give --from and --to for the stretch`: {"review", "7", "--shot", "1", "--out", "x.svg"},
		`run "six": write the number that the command runs shows`: {"review", "7", "--beside", "six", "--out", "x.svg"},
	} {
		_, err := run(t.Context(), append(args, "--data", folder)...)
		assert.ErrorContains(t, err, want)
		assert.NoFileExists(t, "x.svg")
	}
}
