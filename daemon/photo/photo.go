// Package photo makes a picture from a camera fit to be kept with a shot: turned upright,
// no larger than a screen, and encoded anew. What a camera writes beside the picture
// (place, time, its own name) is left behind with the old encoding; nothing of it is kept.
//
// A photo shows where a fault sits and what shape it has. Colour can not be measured in
// it: camera and light change it by more than a fault does.
package photo

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	_ "image/png" // a format that is read
	"io"
)

// Photo is a picture to be kept.
type Photo struct {
	// Digest is SHA-256 of the file as it was given, in hexadecimal: the same file twice is
	// one photo.
	Digest        string
	Width, Height int // pixels
	// Picture and Small are JPEG (ISO/IEC 10918-1); Small is for a list.
	Picture, Small []byte
}

const (
	// MostBytes is the largest file that is taken.
	MostBytes = 20 << 20
	// mostPixels bounds the room that decoding takes: about two bytes a pixel in an ordinary
	// file, twenty-four in the worst that a file can be (E). mostSide is the longest that JPEG
	// knows.
	mostPixels = 16_000_000
	mostSide   = 65535
	// side and smallSide are the longest sides, in pixels, of what is kept (E: a bait fills
	// a screen, and a hundred photos are less than an evening's worth of a phone).
	side, smallSide = 1600, 320
	quality         = 85
)

// ErrRefused is wrapped by the error about a file that can not be taken.
var ErrRefused = errors.New("no photo was kept")

// Take reads a photo in JPEG or PNG. Its errors wrap ErrRefused and say what to do.
func Take(r io.Reader) (Photo, error) {
	typed, err := io.ReadAll(io.LimitReader(r, MostBytes+1))
	if err != nil {
		return Photo{}, fmt.Errorf("the file can not be read (%w): %w", err, ErrRefused)
	}
	if len(typed) > MostBytes {
		return Photo{}, fmt.Errorf("larger than %d MB: make it smaller; %w", MostBytes>>20, ErrRefused)
	}
	if err := looksRight(typed); err != nil {
		return Photo{}, err
	}
	from, _, err := image.Decode(bytes.NewReader(typed))
	if err != nil {
		return Photo{}, fmt.Errorf("damaged (%w): take or copy it again; %w", err, ErrRefused)
	}
	return keep(typed, from)
}

// looksRight reads the header only, before there is room for all of it.
func looksRight(typed []byte) error {
	head, format, err := image.DecodeConfig(bytes.NewReader(typed))
	if err != nil || format != "jpeg" && format != "png" {
		return fmt.Errorf("neither JPEG nor PNG: save it as one of them; %w", ErrRefused)
	}
	if head.Width < 1 || head.Height < 1 || max(head.Width, head.Height) > mostSide || head.Width > mostPixels/head.Height {
		return fmt.Errorf("%d by %d pixels: make it smaller, %d million at most; %w", head.Width, head.Height, mostPixels/1_000_000, ErrRefused)
	}
	return nil
}

func keep(typed []byte, from image.Image) (Photo, error) {
	sum := sha256.Sum256(typed)
	large := turned(scaled(from, side), orientation(typed))
	p := Photo{Digest: hex.EncodeToString(sum[:]), Width: large.Bounds().Dx(), Height: large.Bounds().Dy()}
	var err error
	if p.Picture, err = encoded(large); err != nil {
		return Photo{}, err
	}
	p.Small, err = encoded(scaled(large, smallSide))
	return p, err
}

func encoded(m image.Image) ([]byte, error) {
	var out bytes.Buffer
	err := jpeg.Encode(&out, m, &jpeg.Options{Quality: quality})
	return out.Bytes(), err
}

// scaled is a picture whose longest side is at most so long, on white where it lets
// something through. Each pixel is the mean of those that it covers. That is done row by
// row, because a second picture in between, of exact colours, would need ten times the
// room of the first.
func scaled(from image.Image, longest int) *image.RGBA {
	b := from.Bounds()
	w, h := within(b.Dx(), b.Dy(), longest)
	to := image.NewRGBA(image.Rect(0, 0, w, h))
	row := image.NewRGBA(image.Rect(0, 0, b.Dx(), 1))
	means, sums := make([]float64, 3*w), make([]float64, 3*w)
	for y := range b.Dy() {
		draw.Draw(row, row.Rect, image.White, image.Point{}, draw.Src)
		draw.Draw(row, row.Rect, from, image.Pt(b.Min.X, b.Min.Y+y), draw.Over)
		meansOf(row.Pix, b.Dx(), means, w)
		cover(y, b.Dy(), h, func(into int, share float64) {
			for i, m := range means {
				sums[i] += share * m
			}
			if (y+1)*h >= (into+1)*b.Dy() { // its last
				put(to.Pix[to.PixOffset(0, into):], sums)
				clear(sums)
			}
		})
	}
	return to
}

// meansOf are the colours of a row of n pixels at the width w.
func meansOf(pixels []byte, n int, means []float64, w int) {
	clear(means)
	for x := range n {
		cover(x, n, w, func(into int, share float64) {
			for c := range 3 {
				means[3*into+c] += share * float64(pixels[4*x+c])
			}
		})
	}
}

// cover tells f into which of m equal parts the i-th of n goes, and which share of that
// part it is; n is at least m.
func cover(i, n, m int, f func(into int, share float64)) {
	from, to := i*m, (i+1)*m // where each part is n long
	for into := from / n; into*n < to; into++ {
		f(into, float64(min(to, (into+1)*n)-max(from, into*n))/float64(n))
	}
}

// put writes a row of opaque pixels.
func put(pixels []byte, colours []float64) {
	for i, c := range colours {
		pixels[i/3*4+i%3] = byte(c + 0.5)
		pixels[i/3*4+3] = 0xff
	}
}

// within is a size whose longest side is at most so long.
func within(w, h, longest int) (int, int) {
	if most := max(w, h); most > longest {
		return max(1, w*longest/most), max(1, h*longest/most)
	}
	return w, h
}

// SmallSize is the size of Small, in pixels, of a picture of this size.
func SmallSize(w, h int) (int, int) { return within(w, h, smallSide) }

// turned is a picture as its camera was held, by the orientation that the camera wrote
// down: 1 to 8 (Exif 2.3, tag 274, table 6 there; the same in TIFF 6.0). Any other is upright.
func turned(m *image.RGBA, orientation int) *image.RGBA {
	if orientation < 2 || orientation > 8 {
		return m
	}
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	size := image.Point{X: w, Y: h}
	if orientation >= 5 {
		size = image.Point{X: h, Y: w}
	}
	to := image.NewRGBA(image.Rectangle{Max: size})
	for y := range size.Y {
		for x := range size.X {
			to.SetRGBA(x, y, m.RGBAAt(source(orientation, x, y, w, h)))
		}
	}
	return to
}

// source is where a pixel of the upright picture lies in one that is w by h.
func source(orientation, x, y, w, h int) (int, int) {
	switch orientation {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return y, h - 1 - x
	case 7:
		return w - 1 - y, h - 1 - x
	default: // 8
		return w - 1 - y, x
	}
}
