package history

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/shot"
)

// TestAnAttemptIsKeptWithItsVersion, and ended once; its shots are counted by what was
// said of them at demould.
func TestAnAttemptIsKeptWithItsVersion(t *testing.T) {
	s, run := withShots(t)
	before := start().Fingerprint
	id, err := s.KeepAttempt(Version{Name: start().RecipeName, Fingerprint: "new", Source: "name: eel", Parent: before},
		Attempt{Run: run, Shot: 2, Fault: "bled", Cause: "a pot above its own target", Kind: "cooler", Colour: "ivory",
			Change: "ivory: set-point 171 °C → 169 °C", Reason: "2 °C above", Accepted: noon})
	require.NoError(t, err)
	all, err := s.Attempts()
	require.NoError(t, err)
	require.Len(t, all, 1)
	assert.Equal(t, id, all[0].ID)
	assert.Equal(t, start().RecipeName, all[0].Recipe)
	assert.Equal(t, []string{"new", before, "ivory"}, []string{all[0].Version, all[0].Before, all[0].Colour})
	assert.Nil(t, all[0].Ended)
	v, err := s.Version("new")
	require.NoError(t, err)
	assert.Equal(t, before, v.Parent)
	newest, err := s.Newest(start().RecipeName)
	require.NoError(t, err)
	assert.Equal(t, v.Number, newest)

	require.NoError(t, s.EndAttempt(id, noon.Add(time.Hour), "too dull"))
	assert.ErrorIs(t, s.EndAttempt(id, noon, "again"), ErrNoAttempt)
	all, err = s.Attempts()
	require.NoError(t, err)
	assert.Equal(t, "too dull", all[0].EndedWhy)
	assert.True(t, all[0].Ended.Equal(noon.Add(time.Hour)))

	for number, v := range map[int]shot.Verdict{1: {Fault: "bled"}, 2: {Fault: shot.Clean}, 3: {Fault: "bled", Day: 3}, 4: {Fault: "bled"}} {
		require.NoError(t, s.Judge(run, number, v))
	}
	yes := true
	require.NoError(t, s.ChangeShot(run, 4, ShotChange{Withdrawn: &yes}))
	tally, err := s.TallyOf(before, "bled", time.Time{})
	require.NoError(t, err)
	assert.Equal(t, Tally{Faulty: 1, Judged: 2, Runs: 1}, tally, "neither what shows only days later nor what was taken back")
	tally, err = s.TallyOf(before, "bled", noon.AddDate(0, 0, 1))
	require.NoError(t, err)
	assert.Equal(t, Tally{}, tally, "what was made earlier is no shot since")
	tally, err = s.TallyOf("new", "bled", time.Time{})
	require.NoError(t, err)
	assert.Equal(t, Tally{}, tally)
}
