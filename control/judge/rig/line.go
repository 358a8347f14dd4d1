package rig

import (
	"math/rand/v2"
	"time"

	"meltwarden/control/judge/zoo"
	"meltwarden/control/reading"
)

// line brings readings from the probes to the cycles, late and not all of them.
type line struct {
	period, age int // in steps of the zoo
	lostOneIn   int
	from        *rand.Rand
	melt, plate channel
}

// channel is one probe's readings: those under way, and the last that came.
type channel struct {
	waiting []sample
	came    bool
	last    sample
}

type sample struct {
	c    float64
	step int // when it was taken
	due  int
}

func newLine(o Options, from *rand.Rand) line {
	return line{period: steps(o.Period), age: steps(o.Age), lostOneIn: o.LostOneIn, from: from}
}

// sample reads the probes in the step from which a reading is of the right age in
// a coming cycle.
func (l *line) sample(step int, p *zoo.Plant) {
	due := step + l.age
	if due%l.period != 0 {
		return
	}
	meltC, plateC := p.Read(l.from)
	l.send(&l.melt, sample{meltC, step, due})
	l.send(&l.plate, sample{plateC, step, due})
}

func (l *line) send(c *channel, s sample) {
	if l.lostOneIn > 0 && l.from.IntN(l.lostOneIn) == 0 {
		return
	}
	c.waiting = append(c.waiting, s)
}

// at is what a cycle sees of the channel.
func (c *channel) at(step int) reading.Temperature {
	for len(c.waiting) > 0 && c.waiting[0].due <= step {
		c.last, c.came = c.waiting[0], true
		copy(c.waiting, c.waiting[1:])
		c.waiting = c.waiting[:len(c.waiting)-1]
	}
	if !c.came {
		return reading.Temperature{Fault: reading.Missing}
	}
	age := time.Duration(float64(step-c.last.step) * zoo.StepS * float64(time.Second))
	return reading.Temperature{C: c.last.c, Age: age, Fault: reading.None}
}
