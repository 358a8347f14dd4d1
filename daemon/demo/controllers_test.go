package demo

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/devices/clock"
	"meltwarden/devices/simbench"
	"meltwarden/devices/simbench/physics"
)

// steered is a quick bench of which every pot has a controller.
func steered(t *testing.T, seed uint64, plate physics.PlateKind) *quick {
	t.Helper()
	q := &quick{settings: virtualSettings(t), clk: clock.Stepped(), listed: map[finding]bool{}, heard: map[guard.Code]int{}, tripped: map[guard.Code]int{}}
	c := simbench.Config{Seed: seed, Maker: true, Controllers: true}
	q.lifts.pots = make([]liftedPot, len(q.settings.Pots))
	for i := range q.settings.Pots {
		p := &q.settings.Pots[i]
		p.HeaterW, p.Output, p.Controller = 600, circuit.Hidden, control.Controller{RestC: 20, Every: 10 * time.Second}
		q.lifts.pots[i].last = -time.Hour
		c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, VolumeML: p.VolumeML, HeaterW: p.HeaterW, Plate: plate})
	}
	var err error
	q.bench, err = simbench.New(c, q.clk)
	require.NoError(t, err)
	q.settings.Limits.HeatersProven = true
	q.step = control.NewBench(q.settings)
	q.bench.ReportTo(q)
	return q
}

func TestNumbersOfControllers(t *testing.T) {
	t.Parallel()
	for seed := uint64(1); seed <= 3; seed++ {
		q := steered(t, seed, []physics.PlateKind{physics.Cast, physics.Thin}[seed%2])
		over := math.Inf(-1)
		plate := 0.0
		ready := time.Duration(0)
		for q.f.Time < 150*time.Minute && !(q.f.Ready) {
			q.cycle()
			if q.f.Cycle%5 == 0 {
				truth := q.bench.Truth()
				for i, p := range truth.Pots {
					if !q.f.Pots[i].Cured {
						over = math.Max(over, p.MeltC-q.f.Pots[i].TargetC)
					}
					plate = math.Max(plate, p.PlateC)
				}
				if q.f.Cycle%1500 == 0 {
					t.Logf("%5.0f min %v: melt %.1f plate %.1f told %.0f of %.0f, power %.0f W; %v %v", q.f.Time.Minutes(), q.f.Pots[0].State, truth.Pots[0].MeltC, truth.Pots[0].PlateC, q.f.Pots[0].Controller.ToldC, q.f.Pots[0].TargetC, truth.Pots[0].PowerW, q.f.Conditions, q.f.Heat)
				}
			}
		}
		ready = q.f.Time
		t.Logf("seed %d: ready after %v; %v %v over %.1f plate %.0f", seed, ready, q.heard, q.tripped, over, plate)
		for i, p := range q.bench.Truth().Pots {
			t.Logf("  %v writes, melt %.1f of %.1f %v", p.Writes, p.MeltC, q.f.Pots[i].SetpointC, q.f.Pots[i].State)
		}
		assert.True(t, q.f.Ready)
	}
}
