package plot

import (
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// outlined draws letters as shapes. A PDF then needs no embedded font, which
// would go through files in a temporary folder and know western letters only.
type outlined struct{ vg.Canvas }

// FillString draws a text from its baseline's left end.
func (o outlined) FillString(f font.Face, at vg.Point, text string) {
	var path vg.Path
	for i, letter := range text {
		start := vg.Point{X: at.X + f.Width(text[:i]), Y: at.Y}
		path = append(path, outline(f, letter, start)...)
	}
	o.Fill(path)
}

// outline is the shape of a letter; empty where the face can not tell it.
func outline(f font.Face, letter rune, start vg.Point) vg.Path {
	var buf sfnt.Buffer
	index, err := f.Face.GlyphIndex(&buf, letter)
	if err != nil {
		return nil
	}
	// At this size a coordinate of the shape is one unit of the face.
	units := fixed.Int26_6(f.Face.UnitsPerEm())
	segments, err := f.Face.LoadGlyph(&buf, index, units, nil)
	if err != nil {
		return nil
	}
	scale := f.Font.Size / vg.Length(units)
	place := func(p fixed.Point26_6) vg.Point {
		return vg.Point{X: start.X + vg.Length(p.X)*scale, Y: start.Y - vg.Length(p.Y)*scale}
	}
	var path vg.Path
	for i, s := range segments {
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if i > 0 {
				path.Close()
			}
			path.Move(place(s.Args[0]))
		case sfnt.SegmentOpLineTo:
			path.Line(place(s.Args[0]))
		case sfnt.SegmentOpQuadTo:
			path.QuadTo(place(s.Args[0]), place(s.Args[1]))
		case sfnt.SegmentOpCubeTo:
			path.CubeTo(place(s.Args[0]), place(s.Args[1]), place(s.Args[2]))
		}
	}
	if len(path) > 0 {
		path.Close()
	}
	return path
}
