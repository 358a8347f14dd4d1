package alarm

import (
	"encoding/csv"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
)

// standardState spells a state as the table of the standard does.
var standardState = map[string]State{
	"Normal": Normal, "Unacknowledged alarm": Unacknowledged, "Acknowledged alarm": Acknowledged,
	"Returned-to-normal unacknowledged": Returned, "Latched unacknowledged": LatchedUnacknowledged,
	"Latched acknowledged": LatchedAcknowledged, "Shelved": Shelved, "Suppressed by design": Suppressed, "Out of service": OutOfService,
}

// TestTransitionsAreTheStandards walks every transition of ANSI/ISA-18.2-2016 and
// IEC 62682 in testdata/alarms (in our words, from two public descriptions).
func TestTransitionsAreTheStandards(t *testing.T) {
	f, err := os.Open("../../testdata/alarms/transitions.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	walked := 0
	for _, row := range rows[1:] {
		from, said, to := row[0], row[1], standardState[row[2]]
		if strings.Contains(row[3], "optional") {
			continue // none of ours acknowledges itself, or calls again by a timer
		}
		var froms []State
		if from == "any alarm-process state" {
			froms = []State{Unacknowledged, Acknowledged, Returned, LatchedUnacknowledged, LatchedAcknowledged}
		} else {
			s, is := standardState[from]
			require.True(t, is, from)
			froms = []State{s}
		}
		for _, s := range froms {
			e, latching, present := eventOf(t, said, row[3])
			assert.Equal(t, to, s.next(e, latching, present, to), "%s: %s", from, said)
			walked++
		}
	}
	assert.Equal(t, 33, walked)
}

// eventOf reads the table's words.
func eventOf(t *testing.T, said, note string) (e event, latching, present bool) {
	latching = strings.Contains(said, "latches")
	present = strings.Contains(said, "condition present")
	switch {
	case strings.Contains(said, "condition present"), strings.Contains(said, "condition absent"):
		return takenUp, latching, present
	case strings.Contains(said, "occurs"), strings.Contains(said, "recurs"):
		return occurs, latching, true
	case strings.Contains(said, "condition clears"):
		return clears, latching, false
	case strings.Contains(said, "acknowledges"):
		return acknowledged, latching, false
	case strings.Contains(said, "resets"):
		return reset, latching, false
	case strings.Contains(said, "shelves"), strings.Contains(said, "suppresses"), strings.Contains(said, "takes out"):
		return setAside, latching, false
	}
	require.Fail(t, said)
	return 0, false, false
}

// stage plays frames to a list.
type stage struct {
	*List
	at time.Duration
}

func (s *stage) see(conditions ...guard.Condition) { s.pass(time.Second, conditions...) }

func (s *stage) pass(d time.Duration, conditions ...guard.Condition) {
	s.at += d
	f := control.Frame{Time: s.at, Conditions: conditions}
	s.See(&f)
}

func (s *stage) states() (all []string) {
	for _, a := range s.Now() {
		all = append(all, a.Code.String()+": "+a.State.String())
	}
	return all
}

var (
	warm  = guard.Condition{Code: guard.MeltNoisy, Pot: 1, Severity: guard.Warning, Active: true}
	stop  = guard.Condition{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true}
	stood = guard.Condition{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Latched: true}
)

// told is a lamp that hears what it is told.
func told() error { return nil }

func keyOf(c guard.Condition) Key { return Key{c.Code, c.Pot} }

func TestAWarningIsSeenAndGoes(t *testing.T) {
	s := &stage{List: NewList()}
	s.see(warm)
	assert.Equal(t, []string{"melt_noisy: unacknowledged"}, s.states())
	require.NoError(t, s.Acknowledge(keyOf(warm)))
	assert.Equal(t, []string{"melt_noisy: acknowledged"}, s.states())
	s.pass(offDelay - time.Second)
	s.see(warm)
	assert.Equal(t, []string{"melt_noisy: acknowledged"}, s.states(), "gone for a moment is not gone")
	s.pass(offDelay - time.Second)
	s.pass(time.Second)
	assert.Empty(t, s.states())
	assert.ErrorIs(t, s.Acknowledge(keyOf(warm)), ErrNone)

	s.see(warm)
	s.pass(offDelay)
	assert.Equal(t, []string{"melt_noisy: returned to normal, unacknowledged"}, s.states(), "nobody has seen it")
	require.NoError(t, s.Acknowledge(keyOf(warm)))
	assert.Empty(t, s.states())
	assert.Equal(t, 2, s.Rate())
	s.pass(RateOver)
	s.pass(RateOver)
	assert.Zero(t, s.Rate())
}

// TestATripLatches until it is reset at the bench, and is can not be set aside.
func TestATripLatches(t *testing.T) {
	s := &stage{List: NewList()}
	s.see(stop)
	assert.ErrorIs(t, s.Shelve(keyOf(stop), time.Minute, told), ErrHigh)
	assert.ErrorIs(t, s.TakeOut(keyOf(stop), told), ErrHigh)
	s.see(stood)
	assert.Equal(t, []string{"e_stop_open: latched, unacknowledged"}, s.states())
	require.NoError(t, s.Acknowledge(keyOf(stop)))
	assert.Equal(t, []string{"e_stop_open: latched, acknowledged"}, s.states(), "seen is not reset")
	s.see(stop)
	assert.Equal(t, []string{"e_stop_open: unacknowledged"}, s.states(), "it has come again")
	s.see(stood)
	s.see()
	assert.Empty(t, s.states(), "whoever reset it at the bench has seen it")
	var journal []string
	for _, c := range s.Drain() {
		journal = append(journal, c.To.String())
	}
	assert.Equal(t, []string{"unacknowledged", "latched, unacknowledged", "latched, acknowledged", "unacknowledged",
		"latched, unacknowledged", "latched, acknowledged", "normal"}, journal)
	assert.Empty(t, s.Drain())
}

// TestTheFirstOutStandsOut: of alarms that come together, the first is marked, and
// what cuts heat is listed above.
func TestTheFirstOutStandsOut(t *testing.T) {
	s := &stage{List: NewList()}
	s.see(warm)
	s.see(warm, stop)
	now := s.Now()
	require.Len(t, now, 2)
	assert.Equal(t, guard.EStopOpen, now[0].Code)
	assert.False(t, now[0].First)
	assert.True(t, now[1].First)
	assert.Equal(t, High, now[0].Priority)
}

func TestSetAsideIsListedAndComesBack(t *testing.T) {
	s := &stage{List: NewList()}
	s.see(warm)
	assert.ErrorIs(t, s.Shelve(keyOf(warm), MostShelved+1, told), ErrTooLong)
	assert.ErrorIs(t, s.Shelve(keyOf(warm), 0, told), ErrTooLong)
	require.NoError(t, s.Shelve(keyOf(warm), time.Minute, told))
	assert.Equal(t, []string{"melt_noisy: shelved"}, s.states())
	assert.True(t, s.Now()[0].State.Aside())
	s.pass(offDelay)
	s.see(warm)
	assert.Equal(t, []string{"melt_noisy: shelved"}, s.states(), "evaluated, and calls nobody")
	s.pass(time.Minute, warm)
	assert.Equal(t, []string{"melt_noisy: unacknowledged"}, s.states(), "the time is over and the cause is there")

	high := guard.Condition{Code: guard.MeltHigh, Severity: guard.Warning, Active: true}
	s.see(warm, high)
	assert.ErrorIs(t, s.Shelve(keyOf(high), time.Minute, told), ErrNeeded)
	assert.ErrorIs(t, s.TakeOut(keyOf(high), told), ErrNeeded)
	require.NoError(t, s.Acknowledge(keyOf(high)))
	s.pass(offDelay, warm)

	require.NoError(t, s.TakeOut(keyOf(warm), told))
	s.pass(time.Hour)
	s.pass(time.Hour)
	assert.Equal(t, []string{"melt_noisy: out of service"}, s.states(), "until somebody puts it back")
	require.NoError(t, s.PutBack(keyOf(warm)))
	assert.Empty(t, s.states())
}

// TestOutOfServiceEnds: after twelve hours, and when heat is enabled anew, but for what
// is needed in service all the while. Where the lamp can not be told, nothing changes.
func TestOutOfServiceEnds(t *testing.T) {
	const out, there = "melt_noisy: out of service", "melt_noisy: unacknowledged"
	s := &stage{List: NewList()}
	enabled := func(h control.HeatState) {
		s.at += time.Second
		s.See(&control.Frame{Time: s.at, Heat: h, Conditions: []guard.Condition{warm}})
	}
	s.see(warm)
	deaf := errors.New("the queue is full")
	require.ErrorIs(t, s.TakeOut(keyOf(warm), func() error { return deaf }), deaf)
	assert.Equal(t, []string{there}, s.states())
	require.NoError(t, s.TakeOut(keyOf(warm), told))
	require.ErrorIs(t, s.Shelve(keyOf(warm), time.Minute, func() error { return deaf }), deaf)
	s.pass(2*time.Minute, warm)
	assert.Equal(t, []string{out}, s.states(), "the lamp does not call it either")
	s.pass(MostOutOfService-3*time.Minute, warm)
	assert.Equal(t, []string{out}, s.states())
	s.pass(time.Minute, warm)
	assert.Equal(t, []string{there}, s.states(), "after twelve hours")

	enabled(control.HeatEnabled)
	require.NoError(t, s.TakeOut(keyOf(warm), told))
	enabled(control.HeatEnabled)
	enabled(control.HeatBlocked)
	assert.Equal(t, []string{out}, s.states())
	enabled(control.HeatEnabled)
	assert.Equal(t, []string{there}, s.states(), "a new session")

	falls := guard.Condition{Code: guard.FastFall, Pot: 1, Severity: guard.Warning, Active: true}
	s.see(falls)
	require.ErrorIs(t, s.TakeOut(keyOf(falls), told), ErrInService)
	require.NoError(t, s.Shelve(keyOf(falls), time.Minute, told))
}

// TestWhatAnotherBringsAboutIsSuppressed: listed, calling nobody, and taken up again
// when it stands alone.
func TestWhatAnotherBringsAboutIsSuppressed(t *testing.T) {
	s := &stage{List: NewList()}
	dead := guard.Condition{Code: guard.HeaterUnheard, Pot: -1, Severity: guard.Trip, Active: true, Latched: true}
	probe := guard.Condition{Code: guard.MeltUnusable, Severity: guard.Trip, Active: true, Latched: true}
	see := func(listed, folded []guard.Condition) {
		s.at += time.Second
		s.See(&control.Frame{Time: s.at, Conditions: listed, Folded: folded})
	}
	see([]guard.Condition{dead}, []guard.Condition{probe})
	assert.Equal(t, []string{"heater_unheard: unacknowledged", "melt_unusable: suppressed by design"}, s.states())
	assert.Equal(t, 1, s.Rate(), "one cause, one call")
	see([]guard.Condition{probe}, nil)
	assert.Equal(t, []string{"melt_unusable: unacknowledged"}, s.states())
	see([]guard.Condition{dead}, []guard.Condition{probe})
	see(nil, nil)
	assert.Empty(t, s.states())
}

// TestALatchedTripComesBackFromSuppression, though its cause is gone.
func TestALatchedTripComesBackFromSuppression(t *testing.T) {
	s := &stage{List: NewList()}
	dead := guard.Condition{Code: guard.HeaterUnheard, Pot: -1, Severity: guard.Trip, Active: true}
	probe := guard.Condition{Code: guard.MeltUnusable, Severity: guard.Trip, Latched: true, Active: true}
	s.see(probe)
	require.NoError(t, s.Acknowledge(keyOf(probe)))
	s.at += time.Second
	s.See(&control.Frame{Time: s.at, Conditions: []guard.Condition{dead}, Folded: []guard.Condition{probe}})
	probe.Active = false
	s.at += time.Second
	s.See(&control.Frame{Time: s.at, Conditions: []guard.Condition{dead}, Folded: []guard.Condition{probe}})
	s.see(probe)
	assert.Contains(t, s.states(), "melt_unusable: latched, unacknowledged")
}

// TestANoteAsksForNothing: it is listed while it is so, and calls nobody.
func TestANoteAsksForNothing(t *testing.T) {
	s := &stage{List: NewList()}
	hot := guard.Condition{Code: guard.StillHot, Pot: -1, Severity: guard.Note, Active: true}
	s.see(hot)
	assert.Equal(t, []string{"still_hot: acknowledged"}, s.states())
	assert.Zero(t, s.Rate())
	s.pass(offDelay)
	assert.Empty(t, s.states())
}
