package lines

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestTable(t *testing.T) {
	table := Table{Indent: "  ", Right: 1}
	table.Row("no", "time", "verdict")
	table.Row("1", "0:22:19", "bled: ivory and rust")
	table.Row("12", "0:24:01", "clean")
	assert.Equal(t, ""+
		"  no  time     verdict\n"+
		"   1  0:22:19  bled: ivory and rust\n"+
		"  12  0:24:01  clean\n", table.String())
}

// TestATableThatIsTooWide is broken where that makes the fewest lines: here in its head. A
// figure keeps its unit.
func TestATableThatIsTooWide(t *testing.T) {
	table := Table{}
	table.Row("figure", "this shot", "the other", "apart", "in uncertainties", "may cause")
	table.Row("rust beside its own target", "+7.7 °C", "+0.2 °C", "+7.5 °C", "15.0 × 0.5 °C", "bled")
	table.Row("rust held since cured", "0.3 min", "6.6 min", "-6.3 min", "12.6 × 0.5 min", "–")
	assert.Equal(t, ""+
		"figure                      this shot  the      apart     in              may\n"+
		"                                       other              uncertainties   cause\n"+
		"rust beside its own target  +7.7 °C    +0.2 °C  +7.5 °C   15.0 × 0.5 °C   bled\n"+
		"rust held since cured       0.3 min    6.6 min  -6.3 min  12.6 × 0.5 min  –\n", table.String())
}

// TestNumbersOfALongTable prints how long a table of 1000 rows takes that is far too wide.
func TestNumbersOfALongTable(t *testing.T) {
	table := Table{}
	for i := range 1000 {
		table.Row(fmt.Sprint(i), "12 March 2026 19:30", "slate eel, version 2", "2 h 14 min", "bled: ivory and rust, seam shows on one side", "12 shots of which 3 were taken back")
	}
	began := time.Now()
	text := table.String()
	fmt.Printf("a table of 1000 rows: %d lines in %v\n", strings.Count(text, "\n"), time.Since(began).Round(time.Millisecond))
	for line := range strings.Lines(text) {
		require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), Wide)
	}
}

// TestTablesFit whatever stands in them, as long as their words do, and lose no word.
func TestTablesFit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		columns := rapid.IntRange(1, 6).Draw(t, "columns")
		table, words := Table{Indent: rapid.StringMatching(` {0,4}`).Draw(t, "indent")}, 0
		for range rapid.IntRange(1, 6).Draw(t, "rows") {
			var cells []string
			for range columns {
				cell := rapid.StringMatching(`([a-z]{1,9} ){0,6}`).Draw(t, "cell")
				words += len(strings.Fields(cell))
				cells = append(cells, strings.TrimSpace(cell))
			}
			table.Row(cells...)
		}
		text := table.String()
		assert.Len(t, strings.Fields(text), words)
		for line := range strings.Lines(text) {
			assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), Wide)
		}
	})
}
