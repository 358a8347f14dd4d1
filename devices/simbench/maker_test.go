package simbench

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
)

// ticks notes what the maker says, and when.
type ticks struct {
	t       *testing.T
	b       *Bench
	stirred [3][]time.Duration
	clear   [3][]time.Duration
}

func (k *ticks) Stirred(pot int) {
	k.stirred[pot] = append(k.stirred[pot], k.b.Truth().At) // the bench is not held
}

func (k *ticks) Clear(pot int) {
	require.True(k.t, k.b.Truth().Pots[pot].Clear)
	k.clear[pot] = append(k.clear[pot], k.b.Truth().At)
}

func TestMakerPressesStirsAndLooks(t *testing.T) {
	for seed := range uint64(5) {
		synctest.Test(t, func(t *testing.T) {
			b, err := New(Config{Pots: demoPots(), Seed: seed, Maker: true}, clock.New(1))
			require.NoError(t, err)
			k := &ticks{t: t, b: b}
			b.ReportTo(k)
			time.Sleep(time.Minute)
			require.False(t, discretes(t, b)[4], "nobody talks yet")

			presses, pressed := 0, false
			for range 200 { // 20 s
				now := discretes(t, b)[4]
				if now && !pressed {
					presses++
				}
				pressed = now
				time.Sleep(100 * time.Millisecond)
			}
			require.GreaterOrEqual(t, presses, 2, "again, as long as nothing happens")
			for range int(30 * time.Minute / time.Second) {
				duty := [3]uint16{}
				for i, p := range b.Truth().Pots {
					if p.PlateC < 230 {
						duty[i] = fullDuty
					}
				}
				drive(t, b, duty[:]...)
				require.False(t, discretes(t, b)[4] && b.Truth().At > 2*time.Minute, "pressed no more")
				time.Sleep(time.Second)
			}
			for i := range k.stirred {
				require.Len(t, k.clear[i], 1)
				require.Contains(t, k.stirred[i], k.clear[i][0], "seen while stirring")
				for n := 1; n < len(k.stirred[i]); n++ {
					gap := k.stirred[i][n] - k.stirred[i][n-1]
					require.InDelta(t, 52.5, gap.Seconds(), 9)
				}
			}
		})
	}
}

func TestWithoutAMakerNobodyPressesOrStirs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		k := &ticks{t: t, b: b}
		b.ReportTo(k)
		for range 600 {
			require.False(t, discretes(t, b)[4])
			time.Sleep(100 * time.Millisecond)
		}
		for i := range k.stirred {
			require.Empty(t, k.stirred[i])
		}
	})
}
