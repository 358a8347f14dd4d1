package view

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/devices"
)

// TestALineSaysHowOftenItWasLost, whether it is open again or not; of one that never was, nothing.
func TestALineSaysHowOftenItWasLost(t *testing.T) {
	of := func(open bool, lost uint64) SerialLine {
		l := devices.LineStatus{Name: "probes", Open: open, Port: "/dev/ttyX", At: noon, Lost: lost}
		if !open {
			l.Cause = devices.Pulled
		}
		return SerialOf(devices.Stats{Lines: []devices.LineStatus{l}}, nil).Lines[0]
	}
	assert.Equal(t, "The port is open as /dev/ttyX.", of(true, 0).Where())
	assert.Equal(t, "The port is open as /dev/ttyX. It was lost once since the program began.", of(true, 1).Where())
	assert.Equal(t, "Since "+noon.Local().Format(time.TimeOnly)+". See that plug and hub are in, and stay in. "+
		"It was lost 12 times since the program began: look for a loose plug.", of(false, 12).Shut())
}
