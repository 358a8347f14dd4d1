package history

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
)

// TestMarksThatAreTakenBack are listed as such, count in no batch and stand in no note.
func TestMarksThatAreTakenBack(t *testing.T) {
	s := open(t, t.TempDir())
	o := withPotfuls()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	e := newEvening(o.Settings)
	say := func(k control.CommandKind, back control.CommandKind, text, amount string) {
		m := Mark{Command: control.Command{Kind: k, Pot: 1, Mark: back}, Text: text, Amount: amount}
		if k == 0 || back == 0 && k == control.TakeBack {
			m.Pot = WholeBench
		}
		event, ok := EventOf(m)
		require.True(t, ok)
		k1 := e.next()
		k1.Events = []Event{event}
		r.PutAll(k1)
	}
	say(control.Draw, 0, "", "60 mL")
	say(control.Draw, 0, "", "600 mL")
	say(control.TakeBack, control.Draw, "", "")
	say(control.ColourAdded, 0, "flake", "2 g")
	say(control.TakeBack, control.ColourAdded, "", "")
	say(0, 0, "first", "")
	say(0, 0, "not so", "")
	say(0, 0, "wrong", "")
	say(control.TakeBack, 0, "", "")
	say(control.TakeBack, 0, "", "")
	require.NoError(t, r.Close(noon.Add(time.Hour)))

	events, err := s.Events(r.Run())
	require.NoError(t, err)
	var back []string
	for _, e := range events {
		if e.TakenBack {
			back = append(back, string(e.Kind)+" "+e.Amount+e.Text)
		}
	}
	assert.Equal(t, []string{"drawn 600 mL", "addition 2 gflake", "note not so", "note wrong"}, back)
	run, err := s.Run(r.Run())
	require.NoError(t, err)
	assert.Equal(t, "first", run.Note)
	batches, err := s.Batches()
	require.NoError(t, err)
	require.Len(t, batches, 3)
	assert.Equal(t, []string{"60 mL"}, batches[1].Heats[0].Drawn)
	assert.Empty(t, batches[1].Heats[0].Added)

	_, ok := EventOf(Mark{Command: control.Command{Kind: control.Silence}})
	assert.False(t, ok)
}

// TestWhatIsTakenBackIsWhatControlTakesBack: a mark that counts once is gone with all its
// presses since the pot was lifted or the program started; a note is the one that is named,
// or the last one from the same place, whoever wrote one since.
func TestWhatIsTakenBackIsWhatControlTakesBack(t *testing.T) {
	s := open(t, t.TempDir())
	o := withPotfuls()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	e := newEvening(o.Settings)
	say := func(m Mark) {
		event, ok := EventOf(m)
		require.True(t, ok)
		k := e.next()
		k.Events = []Event{event}
		r.PutAll(k)
	}
	of := func(k, back control.CommandKind, pot int) {
		say(Mark{Command: control.Command{Kind: k, Pot: pot, Mark: back}})
	}
	of(control.TickClear, 0, 1)
	of(control.TickClear, 0, 0)
	of(control.TickClear, 0, 1)
	of(control.TakeBack, control.TickClear, 1)
	of(control.Return, 0, 1)
	of(control.Lift, 0, 1)
	of(control.Return, 0, 1)
	of(control.Return, 0, 1)
	of(control.TakeBack, control.Return, 1)
	note := func(text, from, key string) { say(Mark{Text: text, From: from, Key: key}) }
	back := func(from, takes string) {
		say(Mark{Command: control.Command{Kind: control.TakeBack, Pot: WholeBench}, From: from, Takes: takes})
	}
	note("draught", "", "k1")
	note("stays", "phone blue", "k2")
	note("fan off", "", "k3")
	note("door open", "phone red", "k4")
	back("", "k1")           // by its name, though others came since
	back("phone blue", "k3") // nobody else's
	back("phone red", LastOwn)
	note("last", "phone blue", "k5")
	require.NoError(t, r.Close(noon.Add(time.Hour)))

	events, err := s.Events(r.Run())
	require.NoError(t, err)
	var gone []int
	for i, e := range events {
		if e.TakenBack {
			gone = append(gone, i)
		}
	}
	assert.Equal(t, []int{0, 2, 6, 7, 9, 12}, gone)
	run, err := s.Run(r.Run())
	require.NoError(t, err)
	assert.Equal(t, "stays · fan off · last", run.Note)
	presses, err := s.Presses(r.Run(), 2)
	require.NoError(t, err)
	require.Len(t, presses, 2)
	assert.Equal(t, "k5", presses[0].Key)
}

// TestARunsNoteWithoutOne: the others stay whole, and so does what somebody wrote since.
func TestARunsNoteWithoutOne(t *testing.T) {
	for _, c := range []struct {
		all, notes string
		gone       int
		want       string
	}{
		{"b · x · b", "b|x · b", 0, "x · b"},
		{"b · x · b", "b|x · b", 1, "b"},
		{"x · b · b", "x · b|b", 0, "b"},
		{"b", "b", 0, ""},
		{"from before · b · c", "b|c", 0, "from before · c"},
		{"written anew · c", "b|c", 1, "written anew"},
		{"written anew · c", "b|c", 0, "written anew · c"},
		{"no b", "b", 0, "no b"},
	} {
		assert.Equal(t, c.want, withoutNote(c.all, strings.Split(c.notes, "|"), c.gone), c.all)
	}
}
