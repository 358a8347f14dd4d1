package plan

import (
	"encoding/json"
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/lines"
)

// demoGiven is an evening of the demo with a course that is made up: nothing is rehearsed.
func demoGiven(t *testing.T) Given {
	t.Helper()
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	set, err := config.Settings(b, config.DemoRecipe())
	require.NoError(t, err)
	b.Pots[0].LeastFillML, b.Pots[1].LeastFillML, b.Pots[2].LeastFillML = 90, 0, 0
	m := time.Minute
	return Given{
		Bench: b, Recipe: config.DemoRecipe(), Settings: set, Wanted: Wanted{RoomC: 20},
		Recalled: []string{"known from 2026-01-02, 1 session", "first heat: nothing is known of it yet", "first heat: nothing is known of it yet"},
		Course: &Course{Ready: 30 * m, PeakW: 2400, BusiestW: 1900, MeanW: 600, MinuteW: []float64{1900, 1500, 400, 480}, Pots: []PotCourse{
			{0, 20 * m, 22 * m, 29 * m, nil, 220},
			{0, 27 * m, 29 * m, 30 * m, []Span{{10 * m, 15 * m}, {20 * m, 20*m + 5*time.Second}}, 220},
			{0, 21 * m, 23 * m, 30 * m, nil, 220},
		}},
	}
}

// TestExpect holds the middle and the range against a calculation by hand: ratios of 1.1
// and 1.0 with half a run of 1.0 have the middle exp((ln 1.1 + 0)/2.5) = 1.0389.
func TestExpect(t *testing.T) {
	m := time.Minute
	e := Expect(30*m, OnEvenings, []Earlier{{Took: 33 * m, Foreseen: 30 * m}, {Took: 40 * m}, {Took: 20 * m, Foreseen: 20 * m}})
	assert.Equal(t, 2, e.Runs, "one was not rehearsed")
	assert.InDelta(t, 1.0389, e.Ratio, 1e-4)
	assert.InDelta(t, 31.166, e.Middle.Minutes(), 1e-2)
	assert.InDelta(t, 1.0, e.Least, 1e-9)
	assert.InDelta(t, 1.1, e.Most, 1e-9)
	// s² = (3 × 0.08² + 0.0572² + 0.0381²)/5; off = 1.35 × s × √(1 + 1/3.5) = 0.1059
	assert.InDelta(t, 31.166*math.Exp(-0.1059), e.From.Minutes(), 2e-2)
	assert.InDelta(t, 31.166*math.Exp(0.1059), e.To.Minutes(), 2e-2)

	first, known := Expect(30*m, OnGuesses, nil), Expect(30*m, OnEvenings, nil)
	assert.Greater(t, first.To-first.From, known.To-known.From, "a first heat has the wider range")
	warmed := Expect(30*m, OnFirstHeats, nil)
	assert.Equal(t, known.Middle, warmed.Middle, "what is known is no guess")
	assert.Greater(t, warmed.To-warmed.From, first.To-first.From, "and goes no further than a first heat")
	assert.Equal(t, MostEarlier, Expect(m, OnEvenings, slices.Repeat([]Earlier{{Took: m, Foreseen: m}}, 9)).Runs)
}

// TestHindsightSparesRehearsals: runs that differ by nothing but their room take one, and
// what the room does is near what a rehearsal makes of it.
func TestHindsightSparesRehearsals(t *testing.T) {
	if testing.Short() {
		t.Skip("three rehearsals")
	}
	g := demoGiven(t)
	var r Rehearser
	n := 0
	rehearse := func(set control.Settings, c float64) Course { n++; return r.Rehearse(set, c) }
	past := []Past{{Took: time.Minute, Settings: g.Settings, RoomC: 17}, {Took: time.Minute, Settings: g.Settings, RoomC: 27}}
	all := Hindsight(past, g.Settings, 21, rehearse)
	assert.Equal(t, 2, n)
	assert.Len(t, r.done, 1)
	for i, e := range all {
		c := Rehearse(g.Settings, past[i].RoomC)
		assert.InEpsilon(t, c.Ready.Seconds(), e.Foreseen.Seconds(), 0.025, "a room of %.0f °C", past[i].RoomC)
		assert.LessOrEqual(t, c.PeakW, g.Settings.Circuit.MaxW)
		assert.LessOrEqual(t, c.BusiestW, g.Settings.Circuit.ContinuousW*1.001)
		for _, p := range c.Pots {
			assert.Less(t, p.Cures, p.Dwelled)
			assert.LessOrEqual(t, p.Ready, c.Ready)
			assert.LessOrEqual(t, p.PlateC, 230.5)
		}
	}
	before, err := json.Marshal(g.Settings)
	require.NoError(t, err)
	after, err := json.Marshal(past[0].Settings)
	require.NoError(t, err)
	assert.JSONEq(t, string(before), string(after), "what is asked about stays as it is")
}

func TestAmountsAreInTheirOrderAndAsTyped(t *testing.T) {
	c := config.DemoRecipe().Colours[2]
	c.Softener, c.Hardener, c.Flake, c.FlakeCut = "10 %", "5 mL", "1 pinch", ".015 hex"
	assert.Equal(t, []string{
		"invented soft base, soft, demo lot 2: 180 mL", "softener: 10 %", "hardener: 5 mL", "red brown: 1.5 mL",
		"flake: 1 pinch, .015 hex", "salt: 15 g", "scent: 2 mL, oil-based",
	}, Amounts(c))
}

// terminal is a sheet as a terminal shows it, on one line.
func terminal(t *testing.T, s Sheet) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, s.WriteText(&b))
	for _, l := range strings.Split(b.String(), "\n") {
		assert.LessOrEqual(t, len([]rune(l)), lines.Wide, l)
		assert.Equal(t, strings.TrimRight(l, " "), l, "no blanks at the end")
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func TestSheetSaysWhatToDo(t *testing.T) {
	g := demoGiven(t)
	g.ReadyAt = time.Date(2026, 1, 31, 20, 0, 0, 0, time.UTC)
	said := terminal(t, Of(g).Sheet(false))
	for _, want := range []string{
		"not the protection", "local code", "no children", "never water", "Class B extinguisher",
		"Extraction at the pots", "Mould complete with all its inserts; clamped before any push", "all agree within 3 °C", "Least fill that covers the probe: slate 90 mL, ivory not recorded, rust not recorded",
		"Press at 19:32 and all is ready about 20:00, estimated; in 8 of 10 from", "in 9 of 10, press at 19:", "first heat of slate, ivory, rust",
		"blue grey: 18 drops; black: 3 drops", "172 °C for 90 s", "168 °C ± 2 °C",
		"19:17 (−15 min)", "19:32 (+0 min) hand press the enable button", "ivory: waits for the other pots, until about",
		"2400 W, 100 % of the breaker's 2400 W", "99 % of the 1920 W", "room of 20 °C, as it was read", "the range is assumed (E",
	} {
		assert.Contains(t, said, want)
	}
	assert.Less(t, strings.Index(said, "not the protection"), strings.Index(said, "Press at"), "cautions come first")
	assert.Equal(t, 1, strings.Count(said, "waits for the other pots"), "one of five seconds is not worth telling")
	assert.NotContains(t, terminal(t, Of(g).Sheet(true)), "°C for")
	assert.Contains(t, terminal(t, Of(g).Sheet(true)), "334 °F ± 4 °F")

	g.Wanted = Wanted{RoomC: 20}
	g.Earlier = []Earlier{{Run: 7, Began: time.Date(2026, 1, 30, 18, 0, 0, 0, time.UTC), Took: 36 * time.Minute, Foreseen: 30 * time.Minute}}
	said = terminal(t, Of(g).Sheet(false))
	for _, want := range []string{"after the press, estimated", "took 1.20 to 1.20 times", "Run 7, 2026-01-30: all ready 36 min after the press, rehearsed 30 min."} {
		assert.Contains(t, said, want)
	}
}

// TestWhatIsNotForeseenIsNotMadeUp: a pot with one probe, and one that takes for ever.
func TestWhatIsNotForeseenIsNotMadeUp(t *testing.T) {
	g := demoGiven(t)
	assert.True(t, CanRehearse(g.Settings))
	g.Settings.Pots[1].Probes = reading.PlateOnly
	assert.False(t, CanRehearse(g.Settings))
	steered := demoGiven(t)
	steered.Settings.Pots[1].Controller, steered.Course = control.Controller{RestC: 5}, nil
	assert.False(t, CanRehearse(steered.Settings))
	g.Course = nil
	g.ReadyAt = time.Date(2026, 1, 31, 20, 0, 0, 0, time.UTC)
	never := demoGiven(t)
	never.Course.Ready = -1
	for want, g := range map[string]Given{"a pot has one probe only": g, "two hours are not enough": never, "a controller of its own heats a pot": steered} {
		p := Of(g)
		said := terminal(t, p.Sheet(false))
		assert.Contains(t, said, want)
		assert.Contains(t, said, "blue grey: 18 drops")
		assert.NotContains(t, said, "Press at")
		assert.NotContains(t, said, "NaN")
		text, err := json.Marshal(p)
		require.NoError(t, err)
		assert.Contains(t, string(text), `"ready":null,"circuit":null`)
		assert.Contains(t, string(text), `"cures_s":null`)
	}
}

func TestJSON(t *testing.T) {
	g := demoGiven(t)
	g.Begin = time.Date(2026, 1, 31, 19, 30, 0, 0, time.UTC)
	text, err := json.Marshal(Of(g))
	require.NoError(t, err)
	var f figures
	require.NoError(t, json.Unmarshal(text, &f))
	assert.InDelta(t, 1800, f.Ready.RehearsedS, 1e-9)
	assert.Equal(t, g.Begin, *f.Begin)
	assert.Equal(t, []string{"slate", "ivory", "rust"}, f.FirstHeats)
	assert.Len(t, f.Pots[1].Waits, 2)
	assert.Contains(t, string(text), `"ready_at":null`)
}

func TestTimesAndRoomsAsTyped(t *testing.T) {
	now := time.Date(2026, 1, 31, 19, 30, 40, 0, time.UTC)
	for typed, want := range map[string]string{"19:30": "2026-01-31 19:30", "20:05": "2026-01-31 20:05", "7:15": "2026-02-01 07:15"} {
		at, err := At(now, typed)
		require.NoError(t, err)
		assert.Equal(t, want, at.Format("2006-01-02 15:04"))
	}
	for _, typed := range []string{"", "25:00", "8 pm", "19:30:10"} {
		_, err := At(now, typed)
		assert.ErrorContains(t, err, fmt.Sprintf("%q: no time of day; write it like 19:30", typed))
	}
	c, err := Room("68 F")
	require.NoError(t, err)
	assert.InDelta(t, 20, c, 1e-9)
	_, err = Room("68")
	assert.ErrorContains(t, err, `write "68 C" or "68 F"`)
	_, err = Room("68 C")
	assert.ErrorContains(t, err, "hard to believe of a room")
	g := Given{Wanted: Wanted{RoomC: math.NaN()}}
	g.AssumeRoom(21)
	assert.True(t, g.RoomAssumed)
	g.AssumeRoom(25)
	assert.False(t, g.RoomAssumed)
	assert.InDelta(t, 21, g.RoomC, 0)
}

// TestPlanIsPure: it sees no line, no file, no clock of its own and no chance; what it
// rehearses can reach no heater.
func TestPlanIsPure(t *testing.T) {
	may := []string{
		"cmp", "encoding/json", "fmt", "io", "math", "slices", "strings", "text/tabwriter", "time",
		"meltwarden/config", "meltwarden/config/quantity", "meltwarden/control", "meltwarden/control/guard", "meltwarden/control/model", "meltwarden/control/reading", "meltwarden/daemon/checks",
		"meltwarden/daemon/frames", "meltwarden/daemon/lines",
	}
	require.NoError(t, fs.WalkDir(os.DirFS("."), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		for _, i := range file.Imports {
			p, _ := strconv.Unquote(i.Path.Value)
			assert.Contains(t, may, p, path)
		}
		source, readErr := os.ReadFile(path)
		require.NoError(t, readErr)
		assert.NotContains(t, string(source), "time.Now", path)
		return err
	}))
}
