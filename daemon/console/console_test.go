package console

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
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
)

var update = flag.Bool("update", false, "write the golden files anew")

// set is an invented bench.
var set = control.Settings{Pots: []control.PotSettings{
	{Name: "left", Colour: "slate", HeaterW: 1000, SetpointC: 168, BandC: 2, StirWithin: 2 * time.Minute},
	{Name: "middle", Colour: "ivory", HeaterW: 1000, SetpointC: 171, BandC: 2, StirWithin: 2 * time.Minute},
	{Name: "right", Colour: "rust", HeaterW: 800, SetpointC: 165, BandC: 2, StirWithin: 2 * time.Minute},
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
		p.Melt, p.MeltC = good(p.SetpointC+0.3), p.SetpointC+0.3
	}
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

// TestBlocks on a terminal of 80 by 24: nothing wraps or scrolls.
func TestBlocks(t *testing.T) {
	for name, f := range map[string]*frames.Frame{
		"heating": frame(heating), "ready": frame(ready), "tripped": frame(tripped), "dead line": frame(dead), "no frame yet": nil,
	} {
		var out bytes.Buffer
		New(&out, true, "invented run", set).Show(f)
		got := readable(out.String())
		golden(t, strings.ReplaceAll(name, " ", "-")+".txt", got)
		assert.LessOrEqual(t, strings.Count(got, "\n"), 23, name)
		for line := range strings.Lines(got) {
			assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), 79, "%s: %q", name, line)
		}
	}
}

// TestDrawsOverItself: the cursor goes up by what was drawn, and what is left of a
// longer block is wiped.
func TestDrawsOverItself(t *testing.T) {
	var out bytes.Buffer
	c := New(&out, true, "invented run", set)
	c.Show(frame(tripped))
	drawn := strings.Count(out.String(), "\n")
	out.Reset()
	c.Show(frame(heating))
	assert.True(t, strings.HasPrefix(out.String(), fmt.Sprintf("\x1b[%dA", drawn)))
	assert.True(t, strings.HasSuffix(out.String(), "\x1b[J"))
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

// readable takes the screen's controls out.
func readable(s string) string {
	return strings.NewReplacer("\x1b[K", "", "\x1b[J", "", "\a", "").Replace(s)
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
	c := New(&out, true, "invented run", set)
	rings := func(edit func(*control.Frame)) int {
		out.Reset()
		c.Show(frame(edit))
		return strings.Count(out.String(), "\a")
	}
	assert.Equal(t, 0, rings(heating))
	assert.Equal(t, 2, rings(ready))
	assert.Equal(t, 0, rings(ready))
	assert.Equal(t, 3, rings(tripped))
	stale := frame(tripped)
	stale.At = stale.At.Add(-time.Minute)
	c.Show(stale)
	assert.Equal(t, 0, rings(tripped), "a gap is no new call")
	assert.Equal(t, 0, rings(func(f *control.Frame) {
		tripped(f)
		f.Call.Seq, f.Call.Silenced = 6, true
	}))
}

// TestPlainLines: one for a change, one a minute, none in between.
func TestPlainLines(t *testing.T) {
	var out bytes.Buffer
	c := New(&out, false, "invented run", set)
	lines := func(at time.Duration, edit func(*control.Frame)) int {
		out.Reset()
		c.Show(frame(func(f *control.Frame) { edit(f); f.Time = at }))
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

// TestPlainLineBeforeTheFirstFrame, for a pot whose recipe gives it no colour.
func TestPlainLineBeforeTheFirstFrame(t *testing.T) {
	var out bytes.Buffer
	New(&out, false, "invented run", control.Settings{Pots: []control.PotSettings{{Name: "left"}}}).Show(nil)
	assert.Equal(t, "0:00:00  left –– °C not known | not known | NOT LIVE – no reading yet\n", out.String())
}
