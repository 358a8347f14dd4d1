package history

import (
	"database/sql"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// withShots is a run of four shots, the pots called slate, ivory and rust.
func withShots(t *testing.T) (*Store, int64) {
	s := open(t, t.TempDir())
	o := start()
	for i, colour := range []string{"slate", "ivory", "rust"} {
		o.Settings.Pots[i].Colour = colour
	}
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	e := newEvening(o.Settings)
	for i := range 400 {
		k := e.next()
		if i%100 == 50 {
			k.Events = []Event{{Kind: ShotPushed, Pot: WholeBench, Text: "eel"}}
			k.Shot, k.Mould = &shot.Card{SpreadC: frames.Figure(i), MouldC: frames.Unknown()}, "eel"
		}
		r.PutAll(k)
	}
	require.NoError(t, r.Close(noon.Add(time.Hour)))
	return s, r.Run()
}

func verdictsOf(t *testing.T, s *Store, run int64, number int) (words []string) {
	t.Helper()
	shots, err := s.Shots(run)
	require.NoError(t, err)
	for _, v := range shots[number-1].Verdicts {
		words = append(words, v.String())
	}
	return words
}

func TestAShotKeepsItsCardAndASetOfVerdicts(t *testing.T) {
	s, run := withShots(t)
	shots, err := s.Shots(run)
	require.NoError(t, err)
	require.Len(t, shots, 4)
	assert.Equal(t, 2, shots[1].Number)
	assert.Equal(t, 30*time.Second, shots[1].At)
	assert.Equal(t, "eel", shots[1].Mould)
	assert.InDelta(t, 150, float64(shots[1].Card.SpreadC), 0)
	assert.False(t, shots[1].Card.MouldC.Known(), "not recorded, not zero")
	assert.False(t, shots[1].Spoiled())

	judge := func(fault string, day int, colours ...string) {
		require.NoError(t, s.Judge(run, 2, shot.Verdict{Fault: fault, Colours: colours, Day: day, At: noon}))
	}
	judge(shot.Clean, 0)
	judge("bled", 0, "rust", "ivory")
	judge("bled", 0, "ivory", "rust")
	judge("dented", 0)
	judge("bled", 3, "slate")
	assert.Equal(t, []string{"bled: ivory and rust", "dented", "bled: slate, day 3"}, verdictsOf(t, s, run, 2),
		"a boundary has one name, a fault takes the place of clean, later days stand apart")
	judge(shot.Clean, 0)
	assert.Equal(t, []string{"clean", "bled: slate, day 3"}, verdictsOf(t, s, run, 2))
	require.NoError(t, s.Unjudge(run, 2, shot.Verdict{Fault: "bled", Colours: []string{"slate"}, Day: 3}))
	assert.Equal(t, []string{"clean"}, verdictsOf(t, s, run, 2))

	runs, err := s.Runs(Filter{Spoiled: true})
	require.NoError(t, err)
	assert.Empty(t, runs)
	judge("bled", 0)
	for filter, want := range map[Filter]int{
		{Spoiled: true}: 1, {Fault: "bled"}: 1, {Fault: "seam"}: 0, {Fault: shot.Clean}: 0, {Text: "BLED"}: 1,
		{State: Finished}: 1, {State: Interrupted}: 0, {Since: noon.Add(time.Second)}: 0, {Since: noon}: 1,
	} {
		runs, err := s.Runs(filter)
		require.NoError(t, err)
		assert.Len(t, runs, want, "%+v", filter)
	}
}

func TestAShotIsTakenBackAndNoted(t *testing.T) {
	s, run := withShots(t)
	yes, mould, note := true, "worm", "sprue was wet"
	require.NoError(t, s.ChangeShot(run, 3, ShotChange{Withdrawn: &yes, Mould: &mould}))
	require.NoError(t, s.ChangeShot(run, 3, ShotChange{Note: &note}))
	shots, err := s.Shots(run)
	require.NoError(t, err)
	assert.True(t, shots[2].Withdrawn)
	assert.Equal(t, "worm", shots[2].Mould)
	assert.Equal(t, note, shots[2].Note)
	r, err := s.Run(run)
	require.NoError(t, err)
	assert.Equal(t, 3, r.Shots)
	require.NoError(t, s.SetNote(run, "a damp evening"))
	r, err = s.Run(run)
	require.NoError(t, err)
	assert.Equal(t, "a damp evening", r.Note)

	assert.ErrorIs(t, s.ChangeShot(run, 9, ShotChange{Note: &note}), ErrNoShot)
	assert.ErrorIs(t, s.Judge(run, 9, shot.Verdict{Fault: "bled"}), ErrNoShot)
	assert.ErrorIs(t, s.Judge(9, 1, shot.Verdict{Fault: "bled"}), ErrNoRun)
	assert.ErrorIs(t, s.SetNote(9, note), ErrNoRun)
	assert.ErrorContains(t, s.Unjudge(run, 1, shot.Verdict{Fault: "bled"}), "nobody has said")
}

// TestAShotIsWorthMoreThanACycle: with the buffer full of cycles there is still
// room for it.
func TestAShotIsWorthMoreThanACycle(t *testing.T) {
	s := open(t, t.TempDir())
	o := start()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	fill(t, s, 1)
	e := newEvening(o.Settings)
	for r.Dropped() == 0 {
		r.Put(e.next())
	}
	k := e.next()
	k.Shot = &shot.Card{}
	r.Put(k)
	assert.EqualValues(t, 1, r.Dropped())
	fill(t, s, 1000000)
	require.NoError(t, r.Close(noon))
	shots, err := s.Shots(r.Run())
	require.NoError(t, err)
	assert.Len(t, shots, 1)
}

// TestOneRecorderAFolder: a second program that would record is refused; one that
// looks is not, and says whether anybody records.
func TestOneRecorderAFolder(t *testing.T) {
	folder := t.TempDir()
	first := open(t, folder)
	r := record(t, first, 20)
	_, err := Open(folder)
	assert.ErrorIs(t, err, ErrRefused)
	assert.ErrorContains(t, err, "another meltwarden records into it")
	looking, err := OpenExisting(folder)
	require.NoError(t, err)
	defer looking.Close()
	runs, err := looking.Runs(Filter{})
	require.NoError(t, err)
	assert.Equal(t, Recording, runs[0].State)
	require.NoError(t, r.Close(noon))
	require.NoError(t, first.Close())
	second := open(t, folder)
	assert.NoError(t, second.Trouble())
}

// TestASetpointThatIsNoNumber is no event: one that can not be written would hold up
// all that come after it.
func TestASetpointThatIsNoNumber(t *testing.T) {
	for _, c := range []float64{math.NaN(), math.Inf(1)} {
		_, ok := EventOf(Mark{Command: control.Command{Kind: control.Setpoint, C: c}})
		assert.False(t, ok)
		e, ok := EventOf(Mark{Command: control.Command{Kind: control.Stir, C: c}})
		assert.True(t, ok)
		assert.Zero(t, e.C)
	}
}

// TestAJudgedShotSurvivesAWriteThatIsRepeated: the first attempt had got through
// although it seemed to fail, and somebody has said how the bait came out since.
func TestAJudgedShotSurvivesAWriteThatIsRepeated(t *testing.T) {
	s := open(t, t.TempDir())
	o := start()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	e := newEvening(o.Settings)
	var b batch
	for range 3 {
		k := e.next()
		k.Shot = &shot.Card{}
		k.Events = []Event{{Kind: ShotPushed, Pot: WholeBench}}
		b.add(k)
	}
	write := func() { require.NoError(t, s.do(func(tx *sql.Tx) error { return r.writeBatch(tx, &b) })) }
	write()
	require.NoError(t, s.Judge(r.Run(), 2, shot.Verdict{Fault: "bled", At: noon}))
	b.again = true
	write()
	shots, err := s.Shots(r.Run())
	require.NoError(t, err)
	require.Len(t, shots, 3)
	assert.True(t, shots[1].Spoiled())
	events, err := s.Events(r.Run())
	require.NoError(t, err)
	assert.Len(t, events, 3)
	run, err := s.Run(r.Run())
	require.NoError(t, err)
	assert.EqualValues(t, 3, run.Cycles)
	require.NoError(t, r.Close(noon))
}
