// Package qr draws an address as a QR code (ISO/IEC 18004) that a phone's camera reads:
// from a terminal, whatever its colours, and from a page. The code itself is made by a
// library; here it is only drawn, with the quiet zone of four modules that the standard
// asks for (from memory), dark on light.
package qr

import (
	"fmt"
	"strings"

	qrcode "github.com/piglig/go-qr"
)

// quiet is the width of the light margin, in modules.
const quiet = 4

// Code is a QR code, quiet zone included.
type Code struct {
	text string
	side int
	dark func(x, y int) bool
}

// Of makes the code of a text. Its error is that of a text too long for any code.
func Of(text string) (Code, error) {
	q, err := qrcode.EncodeText(text, qrcode.Medium)
	if err != nil {
		return Code{}, fmt.Errorf("QR code: %w: the text is too long, shorten it", err)
	}
	return Code{text, q.Size() + 2*quiet, func(x, y int) bool { return q.Module(x-quiet, y-quiet) }}, nil
}

// Text is what the code says.
func (c Code) Text() string { return c.text }

// Side is its height and width in modules.
func (c Code) Side() int { return c.side }

// Colours of a terminal, said by number (ECMA-48, 8.3.117; ITU-T T.416) from the part of the common
// palette of 256 that themes leave alone: black on white, so that no theme turns it.
const (
	blackOnWhite = "\x1b[38;5;16;48;5;231m"
	asBefore     = "\x1b[0m"
)

// Lines draws it for a terminal, two modules in a letter, one above the other.
func (c Code) Lines() []string {
	var all []string
	for y := 0; y < c.side; y += 2 {
		var line strings.Builder
		line.WriteString(blackOnWhite)
		for x := range c.side {
			line.WriteString(halves(c.dark(x, y), c.dark(x, y+1)))
		}
		all = append(all, line.String()+asBefore)
	}
	return all
}

func halves(above, below bool) string {
	switch {
	case above && below:
		return "█"
	case above:
		return "▀"
	case below:
		return "▄"
	}
	return " "
}

// Path draws its dark modules as the path of an SVG picture whose view box is Side wide
// and high: a stroke for each run of them in a row.
func (c Code) Path() string {
	var path strings.Builder
	for y := range c.side {
		for x := 0; x < c.side; x++ {
			from := x
			for x < c.side && c.dark(x, y) {
				x++
			}
			if n := x - from; n > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", from, y, n, n)
			}
		}
	}
	return path.String()
}
