package plot

import (
	"bytes"
	"image/png"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAxisIsWhereThePictureHasIt: the lines of two shots, at the start and at the
// end of the stretch, are found in the pixels of the picture.
func TestAxisIsWhereThePictureHasIt(t *testing.T) {
	r := Run{Pots: []Pot{{Name: "left", SetpointC: 168, BandC: 2}}, Events: []Event{
		{At: time.Minute, Pot: EveryPot, Kind: KindShot}, {At: 2 * time.Minute, Pot: EveryPot, Kind: KindShot},
	}}
	for _, width := range []int{350, 760, 1556} {
		s := Style{Width: width, Height: 300, Format: PNG, From: time.Minute, To: 2 * time.Minute}
		picture, err := png.Decode(bytes.NewReader(drawn(t, r, s)))
		require.NoError(t, err)
		first, last := width, 0
		for x := range width {
			red, green, _, _ := picture.At(x, 200).RGBA()
			if green > red+0x2000 { // nothing else is green
				first, last = min(first, x), max(last, x)
			}
		}
		left, right := Axis(s)
		assert.InDelta(t, left, first, 2, width)
		assert.InDelta(t, right, last, 2, width)
	}
}
