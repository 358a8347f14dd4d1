package demo

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/devices/simbench"
)

// loss is a supply that is lost and comes back.
type loss struct {
	unit  uint8 // zero is the whole bench
	lasts time.Duration
}

// losses are each tried this often: 500 times altogether, less with the race detector.
const (
	lossesInASession = 21
	sessionsOfALoss  = 4
)

// TestNumbersOfShortLosses prints what becomes of heat when the power unit, or the whole
// bench, loses its supply for a moment, at random phases of a cycle: by the truth of the
// bench no heater draws power again before somebody presses its button.
func TestNumbersOfShortLosses(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector, which has others to look at")
	}
	t.Parallel()
	var table []string
	tried := 0
	for _, unit := range []uint8{simbench.UnitPower, 0} {
		for _, lasts := range []time.Duration{100 * time.Millisecond, 300 * time.Millisecond, 600 * time.Millisecond} {
			found := map[guard.Code]int{}
			for seed := range uint64(sessionsOfALoss) {
				loseSupply(t, loss{unit, lasts}, seed+1, found)
			}
			n := sessionsOfALoss * lossesInASession
			tried += n
			table = append(table, fmt.Sprintf("unit %d, %.1f s: 0 of %d heated again, latched %s", unit, lasts.Seconds(), n, counted(found)))
		}
	}
	t.Logf("%d losses of supply\n%s", tried, strings.Join(table, "\n"))
}

// counted lists findings and how often they came.
func counted(found map[guard.Code]int) string {
	var all []string
	for code, n := range found {
		all = append(all, fmt.Sprintf("%s %d times", code, n))
	}
	slices.Sort(all)
	return strings.Join(all, ", ")
}

// loseSupply has a bench lose its supply again and again in one session.
func loseSupply(t *testing.T, l loss, seed uint64, found map[guard.Code]int) {
	random := rand.New(rand.NewPCG(seed, uint64(l.lasts)+uint64(l.unit)))
	inSession(t, Options{Seed: seed, NoMaker: true}, func(s *session) {
		for range lossesInASession {
			s.pressUntilHeated()
			s.pass(2*time.Second + time.Duration(random.Int64N(int64(2*s.Settings.Period))))
			at := simbench.Place{Unit: l.unit}
			require.NoError(t, s.Bench.Inject(simbench.UnitRestarts, at))
			s.pass(l.lasts)
			require.NoError(t, s.Bench.Clear(simbench.UnitRestarts, at))
			for range 5 * time.Second / sample {
				require.NotContains(t, s.drawing(), true, "%v, seed %d, at %v", l, seed, s.Bench.Truth().At)
				s.pass(sample)
			}
			require.Equal(t, control.HeatTripped, s.frame().Heat)
			found[s.frame().Conditions[0].Code]++
		}
	})
}

// pressUntilHeated presses the button until every heater draws power.
func (s *session) pressUntilHeated() {
	for range 6 {
		s.pass(1500 * time.Millisecond)
		if s.heatEnabled() && !slices.Contains(s.drawing(), false) {
			return
		}
		s.Bench.PressEnable()
		s.pass(2 * time.Second)
	}
	s.passUntil(time.Minute, func() bool { return !slices.Contains(s.drawing(), false) })
}
