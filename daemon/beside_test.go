package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/metrics"
	"meltwarden/daemon/shot"
)

// TestWhatIsToldBesideTheFrame: a shot that was pressed twice in one cycle is one, a dose
// that nobody knows stays unknown, and what there is not is not there.
func TestWhatIsToldBesideTheFrame(t *testing.T) {
	d := &Daemon{}
	assert.Equal(t, metrics.Beside{}, d.beside())

	k := &keeper{alarms: alarm.NewList(), tally: &d.tally}
	pushed := history.Mark{Command: control.Command{Kind: control.Shot}}
	at := time.Now()
	for i, marks := range [][]history.Mark{{pushed, pushed}, nil, {pushed}} {
		k.keep(Happening{At: at.Add(time.Duration(i) * time.Second), Frame: &control.Frame{}, Marks: marks})
	}
	d.tally.dosed([]shot.Heat{{}, shot.UnknownHeat()}, 150)
	b := d.beside()
	assert.EqualValues(t, 2, b.Shots)
	assert.Equal(t, at.Add(2*time.Second), b.LastShot)
	assert.Equal(t, frames.Figure(0), b.DoseMin[0])
	assert.False(t, b.DoseMin[1].Known())
	assert.Nil(t, b.History)
	assert.Nil(t, b.Away)
}
