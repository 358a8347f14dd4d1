package guard

import (
	"math"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

const period = 200 * time.Millisecond

// limits are a bench with every interlock wired and its heaters proven.
var limits = Limits{
	MeltWarnC: 177, MeltTripC: 190, PlateTripC: 250,
	EStop: true, CutOut: true, Fan: true, HeatersProven: true,
}

func good(c float64) reading.Temperature { return reading.Temperature{C: c, Fault: reading.None} }

func contact(closed bool) reading.Contact {
	return reading.Contact{Closed: closed, Fault: reading.None}
}

// rig is a healthy bench of two pots, as the guard sees it, until a test spoils
// the sight. Its readings move a little from cycle to cycle, as live ones do.
type rig struct {
	g      *Guard
	s      Sight
	spoil  func(*Sight) // done to every sight while it is not nil
	cycles int
}

func newRig(l Limits) *rig { return &rig{g: New(l, 2)} }

func (r *rig) healthy() {
	wiggle := 0.25 * float64(r.cycles%2)
	r.s = Sight{
		Elapsed: period, First: r.cycles == 0, Period: period,
		EStop: contact(true), CutOut: contact(true), Fan: contact(true), Enable: contact(false),
		Link: contact(true), Pedal: contact(false), Attended: true,
		Pots: make([]PotSight, 2),
	}
	for i := range r.s.Pots {
		r.s.Pots[i] = PotSight{Melt: good(150 + wiggle), Plate: good(180 + wiggle), Duty: 0.4}
	}
}

// step makes one cycle and returns what the guard leaves of full power.
func (r *rig) step() []float64 {
	r.healthy()
	r.cycles++
	if r.spoil != nil {
		r.spoil(&r.s)
	}
	return r.look()
}

func (r *rig) look() []float64 {
	r.g.Look(&r.s)
	duty := []float64{1, 1}
	r.g.Limit(duty)
	return duty
}

// begin makes something happen from the next cycle on; it hears the seconds since.
func (r *rig) begin(cause func(s *Sight, t float64)) {
	began := r.cycles + 1 // healthy has counted on when it is asked
	r.spoil = func(s *Sight) { cause(s, float64(r.cycles-began)*period.Seconds()) }
}

// run makes the cycles of a span.
func (r *rig) run(d time.Duration) {
	for range d / period {
		r.step()
	}
}

// hold leaves the button alone for as long as a press needs before it, and then
// holds it down for as long as a press needs, whatever else is going on.
func (r *rig) hold() {
	r.button(contact(false), openBefore+period)
	r.button(contact(true), pressMin+period)
}

// button makes the cycles of a span with the button as given, and returns what
// the guard leaves of full power in the last one.
func (r *rig) button(c reading.Contact, d time.Duration) (duty []float64) {
	spoil := r.spoil
	r.spoil = func(s *Sight) {
		if spoil != nil {
			spoil(s)
		}
		s.Enable = c
	}
	for range d / period {
		duty = r.step()
	}
	r.spoil = spoil
	return duty
}

// press presses the button and lets it go; it counts in the last cycle.
func (r *rig) press() []float64 {
	r.hold()
	return r.button(contact(false), openAfter+period)
}

// enabled returns a rig with heat enabled for a while.
func enabled(l Limits) *rig {
	r := newRig(l)
	r.run(time.Second)
	r.press()
	r.run(5 * time.Second)
	return r
}

func (r *rig) latched(c Code) bool { return r.condition(c).Latched }

// told makes cycles until a finding is listed, and returns how long after the first
// of them that is.
func (r *rig) told(t require.TestingT, c Code, limit time.Duration) time.Duration {
	for cycles := 0; ; cycles++ {
		require.Less(t, time.Duration(cycles)*period, limit, "%s is never told", c)
		r.step()
		if found := r.condition(c); found.Active || found.Latched {
			return time.Duration(cycles) * period
		}
	}
}

// condition returns what the guard reports of a finding; its zero value is "nothing".
func (r *rig) condition(c Code) Condition {
	for _, found := range r.g.Append(nil) {
		if found.Code == c {
			return found
		}
	}
	return Condition{}
}

// notNumbers are what no measurement can be.
var notNumbers = []float64{math.NaN(), math.Inf(1), math.Inf(-1)}
