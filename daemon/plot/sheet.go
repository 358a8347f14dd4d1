package plot

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"io"
	"math"
	"regexp"
	"strings"
	"sync"
	"unicode"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgpdf"
	"gonum.org/v1/plot/vg/vgsvg"
)

// pixel is the unit of everything drawn.
const pixel = vg.Inch / 96

// sheet draws in pixels from the top left corner, in any format.
type sheet struct {
	style  Style
	canvas vg.Canvas
	file   io.WriterTo
}

func newSheet(s Style) *sheet {
	w, h := pixel*vg.Length(s.Width), pixel*vg.Length(s.Height)
	switch s.Format {
	case PNG:
		c := vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(w, h), vgimg.UseDPI(96))}
		return &sheet{s, c, c}
	case PDF:
		c := vgpdf.New(w, h)
		return &sheet{s, outlined{c}, c}
	default:
		c := vgsvg.New(w, h)
		return &sheet{s, c, c}
	}
}

// point is a place in pixels, y downwards.
type point struct{ x, y float64 }

func (s *sheet) place(p point) vg.Point {
	return vg.Point{X: pixel * vg.Length(p.x), Y: pixel * vg.Length(float64(s.style.Height)-p.y)}
}

func (s *sheet) path(points []point) vg.Path {
	path := make(vg.Path, 0, len(points)+1)
	path.Move(s.place(points[0]))
	for _, p := range points[1:] {
		path.Line(s.place(p))
	}
	return path
}

// pen is how a line is drawn: its width and its dashes, in pixels.
type pen struct {
	colour color.NRGBA
	width  float64
	dashes []float64
}

// pieceLength is how many points of a line are stroked at once in a picture,
// whose rasteriser takes a time that grows with the square of it.
const pieceLength = 48

// line joins at least two points.
func (s *sheet) line(p pen, points ...point) {
	s.canvas.SetColor(p.colour)
	s.canvas.SetLineWidth(pixel * vg.Length(p.width))
	dashes := make([]vg.Length, len(p.dashes))
	for i, d := range p.dashes {
		dashes[i] = pixel * vg.Length(d)
	}
	piece, drawn := len(points), 0.0
	if s.style.Format == PNG {
		piece = pieceLength
	}
	for from := 0; from < len(points)-1; from += piece - 1 {
		part := points[from:min(from+piece, len(points))]
		s.canvas.SetLineDash(dashes, pixel*vg.Length(drawn))
		s.canvas.Stroke(s.path(part))
		drawn += length(part)
	}
}

// length is how long a line is: where its dashes go on.
func length(points []point) (sum float64) {
	for i := 1; i < len(points); i++ {
		sum += math.Hypot(points[i].x-points[i-1].x, points[i].y-points[i-1].y)
	}
	return sum
}

func (s *sheet) fill(c color.NRGBA, points ...point) {
	path := s.path(points)
	path.Close()
	s.canvas.SetColor(c)
	s.canvas.Fill(path)
}

// box is a rectangle in pixels, y downwards.
type box struct{ left, top, right, bottom float64 }

func (b box) width() float64  { return b.right - b.left }
func (b box) height() float64 { return b.bottom - b.top }

func (s *sheet) fillBox(c color.NRGBA, b box) {
	s.fill(c, point{b.left, b.top}, point{b.right, b.top}, point{b.right, b.bottom}, point{b.left, b.bottom})
}

// lettering is how a text is set; its size is in pixels.
type lettering struct {
	colour color.NRGBA
	size   float64
	bold   bool
}

// faces are parsed once: that takes longer than a plot.
var faces = sync.OnceValue(func() *font.Cache { return font.NewCache(liberation.Collection()) })

func (l lettering) face() font.Face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if l.bold {
		f.Weight = xfont.WeightBold
	}
	return faces().Lookup(f, pixel*vg.Length(l.size))
}

func (l lettering) width(text string) float64 {
	face := l.face()
	return float64(face.Width(text) / pixel)
}

// fit cuts a text that is wider than room, with an ellipsis.
func (l lettering) fit(text string, room float64) string {
	if l.width(text) <= room {
		return text
	}
	letters := []rune(text)
	for n := len(letters) - 1; n > 0; n-- {
		if short := string(letters[:n]) + "…"; l.width(short) <= room {
			return short
		}
	}
	return ""
}

// The sides of a text that can stand at its place.
const (
	atLeft   = 0.0
	atMiddle = 0.5
	atRight  = 1.0
)

// write sets one line with its baseline at a place, which is on the side given.
func (s *sheet) write(l lettering, at point, side float64, text string) {
	if text = legible(text); text == "" {
		return
	}
	at.x -= side * l.width(text)
	s.canvas.SetColor(l.colour)
	s.canvas.FillString(l.face(), s.place(at), text)
}

// legible drops what has no shape and could not stand in an XML file.
func legible(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return -1
	}, text)
}

func (s *sheet) writeTo(b *bytes.Buffer, title string) error {
	var raw bytes.Buffer
	if _, err := s.file.WriteTo(&raw); err != nil {
		return err
	}
	switch s.style.Format {
	case SVG:
		s.writeSVG(b, raw.Bytes(), title)
	case PDF:
		b.Write(pdfDate.ReplaceAllFunc(raw.Bytes(), func(date []byte) []byte { return bytes.Repeat([]byte(" "), len(date)) }))
	default:
		b.Write(raw.Bytes())
	}
	return nil
}

// pdfDate is when a PDF was written, which is no part of the plot. Blanks of the
// same length leave the file's offsets right.
var pdfDate = regexp.MustCompile(`/(?:Creation|Mod)Date \(D:\d{14}[^)\n]*\)`)

// svgFamily is widened, or a machine without the face would fall back to serifs.
var (
	svgFamily     = []byte(`style="font-family:Liberation Sans;`)
	svgFamilyWide = []byte(`style="font-family:'Liberation Sans',Arial,Helvetica,sans-serif;`)
)

// writeSVG gives the drawing a head that can stand inside a page and that tells
// its title to those who can not see it.
func (s *sheet) writeSVG(b *bytes.Buffer, raw []byte, title string) {
	w, h := s.style.Width, s.style.Height
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %g %g" role="img">`+"\n<title>%s</title>\n",
		w, h, (pixel * vg.Length(w)).Points(), (pixel * vg.Length(h)).Points(), html.EscapeString(legible(title)))
	b.Write(bytes.ReplaceAll(raw[bytes.Index(raw, []byte("<g ")):], svgFamily, svgFamilyWide))
}
