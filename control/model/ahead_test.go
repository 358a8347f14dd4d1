package model

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// raw is what a pot of raw paste goes through.
func raw() Journey {
	return Journey{CureC: 171, HeldC: 172, DwellS: 90, PourC: 165, BandC: 2, SteadyS: 20, PlateC: 228}
}

// TestAheadIsTheWayInMinutes: cured when the way says so, ready at its end, and held for
// the five minutes that are foreseen of a pot that is ready.
func TestAheadIsTheWayInMinutes(t *testing.T) {
	f := somewhere(6)
	var ahead Ahead
	j := raw()
	way := f.Ready(j, &ahead)
	require.Equal(t, way, f.Ready(j, nil), "who looks on changes nothing")
	require.Less(t, way.S, AheadEveryS*AheadPoints)
	hottestC, known := 0.0, int(way.S/AheadEveryS)
	for i, c := range ahead {
		require.Equal(t, i >= known, math.IsNaN(c), "point %d of a way of %.0f s", i, way.S)
		if i < known {
			hottestC = max(hottestC, c)
		}
	}
	assert.InDelta(t, j.HeldC, hottestC, 2)
	assert.InDelta(t, j.PourC, ahead[known-1], 6, "on its way down, a minute or less before")

	j.Cured, j.SteadyS = true, 0
	f.x[wall], f.x[melt], f.x[plate], f.x[element] = j.PourC+2, j.PourC, j.PourC+20, j.PourC+20
	require.Zero(t, f.Ready(j, &ahead).S)
	for i, c := range ahead {
		require.Equal(t, i >= aheadHeld, math.IsNaN(c))
		if i < aheadHeld {
			assert.InDelta(t, j.PourC, c, 1)
		}
	}
}

// TestWaitingPutsOffWhatIsAhead by as long as it is, and the way not at all.
func TestWaitingPutsOffWhatIsAhead(t *testing.T) {
	f := somewhere(6)
	var at, late Ahead
	j := raw()
	way := f.Ready(j, &at)
	const minutes = 7
	j.WaitC, j.WaitS = 142, minutes*AheadEveryS
	require.Equal(t, way, f.Ready(j, &late))
	stop := 0
	for at[stop] < j.WaitC {
		require.Equal(t, at[stop], late[stop])
		stop++
	}
	require.Positive(t, stop)
	for i := range minutes {
		require.Equal(t, j.WaitC, late[stop+i])
	}
	for i := stop; i+minutes < AheadPoints && !math.IsNaN(at[i]); i++ {
		require.Equal(t, at[i], late[i+minutes])
	}
	j.WaitS = math.Inf(1)
	f.Ready(j, &late)
	require.Equal(t, j.WaitC, late[AheadPoints-1], "for others that never come")
}

// TestAWayThatNeverGetsThere: two hours are no time to the cure temperature, where they are
// over before it; where only the pour is never reached it is as long as it is.
func TestAWayThatNeverGetsThere(t *testing.T) {
	f := somewhere(6)
	j := raw()
	cureS := f.Ready(j, nil).CureS
	require.Positive(t, cureS)
	j.PourC = 10
	way := f.Ready(j, nil)
	assert.Equal(t, Way{S: math.Inf(1), J: way.J, CureS: cureS}, way)
	j = raw()
	j.PlateC = 160
	assert.True(t, math.IsInf(f.Ready(j, nil).CureS, 1))
}

// TestNothingIsAheadOfAnUnknownPot.
func TestNothingIsAheadOfAnUnknownPot(t *testing.T) {
	ahead := Ahead{1, 2, 3}
	assert.True(t, math.IsNaN(New(known).Ready(raw(), &ahead).S))
	for _, c := range ahead {
		assert.True(t, math.IsNaN(c))
	}
}
