package control

import (
	"math"
	"time"

	"meltwarden/control/cascade"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

// Controller is a device that holds a pot's plate at a set-point by itself, and keeps that
// set-point when it hears nothing more. Here only the set-point is decided: by the melt loop
// of the cascade, within the plate's limit, in whole degrees and seldom, because many a
// controller writes each one into a memory that wears.
type Controller struct {
	// RestC is what it is told while the pot gets no heat, in degrees Celsius, above zero.
	RestC float64
	// Every is the least time between two set-points, but for rest and for one that is far
	// lower, which never wait.
	Every time.Duration
}

// Is reports whether there is one.
func (c Controller) Is() bool { return c.RestC > 0 }

const (
	// stepC is how far off a set-point must be to be told anew, in degrees Celsius (E): less
	// than a controller's own swing, and a melt gets a part of it only. While the melt is
	// further from its target than that is worth, it is offShare of the distance, up to
	// mostStepC.
	stepC, offShare, mostStepC = 2.0, 0.5, 5.0
	// farC is how much less a controller is told at once, whenever it was told last (E): a
	// plate that is too warm by so much is not left so for all of Every, which may be minutes.
	farC = 10.0
	// fullFromC is how far below its set-point a plate is taken to get all power, and less in
	// proportion (E): most controllers give it sooner, and one that switches on and off at once.
	fullFromC = 40.0
	// atWorkC is how near its set-point a plate is held with a little power that nobody knows,
	// atWork of it (E): the sensors of one plate may differ by so much.
	atWorkC, atWork = 15.0, 0.2
	// mostTrimC is by how much the controller's sensor and the plate's probe may differ and be
	// reckoned with (E). That is found in ownInS where the controller says what it reads, in
	// restInS by a plate that moves by less than restKS in kelvin per second, and in overInS
	// where that is over its limit (E), all in seconds.
	mostTrimC                        = 20.0
	ownInS, restInS, overInS, restKS = 30.0, 60.0, 10.0, 0.08
)

// presumed is what a controller's heater is taken to draw, 0 to 1, by what it is told and how
// warm its plate is, both in degrees Celsius. It is no measurement: the guard goes by it to
// tell a plate that does not answer, or that rises though it should not.
func (c Controller) presumed(toldC, plateC float64) float64 {
	switch short := toldC - plateC; {
	case toldC <= c.RestC || !(short > -atWorkC):
		return 0
	default:
		return math.Min(math.Max(short/fullFromC, atWork), 1)
	}
}

// ControllerFrame is a controller in a frame.
type ControllerFrame struct {
	// InCharge is true for a pot that has one.
	InCharge bool
	// ToldC is what it is told, in degrees Celsius; at rest AtRest is true. Changes is how
	// often that has changed since the start.
	ToldC   float64
	AtRest  bool
	Changes uint64
	// Setpoint is what it says that it was told, Own what it reads itself.
	Setpoint, Own reading.Temperature
}

// steering is what is remembered of a pot's controller.
type steering struct {
	toldC   float64
	since   time.Duration // it was told that
	changes uint64
	ownC    float64 // what it reads itself; NaN where nobody knows
	trimC   float64 // how much more it reads of its plate than the plate's probe does
}

// look takes in what the controller says, after some time.
func (s *steering) look(r *PotReadings, elapsed time.Duration) {
	s.since += elapsed
	if s.ownC = math.NaN(); r.Own.Usable(guard.MaxAge) {
		s.ownC = r.Own.C
	}
}

// rest tells the controller to rest.
func (s *steering) rest(c Controller) { s.tell(c.RestC) }

func (s *steering) tell(celsius float64) {
	if celsius != s.toldC {
		s.toldC, s.since = celsius, 0
		s.changes++
	}
}

// compare finds out how much more the controller reads of its plate than the plate's probe:
// by what it says that it reads, or else by what a plate at rest has of what was told. A plate
// over its limit lowers that whatever it comes of.
func (s *steering) compare(c Controller, m *cascade.Measure, dt float64) {
	moreC, in := s.ownC-m.PlateC, ownInS
	if math.IsNaN(moreC) {
		moreC, in = s.toldC-m.PlateC, restInS
		capped := s.toldC >= math.Floor(m.LimitC-cascade.MarginC)
		if s.toldC <= c.RestC || math.Abs(m.PlateSlope) > restKS || math.Abs(moreC) > mostTrimC || capped && moreC > s.trimC {
			moreC = s.trimC
		}
	}
	trimC := s.trimC + (moreC-s.trimC)*math.Min(dt/in, 1) - math.Max(m.PlateC-m.LimitC, 0)*dt/overInS
	if !math.IsNaN(trimC) {
		s.trimC = math.Min(math.Max(trimC, -mostTrimC), mostTrimC)
	}
}

// aim tells the controller what its plate should have, where it is time for that. offC is how
// far the melt is from its target.
func (s *steering) aim(c Controller, wantC, offC float64) {
	step := math.Min(math.Max(math.Abs(offC)*offShare, stepC), mostStepC)
	switch {
	case !(wantC > c.RestC):
		s.rest(c)
	case s.toldC <= c.RestC || s.toldC-wantC >= farC || s.since >= c.Every && math.Abs(wantC-s.toldC) >= step:
		s.tell(math.Max(math.Floor(wantC), c.RestC))
	}
}

// steer decides what the pot's controller is told, and returns what its heater is taken to
// draw, by what the controller itself reads, or else by the plate's probe.
func (p *pot) steer() float64 {
	c := p.set.Controller
	m := &p.view.Seen
	p.steering.compare(c, m, p.view.Dt)
	wantC := math.Min(p.loop.Aim(&p.view)+p.steering.trimC, m.LimitC-cascade.MarginC)
	p.steering.aim(c, wantC, m.TargetC-m.MeltC)
	plateC := p.steering.ownC
	if math.IsNaN(plateC) {
		plateC = p.plate.C()
	}
	return c.presumed(p.steering.toldC, plateC)
}

// unshared takes back what the circuit's share and windows made of heaters that controllers
// heat: those go on when they want to, and a bench file has room for all of them at once.
func (b *Bench) unshared() {
	for i, p := range b.pots {
		if p.set.Controller.Is() {
			b.duty[i], b.told[i] = b.asked[i], b.asked[i]
		}
	}
}

// steered writes what the controllers are told.
func (b *Bench) steered(out *Frame) {
	out.Outputs.SetpointC = out.Outputs.SetpointC[:0]
	for i, p := range b.pots {
		c := p.set.Controller
		if !c.Is() {
			continue
		}
		for len(out.Outputs.SetpointC) < len(b.pots) {
			out.Outputs.SetpointC = append(out.Outputs.SetpointC, 0)
		}
		out.Outputs.SetpointC[i] = p.steering.toldC
		out.Outputs.Duty[i] = 0
	}
}

// controllerSight is what the guard sees of the pot's controller.
func (p *pot) controllerSight(r *PotReadings) guard.ControllerSight {
	if !p.set.Controller.Is() {
		return guard.ControllerSight{}
	}
	return guard.ControllerSight{Is: true, ToldC: p.steering.toldC, Since: p.steering.since, Setpoint: r.Setpoint, Own: r.Own}
}

// reportController takes back what is not known of a heater that a controller heats.
func (p *pot) reportController(out *PotFrame, r *PotReadings, mayHeat bool) {
	c := p.set.Controller
	if !c.Is() {
		return
	}
	out.Controller = ControllerFrame{
		InCharge: true, ToldC: p.steering.toldC, AtRest: p.steering.toldC <= c.RestC, Changes: p.steering.changes,
		Setpoint: r.Setpoint, Own: r.Own,
	}
	out.AskedDuty, out.Duty = 0, 0
	if mayHeat { // the contactor is closed, and nobody sees what flows
		out.AskedDuty, out.Duty = math.NaN(), math.NaN()
	}
}
