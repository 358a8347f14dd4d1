package demo

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/causes"
	"meltwarden/daemon/evidence"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/try"
)

// TestNumbersOfAnAttempt plays the maker: is what was planted in the second bait's
// evenings found on its faults, does its change become a new version, and what do the
// shots of that say, made with the injectors pushed as it aims?
func TestNumbersOfAnAttempt(t *testing.T) {
	if testing.Short() {
		t.Skip("nine simulated evenings")
	}
	t.Parallel()
	s, b := newPast(t)
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	spend := func(p plan) {
		t.Helper()
		e, err := newEvening(p, b, "test", now)
		require.NoError(t, err)
		require.NoError(t, e.pass(context.Background()))
		require.NoError(t, e.write(s))
	}
	for _, p := range newts() {
		spend(p)
	}

	faulty, named, others := 0, 0, 0
	var worst evidence.Case
	for run := int64(1); run <= 6; run++ {
		shots, err := s.Shots(run)
		require.NoError(t, err)
		for _, sh := range shots {
			c, err := evidence.Of(s, evidence.Place{Run: run, Shot: sh.Number}, evidence.Place{})
			require.NoError(t, err)
			if len(c.Findings) == 0 {
				continue
			}
			faulty++
			for _, h := range c.Findings[0].Hypotheses {
				switch {
				case h.Standing != evidence.Fits:
				case h.Cause.Try == cause.PushSooner:
					named++
				default:
					others++
				}
			}
			if worst.Shot.Number == 0 {
				worst = c
			}
		}
	}
	t.Logf("of %d shots with a seam the planted cause fits %d, another one %d", faulty, named, others)
	assert.Equal(t, 9, faulty)
	assert.GreaterOrEqual(t, named, 8)
	assert.LessOrEqual(t, others, 2)

	over, err := causes.Of(s, causes.Question{Fault: "seam"})
	require.NoError(t, err)
	t.Log(over.Findings[0].Conclusion(causes.Celsius)[0])
	for _, r := range over.Findings[0].Causes {
		assert.Equal(t, r.Figure == cause.Draw.Name, r.Says == causes.Named, r.Cause)
	}

	advice, err := try.Of(s, worst, review.Celsius)
	require.NoError(t, err)
	require.Len(t, advice, 1)
	require.NotEmpty(t, advice[0].Choices)
	assert.Equal(t, "pour: draw within no aim → 30 s", advice[0].Choices[0].Change)
	accepted, err := try.Accept(s, worst, "", 1, now)
	require.NoError(t, err)
	assert.Equal(t, try.Waits, accepted.Outcome.Standing)
	t.Log(accepted.Title())
	_, err = try.Accept(s, worst, "", 1, now)
	assert.ErrorIs(t, err, try.ErrChoice, "one at a time")

	v, err := s.Version(accepted.Version)
	require.NoError(t, err)
	kept := bait{[]byte(v.Source), "newt, three cavities", 45 * time.Second}
	chance, held := rand.New(rand.NewPCG(7, 34)), 18*time.Second
	for i := range 3 {
		p := plan{bait: kept, daysAgo: -2 * (i + 1), hour: 18, minute: 10, seed: 90 + uint64(i)}
		for range 5 {
			p.pushes = append(p.pushes, push{ready, held, []shot.Verdict{{Fault: cameOut(chance, held)}}})
		}
		spend(p)
		all, err := try.Attempts(s)
		require.NoError(t, err)
		t.Logf("after %d shots: %s: %s", 5*(i+1), all[0].Outcome.Standing, all[0].Outcome.Words("seam"))
		assert.Equal(t, i == 2, all[0].Outcome.Standing == try.Better)
	}
	spend(plan{bait: kept, daysAgo: -8, hour: 18, seed: 93, pushes: []push{{ready, time.Minute, []shot.Verdict{{Fault: cameOut(chance, time.Minute)}}}}})
	all, err := try.Attempts(s)
	require.NoError(t, err)
	assert.Equal(t, 1, all[0].Missed, "of the aim")
	t.Log(all[0].Lines())
}
