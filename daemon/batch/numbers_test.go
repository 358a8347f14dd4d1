package batch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// TestNumbersOfTheBook: how long it takes to open the book among many runs; the bench's
// page does once a minute.
func TestNumbersOfTheBook(t *testing.T) {
	if testing.Short() {
		t.Skip("five hundred runs take the disk a while to write")
	}
	s := opened(t)
	recipe := config.DemoRecipe()
	var heats [3]shot.Heat
	for i := range heats {
		heats[i].Add(20, 0)
		for c := 20.0; c < 175; c += 0.05 {
			heats[i].Add(c, 200*time.Millisecond)
		}
	}
	const runs = 500
	for i := range runs {
		at := noon.AddDate(0, 0, i)
		set := control.Settings{Pots: []control.PotSettings{{Name: "left", Colour: "slate"}, {Name: "middle", Colour: "ivory"}, {Name: "right", Colour: "rust"}}}
		r, err := s.Record(at, history.Start{RecipeName: recipe.Name, Fingerprint: recipe.Fingerprint(), Settings: set, DoseKJ: 150,
			Potfuls: Potfuls(recipe, []string{"left", "middle", "right"})})
		require.NoError(t, err)
		for range 3 {
			r.PutAll(history.Kept{Shot: &shot.Card{Pots: []shot.Pot{{Colour: "slate", RunDoseMin: 10}, {Colour: "ivory", RunDoseMin: 11}, {Colour: "rust", RunDoseMin: 12}}}})
		}
		require.NoError(t, r.Close(at))
		require.NoError(t, s.KeepHeats(r.Run(), at, heats[:]))
		require.NoError(t, s.Judge(r.Run(), 1, shot.Verdict{Fault: shot.Clean, At: at}))
	}
	measure := func(what string, atMost time.Duration, open func() (Book, error)) {
		best := time.Hour
		for range 5 {
			began := time.Now()
			_, err := open()
			require.NoError(t, err)
			best = min(best, time.Since(began))
		}
		t.Logf("%d runs, %d batches: %s in %.1f ms", runs, 3*runs, what, best.Seconds()*1000)
		assert.Less(t, best, atMost)
	}
	measure("all batches and their advice", 2*time.Second, func() (Book, error) { return Of(s) })
	measure("those of a run", 150*time.Millisecond, func() (Book, error) { return Near(s, runs/2) })
}
