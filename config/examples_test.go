package config_test

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/devices/registers"
)

// TestExamplesAreWhole: each is taken with the recipe that comes with it, is named in the
// list beside it, and shows how ports are called elsewhere.
func TestExamplesAreWhole(t *testing.T) {
	listed, err := os.ReadFile("examples/README.md")
	require.NoError(t, err)
	for _, e := range config.Examples() {
		files, err := config.ExampleFiles(e.Name)
		require.NoError(t, err)
		b, err := config.ParseBench("bench.yaml", files["bench.yaml"], nil)
		require.NoError(t, err)
		r, err := config.ParseRecipe("recipe.yaml", files["recipe.yaml"])
		require.NoError(t, err)
		_, err = config.Settings(b, r)
		require.NoError(t, err)
		assert.Contains(t, string(listed), fmt.Sprintf("| [%s](%s.yaml) |", e.Name, e.Name))
		for _, name := range []string{"COM5", "/dev/cu.", "/dev/serial/by-id/"} {
			assert.Contains(t, string(files["bench.yaml"]), name, e.Name)
		}
		if e.Page != "" {
			assert.Contains(t, files, e.Page)
		}
	}
	_, err = config.ExampleFiles("none")
	assert.EqualError(t, err, `example "none": there is none of this name; write one of relays, controllers, board, board-millivolts`)
}

// row is a row of the page's table of registers.
type row struct {
	functions []uint8
	from, to  int
	scale     string
	int16     bool
	masks     []string
}

// pageRows reads the table of board.md.
func pageRows(t *testing.T) (rows []row) {
	t.Helper()
	page, err := os.ReadFile("examples/board.md")
	require.NoError(t, err)
	numbers := regexp.MustCompile(`\d+`)
	for line := range strings.Lines(string(page)) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if len(cells) != 7 || !slices.Contains([]string{"input register", "holding register", "coil", "discrete input"}, cells[0]) {
			continue
		}
		var r row
		for _, f := range numbers.FindAllString(cells[1]+" "+cells[2], -1) {
			var n uint8
			_, err := fmt.Sscan(f, &n)
			require.NoError(t, err)
			r.functions = append(r.functions, n)
		}
		ends := numbers.FindAllString(cells[3], -1)
		_, err := fmt.Sscan(ends[0]+" "+ends[len(ends)-1], &r.from, &r.to)
		require.NoError(t, err)
		r.scale, _, _ = strings.Cut(cells[5], " ")
		r.int16 = strings.HasPrefix(cells[6], "int16")
		r.masks = regexp.MustCompile(`0x000\d`).FindAllString(cells[6], -1)
		rows = append(rows, r)
	}
	require.Len(t, rows, 13)
	return rows
}

// TestTheBoardsPageIsItsMap: every channel of both of the board's bench files lies in a row
// of the page's table that says the same of it, every register of the page is in one of
// them, and the fault bits are those of the page.
func TestTheBoardsPageIsItsMap(t *testing.T) {
	rows := pageRows(t)
	used := map[string]bool{}
	find := func(function uint8, address uint16) row {
		t.Helper()
		i := slices.IndexFunc(rows, func(r row) bool {
			return slices.Contains(r.functions, function) && r.from <= int(address) && int(address) <= r.to
		})
		require.GreaterOrEqual(t, i, 0, "function %d, address %d is not on the page", function, address)
		used[fmt.Sprint(rows[i].functions[0], " ", address)] = true
		return rows[i]
	}
	for _, name := range []string{"board", "board-millivolts"} {
		files, err := config.ExampleFiles(name)
		require.NoError(t, err)
		b, err := config.ParseBench(name, files["bench.yaml"], nil)
		require.NoError(t, err)
		for _, c := range b.Channels {
			r := find(c.Function, c.Address)
			if c.Type == registers.Bit {
				continue
			}
			assert.Equal(t, r.scale, fmt.Sprint(c.Scale), "%v", c)
			assert.Equal(t, r.int16, c.Type == registers.Int16, "%v", c)
			assert.Equal(t, registers.HighFirst, c.Bytes)
			if c.Role.Read() {
				assert.Equal(t, []float64{0x7FFF}, c.Sentinels)
			} else {
				assert.InDelta(t, 1, c.Duty([]uint16{10000}), 1e-12, "full power")
			}
			if s := c.Status; s != nil {
				assert.Equal(t, find(s.Function, s.Address).masks, []string{mask(s.Open), mask(s.Shorted), mask(s.Fault)})
			}
		}
	}
	want := 0
	for _, r := range rows {
		want += r.to - r.from + 1
	}
	assert.Len(t, used, want, "every register of the page is in one of the files")
}

func mask(bits uint16) string { return fmt.Sprintf("0x%04X", bits) }
