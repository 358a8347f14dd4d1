package photo

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// quarters is an invented picture: red, green, blue and black quarters.
func quarters(w, h int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.SetRGBA(x, y, []color.RGBA{{255, 0, 0, 255}, {0, 255, 0, 255}, {0, 0, 255, 255}, {0, 0, 0, 255}}[2*(2*y/h)+2*x/w])
		}
	}
	return m
}

// fromACamera is a JPEG file with an orientation and a place in its Exif, laid out by
// hand after Exif 2.3, 4.5.
func fromACamera(t *testing.T, m image.Image, order binary.AppendByteOrder, orientation uint16) []byte {
	t.Helper()
	var plain bytes.Buffer
	require.NoError(t, jpeg.Encode(&plain, m, nil))
	tiff := []byte("MM")
	if order.String() == binary.LittleEndian.String() {
		tiff = []byte("II")
	}
	tiff = order.AppendUint32(order.AppendUint16(tiff, 42), 8)
	tiff = order.AppendUint16(tiff, 2)
	for _, e := range [][2]uint16{{271, 7}, {orientationID, orientation}} { // a maker, then how it was held
		tiff = order.AppendUint32(order.AppendUint16(order.AppendUint16(tiff, e[0]), 3), 1)
		tiff = order.AppendUint16(order.AppendUint16(tiff, e[1]), 0)
	}
	tiff = append(order.AppendUint32(tiff, 0), "PLACE 48.1N 11.5E"...)
	segment := append([]byte("Exif\x00\x00"), tiff...)
	head := append([]byte{0xff, 0xd8, 0xff, appOne}, binary.BigEndian.AppendUint16(nil, uint16(len(segment)+2))...)
	return append(append(head, segment...), plain.Bytes()[2:]...)
}

// corners are the colours at the four corners, from the upper left, row by row.
func corners(t *testing.T, file []byte) string {
	t.Helper()
	m, err := jpeg.Decode(bytes.NewReader(file))
	require.NoError(t, err)
	b, words := m.Bounds(), ""
	for _, p := range []image.Point{{2, 2}, {b.Max.X - 3, 2}, {2, b.Max.Y - 3}, {b.Max.X - 3, b.Max.Y - 3}} {
		r, g, bl, _ := m.At(p.X, p.Y).RGBA()
		switch {
		case r > 40000:
			words += "R"
		case g > 40000:
			words += "G"
		case bl > 40000:
			words += "B"
		default:
			words += "k"
		}
	}
	return words
}

// TestAPhotoIsKeptUprightAndWithoutItsPlace. What stands where is that of Exif 2.3, table
// 6 ("the 0th row is the visual top, the 0th column the visual left-hand side" and so on).
func TestAPhotoIsKeptUprightAndWithoutItsPlace(t *testing.T) {
	for orientation, want := range map[uint16]string{
		0: "RGBk", 1: "RGBk", 2: "GRkB", 3: "kBGR", 4: "BkRG", 5: "RBGk", 6: "BRkG", 7: "kGBR", 8: "GkRB", 9: "RGBk",
	} {
		for _, order := range []binary.AppendByteOrder{binary.BigEndian, binary.LittleEndian} {
			file := fromACamera(t, quarters(64, 32), order, orientation)
			require.Contains(t, string(file), "PLACE")
			p, err := Take(bytes.NewReader(file))
			require.NoError(t, err)
			assert.Equal(t, want, corners(t, p.Picture), "orientation %d, %s", orientation, order)
			for _, kept := range [][]byte{p.Picture, p.Small} {
				assert.NotContains(t, string(kept), "PLACE")
				assert.NotContains(t, string(kept), "Exif")
			}
			assert.Equal(t, orientation >= 5 && orientation <= 8, p.Height > p.Width)
		}
	}
}

func TestAPhotoIsMadeSmaller(t *testing.T) {
	var file bytes.Buffer
	require.NoError(t, png.Encode(&file, quarters(4000, 1000)))
	p, err := Take(&file)
	require.NoError(t, err)
	assert.Equal(t, [2]int{1600, 400}, [2]int{p.Width, p.Height})
	small, err := jpeg.DecodeConfig(bytes.NewReader(p.Small))
	require.NoError(t, err)
	assert.Equal(t, [2]int{320, 80}, [2]int{small.Width, small.Height})
	assert.Equal(t, "RGBk", corners(t, p.Picture))
	assert.Len(t, p.Digest, 64)
}

func TestWhatIsNoPhotoIsRefused(t *testing.T) {
	encode := func(put func(*bytes.Buffer) error) []byte {
		var out bytes.Buffer
		require.NoError(t, put(&out))
		return out.Bytes()
	}
	whole := encode(func(b *bytes.Buffer) error { return jpeg.Encode(b, quarters(64, 64), nil) })
	huge := encode(func(b *bytes.Buffer) error { return png.Encode(b, quarters(8, 8)) })
	binary.BigEndian.PutUint32(huge[16:], 1<<20) // the width in its header; the checksum is that of the old one
	for want, file := range map[string][]byte{
		"neither JPEG nor PNG": encode(func(b *bytes.Buffer) error { return gif.Encode(b, quarters(8, 8), nil) }),
		"damaged":              whole[:len(whole)-9],
		"larger than 20 MB":    make([]byte, MostBytes+1),
		"save it as one":       huge,
	} {
		_, err := Take(bytes.NewReader(file))
		assert.ErrorIs(t, err, ErrRefused)
		assert.ErrorContains(t, err, want)
	}
	wide := bytes.Clone(whole)
	at := bytes.Index(wide, []byte{0xff, 0xc0}) // its frame: height and width follow (ITU-T T.81, B.2.2)
	binary.BigEndian.PutUint16(wide[at+5:], 60000)
	binary.BigEndian.PutUint16(wide[at+7:], 60000)
	_, err := Take(bytes.NewReader(wide))
	assert.ErrorContains(t, err, "60000 by 60000 pixels: make it smaller, 16 million at most")
}

// FuzzOrientation: no file brings it down.
func FuzzOrientation(f *testing.F) {
	f.Add([]byte{0xff, 0xd8, 0xff, appOne, 0, 20, 'E', 'x', 'i', 'f', 0, 0, 'I', 'I', 42, 0, 8, 0, 0, 0, 1, 0})
	f.Fuzz(func(t *testing.T, file []byte) {
		if o := orientation(file); o < 0 || o > 0xffff {
			t.Fatal(fmt.Sprint(o))
		}
	})
}

// TestNumbersOfAPhoto prints how long a photo of a phone (12 million pixels) takes, and
// how large what is kept of it is.
func TestNumbersOfAPhoto(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute under the race detector, and there is no goroutine in it")
	}
	m := image.NewRGBA(image.Rect(0, 0, 4000, 3000))
	seed := uint32(1)
	for i := range m.Pix { // a slope with noise on it, as a camera's
		seed = seed*1664525 + 1013904223
		m.Pix[i] = byte(i/100_000) + byte(seed>>28)
	}
	var file bytes.Buffer
	require.NoError(t, jpeg.Encode(&file, m, &jpeg.Options{Quality: 92}))
	given, began := file.Len(), time.Now()
	p, err := Take(&file)
	require.NoError(t, err)
	t.Logf("a file of %.1f MB, 12 million pixels: %.0f kB and %.0f kB kept, in %.2f s", float64(given)/1e6,
		float64(len(p.Picture))/1e3, float64(len(p.Small))/1e3, time.Since(began).Seconds())
	assert.Equal(t, [2]int{1600, 1200}, [2]int{p.Width, p.Height})
	assert.Less(t, len(p.Picture), 1_000_000)
}

// TestNumbersOfAPhotosRoom prints how much memory the largest photo takes on its way, all
// that is allocated counted: a small computer has no more to spare.
func TestNumbersOfAPhotosRoom(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute under the race detector, and there is no goroutine in it")
	}
	for _, size := range [][2]int{{4000, 4000}, {244, 65535}} {
		var file bytes.Buffer
		require.NoError(t, jpeg.Encode(&file, quarters(size[0], size[1]), nil))
		given := file.Len()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		p, err := Take(&file)
		runtime.ReadMemStats(&after)
		require.NoError(t, err)
		room := float64(after.TotalAlloc-before.TotalAlloc) / 1e6
		t.Logf("%d by %d pixels, a file of %.1f MB: %.0f MB, kept as %d by %d", size[0], size[1], float64(given)/1e6, room, p.Width, p.Height)
		assert.Less(t, room, 80.0)
	}
}

// TestAPixelIsTheMeanOfWhatItCovers, by hand: 1600 of 2400 take one and a half each.
func TestAPixelIsTheMeanOfWhatItCovers(t *testing.T) {
	m := image.NewNRGBA(image.Rect(5, 7, 2405, 10)) // a picture need not begin at zero
	for x := range 2400 {
		for y := range 3 {
			m.SetNRGBA(5+x, 7+y, color.NRGBA{R: byte(30 * (x % 3)), G: 200, B: 90, A: 255})
		}
	}
	m.SetNRGBA(2404, 9, color.NRGBA{}) // lets everything through
	to := scaled(m, 1600)
	require.Equal(t, image.Rect(0, 0, 1600, 2), to.Bounds())
	assert.Equal(t, color.RGBA{R: 10, G: 200, B: 90, A: 255}, to.RGBAAt(0, 0), "all of 0 and half of 30")
	assert.Equal(t, color.RGBA{R: 50, G: 200, B: 90, A: 255}, to.RGBAAt(1, 1), "half of 30 and all of 60")
	// The last covers two and a quarter, and 4/9 of that let everything through.
	assert.Equal(t, color.RGBA{R: 137, G: 224, B: 163, A: 255}, to.RGBAAt(1599, 1))
	same := scaled(m, 2400)
	assert.Equal(t, color.RGBA{R: 60, G: 200, B: 90, A: 255}, same.RGBAAt(2, 2))
	assert.Equal(t, color.RGBA{R: 255, G: 255, B: 255, A: 255}, same.RGBAAt(2399, 2))
}
