package call

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// strips plays a call for so many beats and returns buzzer and lamp, one
// character a beat: "#" on, "." off.
func strips(c *Caller, w Wanted, beats int) (buzzer, lamp string) {
	mark := map[bool]string{true: "#", false: "."}
	var b, l strings.Builder
	for range beats {
		_, lampOn, buzzerOn := c.Step(w, beat)
		b.WriteString(mark[buzzerOn])
		l.WriteString(mark[lampOn])
	}
	return b.String(), l.String()
}

const second = 5 // beats

func TestRhythms(t *testing.T) {
	quiet := strings.Repeat(".", 200)
	for _, row := range []struct {
		name         string
		w            Wanted
		buzzer, lamp string // the beginning
	}{
		{"quiet and cold", Wanted{}, "....................", "...................."},
		{"quiet and hot: a wink every 4 s", Wanted{Hot: true}, "....................", "...................#...................#"},
		{"danger: fast, without end", Wanted{Trips: 1}, "#.#.#.#.#.#.#.#.#.#.", "#.#.#.#.#.#.#.#.#.#."},
		{"act: three beeps every 10 s", Wanted{Warnings: 1}, "##.##.##." + quiet[:41] + "##.##.##.", "###...###...###...##"},
		{"ready: short and long", Wanted{Ready: true}, "####..######" + quiet[:38] + "####..######", "####################"},
	} {
		var c Caller
		buzzer, lamp := strips(&c, row.w, 70)
		assert.Equal(t, row.buzzer, buzzer[:len(row.buzzer)], row.name)
		assert.Equal(t, row.lamp, lamp[:len(row.lamp)], row.name)
	}
}

// TestPotNumberByBeeps: a pot that has become ready is told by as many short
// beeps as its number.
func TestPotNumberByBeeps(t *testing.T) {
	for pot, want := range map[int]string{
		1: "#.........",
		2: "#.#.......",
		3: "#.#.#.....",
		4: "#.#.#.#...",
	} {
		var c Caller
		first, _ := strips(&c, Wanted{News: pot}, 1) // it is new in one cycle only
		rest, _ := strips(&c, Wanted{}, 9)
		assert.Equal(t, want, first+rest)
	}
}

// TestReadyIsSaidThreeTimes, then the lamp alone says it.
func TestReadyIsSaidThreeTimes(t *testing.T) {
	var c Caller
	buzzer, lamp := strips(&c, Wanted{Ready: true}, 600*second)
	assert.Equal(t, 3, strings.Count(buzzer, "####..######"))
	assert.NotContains(t, buzzer[30*second:], "#")
	assert.NotContains(t, lamp, ".")
}

// TestWorstWins: danger over act over ready over a pot's tick.
func TestWorstWins(t *testing.T) {
	for _, row := range []struct {
		w    Wanted
		want Sound
	}{
		{Wanted{Trips: 1, Warnings: 3, Ready: true, News: 2, Hot: true}, Danger},
		{Wanted{Warnings: 1, Ready: true, News: 2, Hot: true}, Act},
		{Wanted{Ready: true, News: 2, Hot: true}, Ready},
		{Wanted{News: 2, Hot: true}, Tick},
		{Wanted{Hot: true}, Quiet},
	} {
		var c Caller
		s, _, _ := c.Step(row.w, beat)
		assert.Equal(t, row.want, s.Sound)
	}
}

// TestWhatWasHiddenIsSaidAgain: after a trip is reset, a warning and "ready" are
// said anew.
func TestWhatWasHiddenIsSaidAgain(t *testing.T) {
	var c Caller
	c.Step(Wanted{Ready: true}, beat)
	c.Step(Wanted{Ready: true, Trips: 1}, beat)
	s, _, buzzer := c.Step(Wanted{Ready: true}, beat)
	assert.Equal(t, Ready, s.Sound)
	assert.True(t, buzzer)
	assert.EqualValues(t, 3, s.Seq)
}

func TestSilenceStopsTheSoundAndClearsNothing(t *testing.T) {
	for _, w := range []Wanted{{Trips: 1}, {Warnings: 1}, {Ready: true}} {
		var c Caller
		first, _, _ := c.Step(w, beat)
		pressed := w
		pressed.Silence = true
		s, _, buzzer := c.Step(pressed, beat)
		assert.False(t, buzzer)
		assert.True(t, s.Silenced)
		assert.Equal(t, first.Sound, s.Sound, "the call stays")
		assert.Equal(t, first.Seq, s.Seq)
		rest, lamp := strips(&c, w, 60*second)
		assert.NotContains(t, rest, "#", "and stays silent")
		assert.Contains(t, lamp, "#", "while the lamp goes on")
	}
}

func TestANewTripSoundsAgain(t *testing.T) {
	var c Caller
	c.Step(Wanted{Trips: 1}, beat)
	c.Step(Wanted{Trips: 1, Silence: true}, beat)
	s, _, buzzer := c.Step(Wanted{Trips: 2, FreshTrips: 1}, beat)
	assert.True(t, buzzer)
	assert.False(t, s.Silenced)
	assert.EqualValues(t, 2, s.Seq)
	// A reset of one of them is no news.
	c.Step(Wanted{Trips: 2, Silence: true}, beat)
	_, _, buzzer = c.Step(Wanted{Trips: 1}, beat)
	assert.False(t, buzzer)
}

// TestWhatTakesAnothersPlaceSounds: as many as before, or fewer, and yet another one.
func TestWhatTakesAnothersPlaceSounds(t *testing.T) {
	for before, now := range map[Wanted]Wanted{
		{Trips: 1}:    {Trips: 1, FreshTrips: 1},
		{Trips: 3}:    {Trips: 2, FreshTrips: 1},
		{Warnings: 1}: {Warnings: 1, FreshWarnings: 1},
		{Warnings: 3}: {Warnings: 1, FreshWarnings: 1},
	} {
		var c Caller
		c.Step(before, beat)
		silent := before
		silent.Silence = true
		c.Step(silent, beat)
		s, _, buzzer := c.Step(now, beat)
		assert.True(t, buzzer, "%+v", now)
		assert.EqualValues(t, 2, s.Seq, "%+v", now)
	}
}

// TestSilenceLastsTwoMinutes: a trip or a warning that is still there is said again;
// "ready" is not.
func TestSilenceLastsTwoMinutes(t *testing.T) {
	for sound, w := range map[Sound]Wanted{Danger: {Trips: 1}, Act: {Warnings: 1}, Ready: {Ready: true}} {
		var c Caller
		c.Step(w, beat)
		silent := w
		silent.Silence = true
		s, _, _ := c.Step(silent, beat)
		assert.True(t, s.Silenced)
		s, _, _ = c.Step(w, silenceLasts-2*beat)
		assert.True(t, s.Silenced)
		s, _, _ = c.Step(w, 2*beat)
		assert.Equal(t, sound == Ready, s.Silenced, sound)
	}
}

// TestSilenceInTheCycleOfATrip does not swallow a trip that nobody has heard.
func TestSilenceInTheCycleOfATrip(t *testing.T) {
	var c Caller
	s, _, buzzer := c.Step(Wanted{Trips: 1, Silence: true}, beat)
	assert.True(t, buzzer)
	assert.False(t, s.Silenced)
}

// TestSilencedReadyDoesNotHideTheNextTrip.
func TestSilencedReadyDoesNotHideTheNextTrip(t *testing.T) {
	var c Caller
	c.Step(Wanted{Ready: true}, beat)
	c.Step(Wanted{Ready: true, Silence: true}, beat)
	_, _, buzzer := c.Step(Wanted{Ready: true, Trips: 1}, beat)
	assert.True(t, buzzer)
}

// TestSilenceBeforeAnyCallHidesNone: the pedal was pressed while all was quiet.
func TestSilenceBeforeAnyCallHidesNone(t *testing.T) {
	for _, w := range []Wanted{{Trips: 1}, {Warnings: 1}, {Ready: true}, {News: 1}} {
		var c Caller
		c.Step(Wanted{Silence: true}, beat)
		_, _, buzzer := c.Step(w, beat)
		assert.True(t, buzzer, "%+v", w)
	}
}

// TestEachCallHasItsNumber: a page that is told of one call a hundred times
// plays it once.
func TestEachCallHasItsNumber(t *testing.T) {
	var c Caller
	seqs := map[uint64]Sound{}
	play := func(w Wanted, beats int) {
		for range beats {
			s, _, _ := c.Step(w, beat)
			if s.Sound != Quiet {
				seqs[s.Seq] = s.Sound
			}
		}
	}
	play(Wanted{News: 1}, 1)
	play(Wanted{}, 50)
	play(Wanted{Ready: true}, 50)
	play(Wanted{Warnings: 1, Ready: true}, 50)
	play(Wanted{Trips: 1, Ready: true}, 50)
	assert.Equal(t, map[uint64]Sound{1: Tick, 2: Ready, 3: Act, 4: Danger}, seqs)
}

func TestATickEnds(t *testing.T) {
	var c Caller
	c.Step(Wanted{News: 2}, beat)
	_, _ = strips(&c, Wanted{}, 5*second)
	s, _, _ := c.Step(Wanted{}, beat)
	assert.Equal(t, Quiet, s.Sound)
	require.Equal(t, "quiet", s.Sound.String())
}

// TestSlowCyclesKeepTheRhythm: a beat that is late is not made up for.
func TestSlowCyclesKeepTheRhythm(t *testing.T) {
	var c Caller
	c.Step(Wanted{Trips: 1}, beat)
	s, _, buzzer := c.Step(Wanted{Trips: 1}, time.Hour)
	assert.True(t, buzzer, "an hour is an even number of beats")
	assert.Equal(t, time.Hour, s.Since)
}
