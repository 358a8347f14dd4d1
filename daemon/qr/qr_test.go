package qr

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	reader "github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ofTerminal is what a camera sees of lines on a terminal, each letter two modules high.
func ofTerminal(t *testing.T, lines []string) image.Image {
	t.Helper()
	const scale = 4
	side := len([]rune(bare(t, lines[0])))
	m := image.NewGray(image.Rect(0, 0, side*scale, 2*len(lines)*scale))
	for i, line := range lines {
		for x, letter := range []rune(bare(t, line)) {
			above, below := letter == '█' || letter == '▀', letter == '█' || letter == '▄'
			require.Contains(t, " █▀▄", string(letter))
			fill(m, x*scale, 2*i*scale, scale, above)
			fill(m, x*scale, (2*i+1)*scale, scale, below)
		}
	}
	return m
}

// bare is a line whose colours are said: whatever the terminal's own are.
func bare(t *testing.T, line string) string {
	t.Helper()
	require.True(t, strings.HasPrefix(line, blackOnWhite) && strings.HasSuffix(line, asBefore), "%q", line)
	return strings.TrimSuffix(strings.TrimPrefix(line, blackOnWhite), asBefore)
}

func fill(m *image.Gray, x, y, scale int, dark bool) {
	for dy := range scale {
		for dx := range scale {
			if !dark {
				m.SetGray(x+dx, y+dy, color.Gray{Y: 255})
			}
		}
	}
}

// ofPath draws the path of the page's picture.
func ofPath(t *testing.T, c Code) image.Image {
	t.Helper()
	const scale = 4
	m := image.NewGray(image.Rect(0, 0, c.Side()*scale, c.Side()*scale))
	fill(m, 0, 0, c.Side()*scale, false)
	for _, stroke := range strings.Split(strings.TrimSuffix(c.Path(), "z"), "z") {
		var x, y, n, back int
		_, err := fmt.Sscanf(stroke, "M%d %dh%dv1h-%d", &x, &y, &n, &back)
		require.NoError(t, err, stroke)
		require.Equal(t, n, back)
		for i := range n {
			for dy := range scale {
				for dx := range scale {
					m.SetGray((x+i)*scale+dx, y*scale+dy, color.Gray{})
				}
			}
		}
	}
	return m
}

// TestAnotherLibraryReadsIt: what is drawn says what it was made of, by a reader that
// shares no code with the maker.
func TestAnotherLibraryReadsIt(t *testing.T) {
	for _, text := range []string{
		"http://192.168.1.20:8420/pair/7-abcdefghijklmnopqrstuvwxyz",
		"http://[fd12:3456:789a::20]:8420/pair/2147483647-abcdefghijklmnopqrstuvwxyz",
		"http://bench-computer-in-the-shed.local:8420/pair/1-aaaaaaaaaaaaaaaaaaaaaaaaaa",
	} {
		c, err := Of(text)
		require.NoError(t, err)
		assert.LessOrEqual(t, len(c.Lines()), 24, "it fits on the smallest terminal there is (24 lines of 80, common practice)")
		assert.LessOrEqual(t, c.Side(), 80)
		for where, drawn := range map[string]image.Image{"terminal": ofTerminal(t, c.Lines()), "page": ofPath(t, c)} {
			bits, err := gozxing.NewBinaryBitmapFromImage(drawn)
			require.NoError(t, err)
			read, err := reader.NewQRCodeReader().Decode(bits, nil)
			require.NoError(t, err, where)
			assert.Equal(t, text, read.GetText(), where)
			t.Logf("%s: %d letters, %d × %d modules, %d lines", where, len(text), c.Side(), c.Side(), len(c.Lines()))
		}
	}
}

// TestQuietZone: four modules of light on every side.
func TestQuietZone(t *testing.T) {
	c, err := Of("http://192.168.1.20:8420/")
	require.NoError(t, err)
	for i := range c.Side() {
		for _, at := range [][2]int{{i, 3}, {3, i}, {i, c.Side() - 4}, {c.Side() - 4, i}} {
			assert.False(t, c.dark(at[0], at[1]), at)
		}
	}
	assert.True(t, c.dark(4, 4), "the finder pattern begins right after it")
}

func TestTooLongATextIsToldSo(t *testing.T) {
	_, err := Of(string(bytes.Repeat([]byte("a"), 3000))) // 2331 bytes at most at this level (ISO/IEC 18004, table 7, from memory)
	assert.ErrorContains(t, err, "too long")
}
