package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
)

// TestOnlyARunWithoutAStopTells how long one takes.
func TestOnlyARunWithoutAStopTells(t *testing.T) {
	at := func(m int, kind history.Kind) history.Event {
		return history.Event{At: time.Duration(m) * time.Minute, Wall: time.Unix(int64(m), 0), Kind: kind}
	}
	enabled, ready := at(2, history.HeatEnabled), at(33, history.ReadyToPour)
	took, began, straight := straightToReady([]history.Event{
		at(0, history.HeatBlocked), at(1, history.NewSetpoint), enabled, at(5, history.Stirred), at(20, history.Addition), ready, at(40, history.AllOff),
	})
	assert.True(t, straight)
	assert.Equal(t, 31*time.Minute, took)
	assert.Equal(t, enabled.Wall, began)
	for _, upset := range upsets {
		_, _, straight := straightToReady([]history.Event{enabled, at(9, upset), at(10, history.HeatEnabled), ready})
		assert.False(t, straight, "%s", upset)
	}
	_, _, straight = straightToReady([]history.Event{enabled, at(9, history.Stirred)})
	assert.False(t, straight, "never ready")
	_, _, straight = straightToReady([]history.Event{ready})
	assert.False(t, straight, "never enabled")
}

func TestOnlyAColdBenchTellsTheRoom(t *testing.T) {
	good := func(c float64) reading.Temperature { return reading.Temperature{C: c, Fault: reading.None} }
	in := control.Input{Pots: []control.PotReadings{{Melt: good(20), Plate: good(22)}, {Melt: good(19), Plate: good(19)}}, Room: good(23)}
	c, cold := coldIn(&in)
	assert.True(t, cold)
	assert.InDelta(t, 23, c, 0)
	in.Room = reading.Temperature{}
	c, cold = coldIn(&in)
	assert.True(t, cold)
	assert.InDelta(t, 20, c, 1e-9, "by its own probes")
	in.Pots[1].Melt = reading.Temperature{}
	_, cold = coldIn(&in)
	assert.True(t, cold, "a pot has one probe only")
	in.Pots[0].Melt = reading.Temperature{Fault: reading.Open}
	_, cold = coldIn(&in)
	assert.False(t, cold, "nobody knows")
	in.Pots[0].Melt = good(60)
	_, cold = coldIn(&in)
	assert.False(t, cold)
	_, cold = coldIn(&control.Input{})
	assert.False(t, cold)
}
