package commission

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestAnswersAreCorrected: one question back, any of them by its number, and at the end; what
// is left as it is stays. A day is wanted where one is asked for.
func TestAnswersAreCorrected(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		first := "<\na limiter in the yard\n280 C\n2 kg ABC extinguisher, at the door\nthe owner, on Nov 20\nthe owner, 3 May 1999\n"
		back := "16 A breaker\n<\n16 A breaker in the box\n30 mA device\n<\n<\n\n" // back to the fuse twice; it is right then
		listed := "?\nno\n99\n1\na limiter on each plate\n?\n\n"
		rest := "the owner, 3 May 1999\nbraid to every plate\nthe electrician, 2 May 1999\nmushroom at the edge\nthe owner, 3 May 1999\nlatching relay with a button\n" +
			"all three plates, nothing else\nfan over the pots\nfoam at the door\nhook beside the bench\nthe electrician, 2 May 1999\n"
		end := "<\nthe other electrician, 4 May 1999\n13\nfan over the pots, to the yard\nyes\n"
		require.NoError(t, r.commission(t.Context(), first+back+listed+rest+end, false), r.said())
		for key, words := range map[string]string{
			"cut-out": "a limiter on each plate", "cut-out-opens": "280 C", "cut-out-tried": "the owner, 3 May 1999", "fuse": "16 A breaker in the box",
			"residual-current-device": "30 mA device", "extraction": "fan over the pots, to the yard", "electrician": "the other electrician, 4 May 1999",
		} {
			require.Equal(t, words, r.record().answer(key).Words, key)
		}
		require.Len(t, r.record().Answers, len(questions))
		said := r.words()
		require.Contains(t, said, "This is the first question.")
		require.Contains(t, said, "Enter keeps: 16 A breaker")
		require.Contains(t, said, "7 earth: not answered")
		require.Equal(t, 2, strings.Count(said, "Not accepted: type the number of an answer"))
		require.Equal(t, 2, strings.Count(said, "Not accepted: write who it was, and the day with its year"))
		require.Equal(t, 3, strings.Count(said, "Is every answer right?"))
	})
}

// TestADenialAtTheEndCounts: whoever takes an answer back heats nothing.
func TestADenialAtTheEndCounts(t *testing.T) {
	onBench(t, nil, func(t *testing.T, r *rig) {
		typed := strings.TrimSuffix(answers, "\n"+cups) + "4\nno, it is too large\n"
		require.ErrorContains(t, r.commission(t.Context(), typed, false), `fuse: answered "no, it is too large"`)
		require.Zero(t, r.heatJ())
	})
}

// TestAnOldAnswerStays: what was on record without a year holds until it lapses.
func TestAnOldAnswerStays(t *testing.T) {
	b := benchFile(t, nil)
	r := complete(b)
	r.Answers = put(r.Answers, Answer{"e-stop-tried", "the owner, 3 May", time.Now()}, func(a Answer) bool { return a.Question == "e-stop-tried" })
	cleared, missing := r.Against(b)
	require.Empty(t, missing)
	require.True(t, cleared.Holds())
}
