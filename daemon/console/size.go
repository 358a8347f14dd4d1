package console

import (
	"os"

	"golang.org/x/term"
)

// Size is how many letters and lines a screen has room for.
type Size struct{ Width, Height int }

// Small is what every terminal has.
var Small = Size{80, 24}

// SizeOf is the size of a terminal, or Small where it does not say. It is asked for before
// every drawing, so that no signal is needed to follow it.
func SizeOf(out *os.File) Size {
	w, h, err := term.GetSize(int(out.Fd()))
	if err != nil || w < 1 || h < 1 {
		return Small
	}
	return Size{Width: w, Height: h}
}
