package review

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/plot"
)

// TestThinningLosesNoPeak: of a run of four times too many cycles the highest and the
// lowest of every value stay, and what was not recorded stays a gap.
func TestThinningLosesNoPeak(t *testing.T) {
	run := plot.Run{Pots: make([]plot.Pot, 1)}
	const total = 4 * mostPoints
	thin := newThinner(&run, total, total/5, 0, 0)
	for i := range total {
		r := cycles.Record{
			Input: control.Input{Pots: []control.PotReadings{{
				Melt: reading.Temperature{C: 100 + float64(i%7), Fault: reading.None}, Plate: reading.Temperature{C: 150, Fault: reading.None},
			}}},
			Kept: cycles.Kept{Pots: []cycles.Pot{{TargetC: 173, Duty: 0.1}}},
		}
		switch i {
		case 12345:
			r.Input.Pots[0].Melt.C = 190
		case 54321:
			r.Input.Pots[0].Plate.C = 20
		case 99999:
			r.Kept.Pots[0].Duty = 0.9
		case 123457:
			r.Input.Pots[0].Melt.Fault = reading.Open
		}
		thin.add(time.Duration(i)*200*time.Millisecond, &r)
	}
	thin.flush()
	points := run.Pots[0].Points
	assert.Less(t, len(points), total)
	found := map[string]bool{}
	for i, p := range points {
		if i > 0 {
			assert.Greater(t, p.At, points[i-1].At)
		}
		found["melt"] = found["melt"] || p.MeltC == 190
		found["plate"] = found["plate"] || p.PlateC == 20
		found["duty"] = found["duty"] || p.Duty == 0.9
		found["gap"] = found["gap"] || p.MeltC != p.MeltC
	}
	assert.Equal(t, map[string]bool{"melt": true, "plate": true, "duty": true, "gap": true}, found)
}

// TestWhatIsNeverKnownIsThinned like the rest: what a controller gives its heater is not known
// for all of an evening.
func TestWhatIsNeverKnownIsThinned(t *testing.T) {
	run := plot.Run{Pots: make([]plot.Pot, 1)}
	const total = 10_000
	thin := &thinner{run: &run, stretch: 100, held: make([][]plot.Point, 1)}
	for i := range total {
		good := reading.Temperature{C: 150 + float64(i%7), Fault: reading.None}
		r := cycles.Record{
			Input: control.Input{Pots: []control.PotReadings{{Melt: good, Plate: good}}},
			Kept:  cycles.Kept{Pots: []cycles.Pot{{TargetC: 173, Duty: math.NaN()}}},
		}
		thin.add(time.Duration(i)*200*time.Millisecond, &r)
	}
	assert.Less(t, len(run.Pots[0].Points), total/10)
}
