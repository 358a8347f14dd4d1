package daemon

import (
	"database/sql"
	"encoding/json"
	"errors"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// TestAnInterruptedRunGoesOnWithItsHeat: what the potful had until the last full minute is
// there again, and the time that nobody watched is unknown.
func TestAnInterruptedRunGoesOnWithItsHeat(t *testing.T) {
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer s.Close()
	set := control.Settings{Period: time.Second, Pots: []control.PotSettings{{Name: "left", Colour: "slate"}}}
	d := &Daemon{commands: newQueue(), alarms: alarm.NewList(), opts: Options{
		History: s, Settings: set, Log: slog.New(slog.DiscardHandler),
		Start: history.Start{RecipeName: "invented", Fingerprint: "abc", DoseKJ: 150, Potfuls: []history.Potful{{Colour: "slate"}}},
	}}
	melt := reading.Temperature{C: 177, Fault: reading.None}
	in := control.Input{Elapsed: time.Second, Pots: []control.PotReadings{{Melt: melt}}}
	watch := func(k *keeper, began time.Time, seconds int) {
		for i := range seconds {
			f := control.Frame{Cycle: uint64(i + 1), Time: time.Duration(i) * time.Second, Pots: []control.PotFrame{{Melt: melt, MeltC: 177}}}
			if i > 0 {
				f.Elapsed = time.Second
			}
			k.keep(Happening{At: began.Add(f.Time), Input: &in, Frame: &f})
		}
	}
	began := time.Now().Add(-10 * time.Minute)
	first := d.keeper()
	watch(first, began, 330) // kept at 5:00; the program is killed at 5:30
	require.NoError(t, first.recorder.Close(time.Now()))
	db, err := sql.Open("sqlite", s.Path())
	require.NoError(t, err)
	_, err = db.Exec(`UPDATE run SET state = 'interrupted'`)
	require.NoError(t, err)
	require.NoError(t, db.Close())

	second := d.keeper()
	require.True(t, second.recorder.Resumed())
	watch(second, time.Now(), 120)
	require.NoError(t, second.close())
	heats, _, err := s.Heats(second.recorder.Run())
	require.NoError(t, err)
	assert.InDelta(t, 7, heats[0].Minutes(150), 0.05, "five minutes before, two after")
	assert.InDelta(t, 300, heats[0].UnknownS, 10, "kept five minutes ago")
	assert.False(t, heats[0].Known())
}

// TestHeatThatCanNotBeReadIsUnknown, and no zero, also when it has been kept again.
func TestHeatThatCanNotBeReadIsUnknown(t *testing.T) {
	set := []control.PotSettings{{Name: "left"}, {Name: "right"}}
	s := NewScribe(set)
	s.GoOn(150, heatsBefore(nil, errors.New("the disk is gone"), len(set)), 0)
	for _, h := range s.Heats() {
		text, err := json.Marshal(h)
		require.NoError(t, err)
		var again shot.Heat
		require.NoError(t, json.Unmarshal(text, &again))
		assert.False(t, again.Known())
		assert.False(t, again.DoseMin(150).Known())
	}
}
