package main

import (
	"encoding/json"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/lines"
)

// TestNumbersOfRunsKeptAndShared goes the way of a maker at a terminal: a photo of a
// spoiled shot, an archive for another computer, and room for the next year, of which it
// prints how much.
func TestNumbersOfRunsKeptAndShared(t *testing.T) {
	t.Parallel()
	folder, other := aPast(t), t.TempDir()
	said := func(args ...string) string {
		t.Helper()
		out, err := run(t.Context(), args...)
		require.NoError(t, err, out)
		return out
	}
	picture := filepath.Join(t.TempDir(), "bait.png")
	file, err := os.Create(picture)
	require.NoError(t, err)
	require.NoError(t, png.Encode(file, image.NewGray(image.Rect(0, 0, 300, 200))))
	require.NoError(t, file.Close())
	assert.Contains(t, said("photo", "7", "1", "--data", folder), "no photo")
	assert.Contains(t, said("photo", "7", "1", picture, "--data", folder), "photo 1: 300 × 200 pixels")
	assert.Contains(t, unbroken(said("review", "7", "--shot", "1", "--data", folder)), "without a grey card")

	archive := filepath.Join(t.TempDir(), "two-evenings")
	assert.Contains(t, said("export", "7", "6", "--as", "archive", "--out", archive, "--data", folder), "2 runs written")
	first := unbroken(said("import", archive, "--data", other))
	assert.Contains(t, first, "run 2 of the file, slate eel on demo bench, is run 2 here")
	assert.Contains(t, first, "2 runs brought in")
	assert.Contains(t, unbroken(said("import", archive, "--data", other)), "is here already as run 2: left as it is")
	assert.Contains(t, said("runs", "--data", other), "v2 * †")
	assert.Contains(t, unbroken(said("review", "2", "--data", other)), "made elsewhere, on demo bench; brought on ")
	assert.Contains(t, said("replay", "2", "--data", other), "no difference")
	copied := filepath.Join(t.TempDir(), "copy.jpg")
	said("photo", "2", "1", "--number", "1", "--out", copied, "--data", other)
	assert.FileExists(t, copied)
	assert.Contains(t, said("photo", "2", "1", "--take-back", "1", "--data", other), "no photo")
	again := archive + "-again"
	said("export", "6", "7", "--as", "archive", "--out", again, "--data", folder)
	one, err := os.ReadFile(archive)
	require.NoError(t, err)
	two, err := os.ReadFile(again)
	require.NoError(t, err)
	assert.Equal(t, len(one), len(two), "in whichever order")

	assert.Contains(t, said("runs", "--mould", "two cavities", "--lot", "demo lot", "--recipe", "slate eel v2", "--until", "2026-02-15", "--data", folder), "\n7 ")
	assert.Contains(t, said("runs", "--lot", "no such lot", "--data", folder), "no runs")

	assert.Contains(t, said("tidy", "--older-than", "10 days", "--dry-run", "--data", folder), "nothing was changed")
	assert.Contains(t, said("replay", "7", "--data", folder), "no difference")
	thinned := said("tidy", "--older-than", "10d", "--data", folder)
	t.Log("\n" + thinned)
	assert.Regexp(t, `the file: \d+ kB before, \d+ kB after`, thinned)
	assert.Contains(t, unbroken(said("review", "7", "--data", folder)), "replay no longer possible")
	_, err = run(t.Context(), "replay", "7", "--data", folder)
	assert.ErrorContains(t, err, "replay is no longer possible")
	said("review", "7", "--out", filepath.Join(t.TempDir(), "run.svg"), "--data", folder)

	var documented struct{ Relations []struct{ Name string } }
	require.NoError(t, json.Unmarshal([]byte(said("schema", "--json")), &documented))
	for _, r := range documented.Relations {
		assert.Contains(t, said("schema"), " "+r.Name+": ")
	}
	for _, line := range strings.Split(said("schema"), "\n") {
		assert.LessOrEqual(t, len([]rune(line)), lines.Wide, line)
	}
}

func TestMistakesAboutKeeping(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	for want, args := range map[string][]string{
		`--as "xml": write csv, json or archive`:                      {"export", "7", "--as", "xml"},
		`--out: missing; name the file`:                               {"export", "7", "--as", "archive"},
		`name the runs that the archive is to have, or --all`:         {"export", "--as", "archive", "--out", "x"},
		`--as csv takes one run`:                                      {"export", "7", "8"},
		`leave out --out and --all`:                                   {"export", "--all"},
		`run 99: there is no such run`:                                {"export", "99", "--as", "archive", "--out", filepath.Join(folder, "x")},
		`none.sqlite: no such file or directory; nothing was brought`: {"import", "none.sqlite"},
		`--older-than "a year": does not begin with a number`:         {"tidy", "--older-than", "a year"},
		`--older-than "12 h": unit "h" unknown; write "12 days"`:      {"tidy", "--older-than", "12 h"},
		`run 7, shot 9: there is no such shot`:                        {"photo", "7", "9"},
		`photo 5: there is no such photo`:                             {"photo", "7", "1", "--take-back", "5"},
		`main.go: neither JPEG nor PNG`:                               {"photo", "7", "1", "main.go"},
		`not both`:                                                    {"photo", "7", "1", "main.go", "--take-back", "5"},
	} {
		_, err := run(t.Context(), append(args, "--data", folder)...)
		assert.ErrorContains(t, err, want)
	}
}
