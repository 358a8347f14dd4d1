package demo

import (
	"bytes"
	"flag"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os"
	"path/filepath"
	"slices"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"meltwarden/dashboards/browser"
)

// pictures makes the README's, on the way of the walk through a session.
var pictures = flag.String("pictures", "", "a folder for the README's pictures")

// picture keeps what the page shows now, as wide and high as the window.
func (w *walker) picture(name string, width, height int64) {
	w.t.Helper()
	if *pictures == "" {
		return
	}
	w.do(chromedp.EmulateViewport(width, height))
	browser.Evaluate[bool](w.ctx, w.t, `scrollTo(0, 0), true`)
	shot, err := chromedp.Run(w.ctx, chromedp.CaptureScreenshot())
	require.NoError(w.t, err)
	full, err := png.Decode(bytes.NewReader(shot))
	require.NoError(w.t, err)
	f, err := os.Create(filepath.Join(*pictures, name+".png"))
	require.NoError(w.t, err)
	defer f.Close()
	require.NoError(w.t, (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(f, inPalette(full)))
	w.do(chromedp.EmulateViewport(1600, 900))
}

// inPalette has only the colours that a picture has most of: half the bytes, and letters
// look the same.
func inPalette(full image.Image) *image.Paletted {
	count := map[color.RGBA]int{}
	b := full.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			count[color.RGBAModel.Convert(full.At(x, y)).(color.RGBA)]++
		}
	}
	var all color.Palette
	for c := range count {
		all = append(all, c)
	}
	slices.SortFunc(all, func(a, b color.Color) int { return count[b.(color.RGBA)] - count[a.(color.RGBA)] })
	few := image.NewPaletted(b, all[:min(len(all), 256)])
	draw.Draw(few, b, full, b.Min, draw.Src)
	return few
}
