package api

import (
	"encoding/json"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
	"meltwarden/daemon/view"
	"meltwarden/devices"
	"meltwarden/devices/budget"
	"meltwarden/devices/modbus"
)

// troubled are an invented line that does not keep up, with a device that is well, one
// that is not, one that is dead and one that was never asked, and one that is not open.
func troubled(t *testing.T) func() view.SerialLines {
	t.Helper()
	times := modbus.Times{N: 90, Of: 90, Median: 21 * time.Millisecond, Worst: 64 * time.Millisecond, Turn: 7 * time.Millisecond}
	stats := devices.Stats{
		Lines: []devices.LineStatus{{Name: "bench line", Open: true}, {Name: "other line", LastError: "serial port invented does not exist"}},
		Devices: []devices.DeviceStats{
			{Name: "probes", Line: "bench line", Unit: 1, Exchanges: map[modbus.Outcome]uint64{modbus.OK: 90}, Times: times},
			{
				Name: "outputs", Line: "bench line", Unit: 2, Times: times,
				Exchanges: map[modbus.Outcome]uint64{modbus.OK: 80, modbus.TimedOut: 12, modbus.BadCheck: 8},
				Troubles:  map[modbus.Kind]uint64{modbus.NoAnswer: 12, modbus.WrongCheck: 8, modbus.Late: 3},
			},
			{Name: "inputs", Line: "bench line", Unit: 3, Dead: true, Exchanges: map[modbus.Outcome]uint64{modbus.TimedOut: 9}, Troubles: map[modbus.Kind]uint64{modbus.NoAnswer: 9}},
			{Name: "room", Line: "other line", Unit: 1},
		},
	}
	plan := []budget.Line{{
		Name: "bench line", Baud: 9600, Bits: 11, Exchanges: 8, Characters: 170, Wire: 195 * time.Millisecond, Turns: 56 * time.Millisecond,
		Silence: 32 * time.Millisecond, Cycle: 283 * time.Millisecond, Mean: 260 * time.Millisecond, Period: 200 * time.Millisecond,
		Measured: []string{"probes", "outputs"}, Assumed: []string{"inputs"},
		Changes: []budget.Change{{Way: budget.Faster, Baud: 19200, Mean: 158 * time.Millisecond}, {Way: budget.Join, Device: "probes", MaxGap: 4, Mean: 231 * time.Millisecond}},
	}}
	return func() view.SerialLines { return view.SerialOf(stats, plan) }
}

// TestLinesAreToldInWordsAndFigures: on the page and to programs.
func TestLinesAreToldInWordsAndFigures(t *testing.T) {
	o, _ := options(&frames.Hub{})
	assert.Contains(t, pageOf(t, New(o), "/lines"), view.Texts().SerialNone)
	o.Lines = troubled(t)
	h := New(o)
	page := pageOf(t, h, "/lines")
	for _, words := range []string{
		"every answer was good", "20 of 100 answers were not good", "does not answer; asked once a second", "not asked yet", "21.0 ms", "64.0 ms", "7.0 ms",
		"outputs: late</b>, 3 times", "needs longer than its timeout", "serial port invented does not exist",
		"It does not keep up: a cycle takes 260.0 ms, and there are 200 ms", "Set the line and all its devices to 19200 baud: 158.0 ms a cycle",
		"max-gap: 4 at device probes, if it can be read where no channel lies: 231.0 ms a cycle, which is still too long",
		"Of inputs it is not measured", "The fullest cycle: 8 × request and answer, 170 characters of 11 bits at 9600 baud", "<p>not asked yet</p>",
	} {
		assert.Contains(t, page, words)
	}
	var told view.SerialLines
	got := do(h, request("GET", "/api/v1/lines"))
	require.Equal(t, http.StatusOK, got.StatusCode)
	require.NoError(t, json.NewDecoder(got.Body).Decode(&told))
	require.Len(t, told.Lines, 2)
	d := told.Lines[0].Devices
	assert.Equal(t, []uint64{100, 80}, []uint64{d[1].Exchanges, d[1].Good})
	assert.EqualValues(t, 21, d[1].MedianMs)
	assert.Equal(t, view.Trouble{Kind: "late", Count: 3, MayBe: d[1].Troubles[1].MayBe}, d[1].Troubles[1])
	assert.True(t, d[2].Dead)
}
