package plot

import (
	"bytes"
	"crypto/sha256"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files anew")

func drawn(t require.TestingT, r Run, s Style) []byte {
	var b bytes.Buffer
	require.NoError(t, Draw(&b, r, s))
	return b.Bytes()
}

// texts are the words of an SVG, in order; it fails on what is not XML.
func texts(t require.TestingT, svg []byte) []string {
	var words []string
	decoder, inText := xml.NewDecoder(bytes.NewReader(svg)), false
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return words
		}
		require.NoError(t, err)
		switch token := token.(type) {
		case xml.StartElement:
			inText = token.Name.Local == "text"
		case xml.CharData:
			if inText {
				words = append(words, string(token))
			}
		case xml.EndElement:
			inText = false
		}
	}
}

func TestEveryFormatIsAValidFile(t *testing.T) {
	r, s := evening(2000), Style{Width: 1200, Height: 800}

	words := texts(t, drawn(t, r, s))
	for _, want := range []string{r.Title, "1 slate", "(left)", "melt", "plate", "set-point", "heater", "not recorded", "shot 1", "plate too hot", "set-point 168 ± 2 °C", "h:mm"} {
		assert.Contains(t, words, want)
	}

	s.Format = PNG
	picture, err := png.Decode(bytes.NewReader(drawn(t, r, s)))
	require.NoError(t, err)
	assert.Equal(t, 1200, picture.Bounds().Dx())
	assert.Equal(t, 800, picture.Bounds().Dy())

	s.Format = PDF
	file := drawn(t, r, s)
	assert.True(t, bytes.HasPrefix(file, []byte("%PDF-")))
	assert.True(t, bytes.HasSuffix(bytes.TrimSpace(file), []byte("%%EOF")))
	assert.Contains(t, string(file), "/MediaBox [0 0 900.00 600.00]", "1200 × 800 pixels in points")
}

func TestTheSameRunGivesTheSameBytes(t *testing.T) {
	for format := SVG; format <= PDF; format++ {
		s := Style{Width: 600, Height: 500, Format: format}
		assert.Equal(t, sha256.Sum256(drawn(t, evening(3000), s)), sha256.Sum256(drawn(t, evening(3000), s)))
	}
	assert.NotContains(t, string(drawn(t, evening(10), Style{Width: 600, Height: 500, Format: PDF})), "CreationDate")
}

// short is a run whose drawing is small enough to read.
func short() Run {
	p := Pot{Name: "left", Colour: "slate", SetpointC: 168, BandC: 2}
	for i := range 9 {
		melt := 160 + float64(i)
		if i == 4 {
			melt = math.NaN()
		}
		p.Points = append(p.Points, Point{time.Duration(i) * time.Minute, melt, melt + 10, 168, float64(i) / 10})
	}
	return Run{Title: "Trial", Pots: []Pot{p}, Events: []Event{{At: 5 * time.Minute, Kind: KindShot}}}
}

func TestDrawingIsTheGoldenOne(t *testing.T) {
	const file = "../../testdata/plot/short.svg"
	got := drawn(t, short(), Style{Width: 400, Height: 240})
	if *update {
		require.NoError(t, os.WriteFile(file, got, 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got))
}

func TestDarkAndLightDiffer(t *testing.T) {
	s := Style{Width: 400, Height: 240}
	bright := drawn(t, short(), s)
	s.Dark = true
	assert.NotEqual(t, bright, drawn(t, short(), s))
}

func TestColoursStandOutFromTheGround(t *testing.T) {
	for name, p := range map[string]palette{"light": light, "dark": dark} {
		for what, c := range map[string]float64{"ink": contrast(p.ink, p.ground), "dim": contrast(p.dim, p.ground), "shot": contrast(p.shot, p.ground), "trip": contrast(p.trip, p.ground)} {
			assert.GreaterOrEqual(t, c, 4.5, "%s text on %s", what, name)
		}
		assert.GreaterOrEqual(t, contrast(p.edge, p.ground), 3.0, name)
		assert.GreaterOrEqual(t, contrast(p.duty, p.ground), 3.0, name)
		assert.GreaterOrEqual(t, contrast(p.ink, p.band), 4.5, name)
	}
}

func TestFahrenheitIsShownRound(t *testing.T) {
	words := texts(t, drawn(t, evening(500), Style{Width: 1200, Height: 800, Fahrenheit: true}))
	assert.Contains(t, words, "set-point 334.4 ± 3.6 °F")
	assert.Contains(t, words, "°F")
	assert.Contains(t, words, "300")
	assert.NotContains(t, strings.Join(words, " "), "°C")
}

func TestZoomShowsOnlyItsStretch(t *testing.T) {
	words := texts(t, drawn(t, evening(5000), Style{Width: 1200, Height: 800, From: time.Hour, To: 75 * time.Minute}))
	assert.Contains(t, words, "1:00")
	assert.Contains(t, words, "1:15")
	assert.Contains(t, words, "shot 4")
	assert.NotContains(t, words, "0:50")
	assert.NotContains(t, words, "shot 1")
	assert.NotContains(t, words, "bench")

	words = texts(t, drawn(t, evening(5000), Style{Width: 1200, Height: 800, From: time.Hour, To: time.Hour + time.Minute}))
	assert.Contains(t, words, "1:00:30")
	assert.Contains(t, words, "h:mm:ss")
}

func TestNothingRecordedIsSaid(t *testing.T) {
	words := texts(t, drawn(t, Run{Pots: []Pot{{Name: "left", SetpointC: math.NaN()}}}, Style{Width: 400, Height: 300}))
	assert.Contains(t, words, "not recorded")
	assert.NotContains(t, words, "melt")
	assert.NotContains(t, words, "set-point")
}

func TestLabelsThinOut(t *testing.T) {
	r := short()
	for i := range 200 {
		r.Events = append(r.Events, Event{At: time.Duration(i) * 2 * time.Second, Kind: "note", Text: fmt.Sprintf("note %d", i)})
	}
	words := strings.Join(texts(t, drawn(t, r, Style{Width: 400, Height: 240})), "\n")
	assert.Contains(t, words, "note ×")
	assert.Contains(t, words, "shot", "a shot is labelled before all else")
	assert.Less(t, strings.Count(words, "note"), 10)
}

func TestWhatCanNotBeDrawnIsRefused(t *testing.T) {
	good := Style{Width: 800, Height: 600}
	backwards := Run{Pots: []Pot{{Points: []Point{{At: 2}, {At: 1}}}}}
	for name, c := range map[string]struct {
		run   Run
		style Style
		says  string
	}{
		"no pots":          {Run{}, good, "no pot"},
		"no size":          {short(), Style{}, "0 × 0 pixels"},
		"too narrow":       {short(), Style{Width: MinWidth - 1, Height: 600}, "width goes from"},
		"too large":        {short(), Style{Width: MaxSide + 1, Height: 600}, "width goes from"},
		"too low":          {short(), Style{Width: 800, Height: 90}, "no room for 1 pots"},
		"format":           {short(), Style{Width: 800, Height: 600, Format: PDF + 1}, "no format"},
		"stretch":          {short(), Style{Width: 800, Height: 600, From: 2, To: 1}, "no stretch"},
		"after the end":    {short(), Style{Width: 800, Height: 600, From: time.Hour}, "nothing was recorded"},
		"unknown pot":      {Run{Pots: []Pot{{}}, Events: []Event{{Pot: 1}}}, good, "event of pot 1 of 1"},
		"points backwards": {backwards, good, "not in order"},
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			assert.ErrorContains(t, Draw(&b, c.run, c.style), c.says)
			assert.Zero(t, b.Len())
		})
	}
}

func TestAFailingWriterIsTold(t *testing.T) {
	read, write := io.Pipe()
	require.NoError(t, read.CloseWithError(io.ErrClosedPipe))
	assert.ErrorIs(t, Draw(write, short(), Style{Width: 400, Height: 240}), io.ErrClosedPipe)
}

// TestAnyValuesDraw: whatever is typed or measured, an SVG is XML without a
// number that is none.
func TestAnyValuesDraw(t *testing.T) {
	figure := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-50, 300), rapid.Just(math.NaN()), rapid.Just(math.Inf(1)))
	rapid.Check(t, func(t *rapid.T) {
		var p Pot
		p.Name, p.Colour = rapid.String().Draw(t, "name"), rapid.String().Draw(t, "colour")
		p.SetpointC, p.BandC = figure.Draw(t, "setpoint"), figure.Draw(t, "band")
		at := time.Duration(0)
		for range rapid.IntRange(0, 30).Draw(t, "points") {
			at += time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "dt"))
			p.Points = append(p.Points, Point{at, figure.Draw(t, "melt"), figure.Draw(t, "plate"), figure.Draw(t, "target"), figure.Draw(t, "duty")})
		}
		r := Run{Title: rapid.String().Draw(t, "title"), Pots: []Pot{p}}
		svg := drawn(t, r, Style{Width: 320, Height: 200, Fahrenheit: rapid.Bool().Draw(t, "unit")})
		texts(t, svg)
		for _, line := range strings.Split(string(svg), "\n") {
			if strings.HasPrefix(line, "<path") && (strings.Contains(line, "NaN") || strings.Contains(line, "Inf")) {
				t.Fatal(line)
			}
		}
	})
}

// BenchmarkSVG draws three pots of 72,000 points: four hours at five a second.
func BenchmarkSVG(b *testing.B) {
	r := evening(72000)
	for b.Loop() {
		if err := Draw(io.Discard, r, Style{Width: 1200, Height: 800}); err != nil {
			b.Fatal(err)
		}
	}
}

// TestNumbersOfPlot prints how long an evening takes and how large it becomes.
func TestNumbersOfPlot(t *testing.T) {
	r := evening(72000)
	for name, format := range map[string]Format{"SVG": SVG, "PNG": PNG, "PDF": PDF} {
		s, size := Style{Width: 1200, Height: 800, Format: format}, 0
		result := testing.Benchmark(func(b *testing.B) {
			for b.Loop() {
				size = len(drawn(b, r, s))
			}
		})
		t.Logf("%s of 3 × 72,000 points: %v, %d kB", name, time.Duration(result.NsPerOp()).Round(100*time.Microsecond), size/1000)
	}
}
