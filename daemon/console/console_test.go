package console

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/control"
	"meltwarden/control/call"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/view"
)

var update = flag.Bool("update", false, "write the golden files anew")

// set is an invented bench.
var set = control.Settings{Pots: []control.PotSettings{
	{Name: "left", Colour: "slate", HeaterW: 1000, SetpointC: 168, BandC: 2, CureC: 172, StirWithin: 2 * time.Minute},
	{Name: "middle", Colour: "ivory", HeaterW: 1000, SetpointC: 171, BandC: 2, CureC: 172, StirWithin: 2 * time.Minute},
	{Name: "right", Colour: "rust", HeaterW: 800, SetpointC: 165, BandC: 2, CureC: 172, StirWithin: 2 * time.Minute},
}}

func good(c float64) reading.Temperature { return reading.Temperature{C: c, Fault: reading.None} }

func frame(edit func(*control.Frame)) *frames.Frame {
	f := control.Frame{Cycle: 9000, Time: 30 * time.Minute, Heat: control.HeatEnabled, PowerW: 1440, Hot: true, Room: good(21)}
	for i, setpoint := range []float64{168, 171, 165} {
		melt := setpoint - 40*float64(i)
		f.Pots = append(f.Pots, control.PotFrame{
			State: control.Heating, Wait: control.WaitHeat, WaitLeft: time.Duration(i+1) * 3 * time.Minute,
			Melt: good(melt), Plate: good(228), MeltC: melt, TargetC: 173, SetpointC: setpoint, BandC: 2, Duty: 0.5,
		})
		for at := range f.Pots[i].AheadC {
			f.Pots[i].AheadC[at] = math.NaN() // nothing is predicted
		}
	}
	edit(&f)
	return &frames.Frame{Frame: f, At: time.Now()}
}

func heating(*control.Frame) {}

func ready(f *control.Frame) {
	f.Ready, f.Call = true, call.State{Sound: call.Ready, Seq: 4}
	for i := range f.Pots {
		p := &f.Pots[i]
		p.State, p.Wait, p.WaitLeft, p.StirredEver, p.SinceStir = control.Ready, control.WaitNothing, 150*time.Second, true, 30*time.Second
		p.Cured = true
		p.Melt, p.MeltC = good(p.SetpointC+0.3), p.SetpointC+0.3
	}
}

// drawn is one pot ready, and drawn from; and one that answers otherwise than expected.
func drawn(f *control.Frame) {
	ready(f)
	f.Pots[2].Drawn = control.Drawn{Waits: true, Since: 3 * time.Second, C: 165, TubeC: math.NaN()}
	f.Pots[1].Doubted, f.Pots[1].CanBeTried = true, true
}

// drawnAll is what stands in three injectors.
func drawnAll(f *control.Frame) {
	drawn(f)
	f.Pots[0].Drawn, f.Pots[1].Drawn = f.Pots[2].Drawn, f.Pots[2].Drawn
}

func tripped(f *control.Frame) {
	f.Heat, f.PowerW, f.Call = control.HeatTripped, 0, call.State{Sound: call.Danger, Seq: 5}
	f.Conditions = []guard.Condition{{Code: guard.PlateOverTemperature, Pot: 1, Severity: guard.Trip, Active: true, Latched: true}}
	for i := range f.Pots {
		f.Pots[i].State, f.Pots[i].Wait, f.Pots[i].WaitLeft = control.Tripped, control.WaitReset, -1
	}
	f.Pots[2].Melt = reading.Temperature{Fault: reading.Open}
}

// dead is a line that says nothing: more is found than a screen can hold.
func dead(f *control.Frame) {
	tripped(f)
	f.Conditions = nil
	find := func(pot int, codes ...guard.Code) {
		for _, c := range codes {
			f.Conditions = append(f.Conditions, guard.Condition{Code: c, Pot: pot, Severity: guard.Trip, Active: true, Latched: true})
		}
	}
	find(-1, guard.InterlockUnknown, guard.HeaterUnheard)
	for i := range f.Pots {
		find(i, guard.MeltUnusable, guard.PlateUnusable)
		f.Pots[i].Melt.Fault, f.Pots[i].Plate.Fault = reading.Missing, reading.Missing
	}
}

// foot is what a watch may stand above.
var foot = []Line{{Text: "12:00:00 taken: slate, Stirred"}, {Text: "1–3 pot  s Stirred  c Melt is clear  a Colour added  d Drawn  l Lifted off"}, {Text: "b Back on plate  p Shot  n Note"}}

// text is a screen's lines as they can be read.
func text(lines []Line) string {
	var s strings.Builder
	for _, l := range lines {
		s.WriteString(l.Text + "\n")
	}
	return s.String()
}

// TestBlocks on a terminal of 80 by 24, and on a wide one.
func TestBlocks(t *testing.T) {
	for name, f := range map[string]*frames.Frame{
		"heating": frame(heating), "ready": frame(ready), "drawn": frame(drawn), "drawn all": frame(drawnAll), "tripped": frame(tripped), "dead line": frame(dead), "no frame yet": nil,
	} {
		b := view.Of(f, set, time.Now())
		look := Look{Title: "invented run", Size: Small, Chosen: 2, Foot: foot}
		golden(t, strings.ReplaceAll(name, " ", "-")+".txt", text(Block(b, look)))
		look.Size, look.Unit = Size{160, 40}, Fahrenheit
		golden(t, strings.ReplaceAll(name, " ", "-")+"-wide.txt", text(Block(b, look)))
	}
}

// TestEveryBlockFits any screen: nothing wraps or scrolls, and a small one still has every
// pot, the caution and what came of a key.
func TestEveryBlockFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := Size{rapid.IntRange(1, 200).Draw(t, "width"), rapid.IntRange(1, 60).Draw(t, "height")}
		f := frame(rapid.SampledFrom([]func(*control.Frame){heating, ready, drawn, drawnAll, tripped, dead}).Draw(t, "bench"))
		var out bytes.Buffer
		lines := Block(view.Of(f, set, time.Now()), Look{Title: "invented run", Size: size, Foot: foot})
		require.NoError(t, NewScreen(&out, false).Draw(size, lines))
		assert.LessOrEqual(t, len(lines), size.Height)
		for _, row := range strings.Split(out.String(), "\x1b[K")[1:] {
			shown, _, _ := strings.Cut(strings.NewReplacer("\x1b[1;7m", "", "\x1b[1m", "", "\x1b[7m", "", "\x1b[0m", "").Replace(row), "\x1b")
			assert.Less(t, utf8.RuneCountInString(shown), max(2, size.Width), "%q", shown)
		}
		if size.Width >= 60 && size.Height >= 12 {
			for _, p := range set.Pots {
				assert.Contains(t, text(lines), p.Colour)
			}
			assert.Contains(t, text(lines), foot[0].Text)
			assert.Contains(t, text(lines), "HOT")
		}
	})
}

// TestNoNumberIsCut on a terminal of 80 columns, however low: what has no room is left out
// part by part. How long a draw lasts, and until what, stands there while its pot has two lines.
func TestNoNumberIsCut(t *testing.T) {
	for _, edit := range []func(*control.Frame){drawn, drawnAll} {
		for height := 20; height <= 40; height++ {
			shown := text(Block(view.Of(frame(edit), set, time.Now()), Look{Size: Size{80, height}, Foot: foot}))
			assert.NotRegexp(t, `[^,; ] ?…`, shown, "%d lines", height)
			assert.Regexp(t, `(?m)^     injector ≈ \d+ s, until 150 °C \(302 °F\)`, shown, "%d lines", height)
		}
	}
	shown := strings.Join(strings.Fields(text(Block(view.Of(frame(drawn), set, time.Now()), Look{Size: Size{80, 30}, Foot: foot}))), " ")
	for _, whole := range []string{"Yes: ready to pour – rust: injector ≈ ", "by now, lowest to push 150 °C", "answers otherwise than expected: try it out while nobody pours"} {
		assert.Contains(t, shown, whole)
	}
}

// TestOnlyWhatHasChangedIsDrawn: a bench is watched over slow lines. How much that is for a
// second of frames is printed.
func TestOnlyWhatHasChangedIsDrawn(t *testing.T) {
	var out bytes.Buffer
	s := NewScreen(&out, true)
	draw := func(edit func(*control.Frame)) int {
		out.Reset()
		require.NoError(t, s.Draw(Small, Block(view.Of(frame(edit), set, time.Now()), Look{Title: "invented run", Size: Small, Foot: foot})))
		return out.Len()
	}
	whole := draw(heating)
	assert.Zero(t, draw(heating))
	warmer := draw(func(f *control.Frame) { f.Time += time.Second; f.Pots[1].MeltC++ })
	assert.Less(t, warmer, whole/4)
	t.Logf("a whole block is %d bytes; when the clock and one melt have moved, %d are sent", whole, warmer)
	s.Forget()
	draw(heating)
	assert.Contains(t, out.String(), "\x1b[2J")
}

// TestNothingIsToldByColourAlone: without colours the same letters stand there.
func TestNothingIsToldByColourAlone(t *testing.T) {
	for _, edit := range []func(*control.Frame){heating, ready, tripped, dead} {
		lines := Block(view.Of(frame(edit), set, time.Now()), Look{Size: Small})
		var bare, coloured bytes.Buffer
		require.NoError(t, NewScreen(&bare, false).Draw(Small, lines))
		require.NoError(t, NewScreen(&coloured, true).Draw(Small, lines))
		style := regexp.MustCompile(`\x1b\[[0-9;]*m`)
		assert.Equal(t, style.ReplaceAllString(bare.String(), ""), style.ReplaceAllString(coloured.String(), ""))
		assert.NotRegexp(t, `\x1b\[[0-9;]*[34][0-7]`, bare.String(), "no colour (ECMA-48, 8.3.117)")
	}
}

// TestFoldKeepsEveryWord of any text, in lines that fit.
func TestFoldKeepsEveryWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-zé°]{1,30}`), 0, 40).Draw(t, "words")
		folded := fold(strings.Join(words, " "), 79)
		for _, l := range folded {
			assert.LessOrEqual(t, utf8.RuneCountInString(l), 79)
		}
		assert.Equal(t, words, append([]string{}, strings.Fields(strings.Join(folded, " "))...))
	})
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("../../testdata/console", name)
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

// TestBellRingsOncePerCall, and not while silenced.
func TestBellRingsOncePerCall(t *testing.T) {
	var out bytes.Buffer
	s := NewScreen(&out, true)
	rings := func(edit func(*control.Frame)) int {
		out.Reset()
		s.Ring(view.Of(frame(edit), set, time.Now()))
		return strings.Count(out.String(), "\a")
	}
	assert.Equal(t, 0, rings(heating))
	assert.Equal(t, 2, rings(ready))
	assert.Equal(t, 0, rings(ready))
	assert.Equal(t, 3, rings(tripped))
	stale := frame(tripped)
	stale.At = stale.At.Add(-time.Minute)
	s.Ring(view.Of(stale, set, time.Now()))
	assert.Equal(t, 0, rings(tripped), "a gap is no new call")
	assert.Equal(t, 0, rings(func(f *control.Frame) {
		tripped(f)
		f.Call.Seq, f.Call.Silenced = 6, true
	}))
}

// TestPlainLines: one for a change, one a minute, none in between.
func TestPlainLines(t *testing.T) {
	var out bytes.Buffer
	c := NewPlain(&out, Celsius)
	lines := func(at time.Duration, edit func(*control.Frame)) int {
		out.Reset()
		c.Show(view.Of(frame(func(f *control.Frame) { edit(f); f.Time = at }), set, time.Now()))
		return strings.Count(out.String(), "\n")
	}
	assert.Equal(t, 1, lines(time.Minute, heating))
	assert.Equal(t, 0, lines(time.Minute+200*time.Millisecond, heating))
	assert.Equal(t, 1, lines(2*time.Minute, heating))
	assert.Equal(t, 2, lines(2*time.Minute+time.Second, tripped), "the bench, and what was found")
	golden(t, "tripped-plain.txt", out.String())
	assert.Equal(t, 1, lines(4*time.Minute, tripped), "that is not said again")
	assert.Equal(t, 2, lines(4*time.Minute+time.Second, func(f *control.Frame) { tripped(f); f.Conditions[0].Active = false }), "but that its cause is gone")
	assert.Equal(t, 2, lines(4*time.Minute+2*time.Second, heating))
	assert.Contains(t, out.String(), "– ivory: The plate is over its trip temperature (no longer)")
}

// TestAnInventedBenchSaysSo on its first line, on every plain one, and when it is lost.
func TestAnInventedBenchSaysSo(t *testing.T) {
	b := view.Of(frame(heating), set, time.Now())
	said := view.Terminal().Simulated
	assert.NotContains(t, Block(b, Look{Title: "a run", Size: Small})[0].Text, said)
	b.Simulated = true
	for _, shown := range []view.Bench{b, b.Lost(time.Minute)} {
		assert.Equal(t, said+": a run", Block(shown, Look{Title: "a run", Size: Small})[0].Text[:len(said)+7])
		var out bytes.Buffer
		assert.NoError(t, NewPlain(&out, Celsius).Show(shown))
		assert.Contains(t, out.String(), said)
	}
}

// TestPlainLineBeforeTheFirstFrame, for a pot whose recipe gives it no colour.
func TestPlainLineBeforeTheFirstFrame(t *testing.T) {
	var out bytes.Buffer
	NewPlain(&out, Celsius).Show(view.Of(nil, control.Settings{Pots: []control.PotSettings{{Name: "left"}}}, time.Now()))
	assert.Equal(t, "0:00:00  left –– °C not known | not known | NOT LIVE – no reading yet\n", out.String())
}
