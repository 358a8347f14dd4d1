package daemon

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices"
)

// loosePlug is an invented line of two devices that is looked at five times a second, and what was
// said of it.
type loosePlug struct {
	lines awayLines
	stats devices.Stats
	at    time.Time
	said  []string
}

func newLoosePlug() *loosePlug {
	p := &loosePlug{at: time.Date(2026, 3, 14, 20, 0, 0, 0, time.Local)}
	p.lines = awayLines{title: "eel", tell: func(m string) { p.said = append(p.said, m) }}
	p.stats.Lines = []devices.LineStatus{{Name: "probes"}}
	p.stats.Devices = []devices.DeviceStats{{Name: "left module", Line: "probes"}, {Name: "right module", Line: "probes"}}
	return p
}

// in has the plug in or out for a time.
func (p *loosePlug) in(is bool, span time.Duration) {
	l := &p.stats.Lines[0]
	if l.Open, l.Cause, l.What = is, "", ""; !is {
		l.Cause, l.What = devices.Pulled, "adapter A1"
	}
	l.At = p.at
	p.pass(span)
}

func (p *loosePlug) pass(span time.Duration) {
	for end := p.at.Add(span); p.at.Before(end); p.at = p.at.Add(200 * time.Millisecond) {
		p.lines.note(p.at, p.stats)
	}
}

// TestALineIsToldLostAndBack, each once; one that was not tried yet is neither.
func TestALineIsToldLostAndBack(t *testing.T) {
	p := newLoosePlug()
	p.pass(time.Minute)
	p.in(true, time.Minute)
	assert.Empty(t, p.said)
	p.in(false, time.Minute)
	require.Len(t, p.said, 1)
	assert.Equal(t, "eel, Line probes: the adapter A1 was unplugged, or its hub was reset, since 20:02:00. "+
		"See that plug and hub are in, and stay in. See that the plates cool: heat that rests on the line was told off, or goes off when the heater's device or its contactor times out. Once the line is back, heat waits for a press of the enable button.", p.said[0])
	p.in(true, backAfter)
	assert.Len(t, p.said, 1, "it may be lost again")
	p.in(true, time.Second)
	require.Len(t, p.said, 2)
	assert.Equal(t, "eel, Line probes: it is there again since 20:03:00, and was lost at 20:02:00. Heat that was cut waits for a press at the bench.", p.said[1])
	p.in(true, 2*time.Hour)
	assert.Len(t, p.said, 2)
}

// TestALineOnWhichNothingAnswersIsLost, also while its port is open.
func TestALineOnWhichNothingAnswersIsLost(t *testing.T) {
	p := newLoosePlug()
	p.in(true, time.Second)
	for i := range p.stats.Devices {
		d := &p.stats.Devices[i]
		d.Dead, d.DeadAt = true, p.at
		p.pass(time.Second)
	}
	p.pass(time.Minute)
	require.Len(t, p.said, 1, "it is one line")
	assert.Contains(t, p.said[0], "eel, Line probes: nothing on it answers, since 20:00:02. See that its devices have their supply. Look at the two wires of the line. "+
		"See that the plates cool: heat that rests on the line was told off, or goes off when the heater's device or its contactor times out.")
	p.silent()
	p.pass(backAfter + time.Second)
	require.Len(t, p.said, 2)
	assert.Contains(t, p.said[1], "it is there again since 20:01:03, and was lost at 20:00:02.")
}

// silent has only these of the devices answer nothing.
func (p *loosePlug) silent(which ...int) {
	for i := range p.stats.Devices {
		d := &p.stats.Devices[i]
		was := d.Dead
		if d.Dead = slices.Contains(which, i); !d.Dead {
			d.DeadAt = time.Time{}
		} else if !was {
			d.DeadAt = p.at
		}
	}
}

// TestASilentDeviceHidesNoLostLine: each is told once, and its end in its own words; a line's
// loss is no sign that its devices answer.
func TestASilentDeviceHidesNoLostLine(t *testing.T) {
	p := newLoosePlug()
	p.in(true, time.Second)
	p.silent(0)
	p.pass(time.Minute)
	require.Len(t, p.said, 1)
	assert.Contains(t, p.said[0], "eel, Line probes: its device left module answers nothing, since 20:00:01. See that the supply is on.")
	p.in(false, 10*time.Minute)
	require.Len(t, p.said, 2, "that the port is lost is worse")
	assert.Contains(t, p.said[1], "eel, Line probes: the adapter A1 was unplugged, or its hub was reset, since 20:01:01.")
	p.in(true, backAfter+time.Second)
	require.Len(t, p.said, 3)
	assert.Equal(t, "eel, Line probes: it is there again since 20:11:01, and was lost at 20:01:01. Heat that was cut waits for a press at the bench.", p.said[2])
	p.silent()
	p.pass(5 * time.Second)
	p.in(false, time.Minute)
	p.in(true, backAfter)
	assert.Len(t, p.said, 4, "only that it is lost again")
	p.pass(time.Minute)
	require.Len(t, p.said, 6)
	assert.Equal(t, "eel, Line probes: all its devices answer again since 20:12:17, and not all did from 20:00:01 on. Heat that was cut waits for a press at the bench.", p.said[4])
	assert.Contains(t, p.said[5], "it is there again since 20:12:17, and was lost at 20:11:17.")
	p.pass(2 * time.Hour)
	assert.Len(t, p.said, 6)
}

// TestEachSilentDeviceIsTold: one that was silent before hides neither another, nor that in the
// end nothing on the line answers.
func TestEachSilentDeviceIsTold(t *testing.T) {
	p := newLoosePlug()
	p.stats.Devices = append(p.stats.Devices, devices.DeviceStats{Name: "lamps", Line: "probes"})
	p.in(true, time.Second)
	p.silent(2)
	p.pass(time.Minute)
	p.silent(0, 2)
	p.pass(time.Minute)
	p.silent(0) // and the lamps come and go
	p.pass(time.Minute)
	p.silent(0, 2)
	p.pass(time.Minute)
	require.Len(t, p.said, 2)
	assert.Contains(t, p.said[0], "its device lamps answers nothing")
	assert.Contains(t, p.said[1], "its devices left module, lamps answer nothing, since 20:01:01.")
	p.silent(0, 1, 2)
	p.pass(time.Minute)
	require.Len(t, p.said, 3)
	assert.Contains(t, p.said[2], "nothing on it answers")
	p.silent()
	p.pass(backAfter + time.Second)
	require.Len(t, p.said, 5)
	assert.Contains(t, strings.Join(p.said[3:], "\n"), "all its devices answer again since 20:05:01")
	assert.Contains(t, strings.Join(p.said[3:], "\n"), "it is there again since 20:05:01, and was lost at 20:04:01")
}

// TestNumbersOfALooseWire prints what a device sends that comes and goes for an hour beside
// one that answers: at any beat it is told, and none makes a storm.
func TestNumbersOfALooseWire(t *testing.T) {
	for _, beat := range []time.Duration{time.Second, 5 * time.Second, 15 * time.Second, time.Minute, 5 * time.Minute} {
		p, losses := newLoosePlug(), 0
		p.in(true, time.Second)
		for end := p.at.Add(time.Hour); p.at.Before(end); losses++ {
			p.silent(0)
			p.pass(beat)
			p.silent()
			p.pass(beat)
		}
		t.Logf("silent for %v and well for %v: %d times in an hour, %d messages", beat, beat, losses, len(p.said))
		assert.NotEmpty(t, p.said)
		assert.LessOrEqual(t, len(p.said), 14)
	}
	p, losses := newLoosePlug(), 0
	for end := p.at.Add(time.Hour); p.at.Before(end); losses++ { // and the plug as well, at the worst
		p.silent(losses % 2)
		p.in(true, 5*time.Second)
		p.in(false, time.Second)
		p.silent()
		for told := len(p.said); len(p.said) == told; {
			p.in(true, time.Second)
		}
	}
	t.Logf("wires and plug loose whenever they were told to be well: %d times in an hour, %d messages", losses, len(p.said))
	assert.LessOrEqual(t, len(p.said), 2*22)
}

// TestNumbersOfALoosePlug prints what one that comes and goes for an hour sends: by a steady
// beat, and by the worst, which loses it whenever it was told that it is back.
func TestNumbersOfALoosePlug(t *testing.T) {
	for _, beat := range []time.Duration{time.Second, 5 * time.Second, 15 * time.Second, time.Minute, 5 * time.Minute} {
		p, losses := newLoosePlug(), 0
		for end := p.at.Add(time.Hour); p.at.Before(end); losses++ {
			p.in(false, beat)
			p.in(true, beat)
		}
		t.Logf("out for %v and in for %v: lost %d times in an hour, %d messages", beat, beat, losses, len(p.said))
		assert.LessOrEqual(t, len(p.said), 14)
	}
	p, losses := newLoosePlug(), 0
	for end := p.at.Add(time.Hour); p.at.Before(end); losses++ {
		p.in(false, time.Second)
		for told := len(p.said); len(p.said) == told; {
			p.in(true, time.Second)
		}
	}
	t.Logf("out whenever it was told to be back: lost %d times in an hour, %d messages", losses, len(p.said))
	assert.LessOrEqual(t, len(p.said), 22)
	for range 3 { // and after a calm evening it is told at once again
		p.in(true, calmFor+time.Second)
		p.said = nil
		p.in(false, time.Second)
		p.in(true, backAfter+time.Second)
		assert.Len(t, p.said, 2)
	}
}
