package history

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
)

// TestWhatControllersSaidIsKept: a run of pots that controllers heat plays back, and says what
// each was told, said that it was told, and read; what nobody knows of a heater stays so.
func TestWhatControllersSaidIsKept(t *testing.T) {
	s := open(t, t.TempDir())
	o := start()
	for i := range o.Settings.Pots {
		o.Settings.Pots[i].HeaterW, o.Settings.Pots[i].Controller = 600, control.Controller{RestC: 5, Every: 10 * time.Second}
	}
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	e := newEvening(o.Settings)
	for range 300 {
		has := 5.0
		if told := e.frame.Outputs.SetpointC; len(told) > 0 {
			has = told[0]
		}
		e.in.Pots[0].Setpoint = reading.Temperature{C: has, Age: 20 * time.Millisecond, Fault: reading.None}
		e.in.Pots[0].Own = reading.Temperature{C: 41.5, Age: 20 * time.Millisecond, Fault: reading.None}
		r.queue <- e.next()
	}
	require.NoError(t, r.Close(noon))
	back, err := s.Replay(r.Run())
	require.NoError(t, err)
	assert.Nil(t, back.Differs)

	var text bytes.Buffer
	require.NoError(t, s.ExportCSV(&text, r.Run()))
	rows, err := csv.NewReader(&text).ReadAll()
	require.NoError(t, err)
	last := rows[len(rows)-1]
	cell := func(column string) string { return last[slices.Index(rows[0], column)] }
	toldC := e.frame.Outputs.SetpointC[0]
	assert.Greater(t, toldC, 200.0)
	assert.Equal(t, fmt.Sprint(toldC), cell("left_controller_told_c"))
	assert.Equal(t, fmt.Sprint(toldC), cell("left_controller_setpoint_c"))
	assert.Equal(t, "41.5", cell("left_controller_reads_c"))
	assert.Equal(t, "", cell("left_duty"), "not known, never zero")
	assert.Equal(t, "", cell("middle_controller_reads_c"), "nobody asks for it")

	text.Reset()
	require.NoError(t, s.ExportJSON(&text, r.Run()))
	lines := bytes.Split(bytes.TrimSpace(text.Bytes()), []byte("\n"))
	var cycle struct {
		Pots []struct {
			Duty       *float64
			Controller map[string]*float64
		}
	}
	require.NoError(t, json.Unmarshal(lines[len(lines)-1], &cycle))
	assert.Nil(t, cycle.Pots[0].Duty)
	assert.InDelta(t, toldC, *cycle.Pots[0].Controller["told_c"], 1e-9)
	assert.Nil(t, cycle.Pots[1].Controller["reads_c"])
}
