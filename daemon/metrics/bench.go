package metrics

import (
	"fmt"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

// desc describes one metric of the bench.
func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("meltwarden_"+name, help, labels, nil)
}

var (
	meltDesc        = desc("melt_temperature_celsius", "Measured temperature of the melt.", "pot")
	plateDesc       = desc("plate_temperature_celsius", "Measured temperature of the plate.", "pot")
	meltGuessDesc   = desc("melt_estimate_celsius", "What is thought of a melt that has no probe.", "pot")
	meltWithinDesc  = desc("melt_estimate_band_celsius", "How far off that may be, to either side.", "pot")
	plateGuessDesc  = desc("plate_estimate_celsius", "What is thought of a plate that has no probe.", "pot")
	plateWithinDesc = desc("plate_estimate_band_celsius", "How far off that may be, to either side.", "pot")
	setpointDesc    = desc("setpoint_temperature_celsius", "Injection temperature of the pot.", "pot")
	targetDesc      = desc("target_temperature_celsius", "What the loop holds now: the cure temperature while curing, then the set-point.", "pot")
	bandDesc        = desc("band_celsius", "How far from the set-point, either way, still counts as right.", "pot")
	mouldDesc       = desc("mould_temperature_celsius", "Measured temperature of the mould.")
	roomDesc        = desc("room_temperature_celsius", "Measured temperature of the room.")
	ageDesc         = desc("reading_age_seconds", "Age of the last value of a probe, usable or not, when the cycle used it.", "probe", "pot")
	dutyDesc        = desc("heater_duty_ratio", "Fraction of the heater's rated power it was told to give.", "pot")
	toldDesc        = desc("controller_told_celsius", "What the controller of a plate is told to hold; its rest while the pot gets no heat.", "pot")
	takenDesc       = desc("controller_setpoint_celsius", "What the controller of a plate says that it was told.", "pot")
	ownDesc         = desc("controller_reading_celsius", "What the own sensor of a plate's controller reads.", "pot")
	changesDesc     = desc("controller_setpoint_changes_total", "How often the controller of a plate was told something else since the program began.", "pot")
	powerDesc       = desc("heater_power_watts", "Power the heater was told to give.", "pot")
	stateDesc       = desc("pot_state", "1 for the state the pot is in, 0 for the others.", "pot", "state")
	potReadyDesc    = desc("pot_ready", "Whether the pot is ready to pour.", "pot")
	pourDesc        = desc("pour_left_seconds", "Estimate of how long a melt that is off its plate can still be shot; 0 once it is too cold.", "pot")
	pourLeast       = desc("pour_left_least_seconds", "What that is at least, in 9 of 10 cases.", "pot")
	potReadyInDesc  = desc("pot_ready_in_seconds", "Estimate of how long the pot still needs at full power, as far as a hand does its part at once.", "pot")
	potWithinDesc   = desc("pot_ready_in_band_seconds", "How far off that may be, to either side.", "pot")
	peakDesc        = desc("melt_peak_estimate_celsius", "Estimate of the warmest that the melt becomes if its heat is cut now.", "pot")
	peakWithinDesc  = desc("melt_peak_estimate_band_celsius", "How far off that may be, to either side.", "pot")
	overheatDesc    = desc("overheating_predicted", "Whether the melt is on its way over its trip temperature.", "pot")
	meltTripDesc    = desc("melt_trip_celsius", "Melt temperature at which heat is cut.", "pot")
	plateTripDesc   = desc("plate_trip_celsius", "Plate temperature at which heat is cut.", "pot")
	readyDesc       = desc("ready", "Whether every pot is ready to pour.")
	readyInDesc     = desc("ready_in_seconds", "Estimate of how long it takes until every pot is ready, as far as a hand does its part at once.")
	readyWithinDesc = desc("ready_in_band_seconds", "How far off that may be, to either side.")
	liveDesc        = desc("live", "Whether control cycles finish: 0 when none has for two seconds.")
	hotDesc         = desc("hot", "Whether anything on the bench is, or may be, too hot to touch.")
	drawDesc        = desc("power_watts", "Power that all heaters together draw, those that are switched in the mean.")
	mostDesc        = desc("circuit_limit_watts", "Power that the breaker carries.")
	meanDesc        = desc("circuit_continuous_watts", "Most that the mean power of any minute may be.")
	conditionsDesc  = desc("conditions", "How many findings are there now or wait for a reset, by severity.", "severity")
	asideDesc       = desc("conditions_set_aside", "How many warnings a person has taken off lamp and buzzer.")
	heatDesc        = desc("heat_state", "1 for the state heat is in, 0 for the others.", "state")
	activeDesc      = desc("condition_active", "Whether the cause of a finding is there now.", "code", "pot", "severity")
	latchedDesc     = desc("condition_latched", "Whether a finding waits for a reset at the bench.", "code", "pot", "severity")
	lastDesc        = desc("last_cycle_timestamp_seconds", "When the last control cycle finished.")
	exchangeDesc    = desc("serial_exchanges_total", "Exchanges with a device of a serial line by how they ended.", "line", "device", "outcome")
)

// bench collects from the last frame. A pot's label is its name on the bench.
type bench struct {
	Options
	names []string
}

func newBench(o Options) *bench {
	b := &bench{Options: o}
	for i, p := range o.Settings.Pots {
		name := p.Name
		if name == "" {
			name = fmt.Sprint(i + 1)
		}
		b.names = append(b.names, name)
	}
	return b
}

// Describe implements prometheus.Collector.
func (b *bench) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		meltDesc, plateDesc, meltGuessDesc, meltWithinDesc, plateGuessDesc, plateWithinDesc, setpointDesc, targetDesc, bandDesc, mouldDesc, roomDesc, ageDesc, dutyDesc,
		toldDesc, takenDesc, ownDesc, changesDesc,
		powerDesc, stateDesc, potReadyDesc, potReadyInDesc, potWithinDesc, peakDesc, peakWithinDesc, overheatDesc, meltTripDesc, plateTripDesc,
		pourDesc, pourLeast, readyDesc, readyInDesc, readyWithinDesc, liveDesc, hotDesc, drawDesc, mostDesc, meanDesc, conditionsDesc,
		asideDesc, heatDesc, activeDesc, latchedDesc, lastDesc, exchangeDesc,
	} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (b *bench) Collect(ch chan<- prometheus.Metric) {
	s := scrape{ch}
	for _, e := range b.Exchanges() {
		s.counter(exchangeDesc, float64(e.Count), e.Line, e.Device, e.Outcome)
	}
	f := b.Latest()
	s.gauge(liveDesc, one(f.Live(b.Now())))
	if f == nil {
		return
	}
	s.gauge(lastDesc, float64(f.At.UnixMilli())/1000)
	if !f.Live(b.Now()) {
		return
	}
	s.bench(f)
	s.limit(mostDesc, b.Settings.Circuit.MaxW)
	s.limit(meanDesc, b.Settings.Circuit.ContinuousW)
	for i := range min(len(f.Pots), len(b.names)) {
		s.pot(&f.Pots[i], b.names[i], b.Settings.Pots[i].HeaterW)
		s.gauge(overheatDesc, one(predicted(f, i)), b.names[i])
		b.trips(s, i)
	}
	b.conditions(s, f)
}

// trips sends where heat is cut.
func (b *bench) trips(s scrape, pot int) {
	p, plate := &b.Settings.Pots[pot], b.Settings.Limits.PlateTripC
	if own := p.PlateTripAtC(); own > 0 {
		plate = min(plate, own)
	}
	s.limit(meltTripDesc, b.Settings.Limits.MeltTripC, b.names[pot])
	s.limit(plateTripDesc, plate, b.names[pot])
}

// predicted reports whether the guard foresees the melt of a pot over its trip, also
// where another finding is told in its place.
func predicted(f *frames.Frame, pot int) bool {
	foreseen := func(c guard.Condition) bool { return c.Code == guard.MeltForecast && c.Pot == pot && c.Active }
	return slices.ContainsFunc(f.Conditions, foreseen) || slices.ContainsFunc(f.Folded, foreseen)
}

// conditions sends what the guard has found. How many there are is always told, zero
// too, so that nothing found and nothing heard are not the same.
func (b *bench) conditions(s scrape, f *frames.Frame) {
	var count [guard.Trip + 1]int
	for _, c := range f.Conditions {
		count[c.Severity]++
		name := b.nameOf(c.Pot)
		s.gauge(activeDesc, one(c.Active), c.Code.String(), name, c.Severity.String())
		s.gauge(latchedDesc, one(c.Latched), c.Code.String(), name, c.Severity.String())
	}
	for severity, n := range count {
		s.gauge(conditionsDesc, float64(n), guard.Severity(severity).String())
	}
	s.gauge(asideDesc, float64(f.Aside))
}

// nameOf returns the label of the pot with the given index, empty for the bench.
func (b *bench) nameOf(pot int) string {
	if pot < 0 || pot >= len(b.names) {
		return ""
	}
	return b.names[pot]
}

// scrape sends the metrics of one scrape. Nothing in it may panic: the registry
// collects in goroutines of its own, and a panic there would end the daemon.
type scrape struct{ ch chan<- prometheus.Metric }

func (s scrape) bench(f *frames.Frame) {
	s.known(mouldDesc, frames.Measured(f.Mould))
	s.known(roomDesc, frames.Measured(f.Room))
	s.age(f.Mould, "mould", "")
	s.age(f.Room, "room", "")
	s.gauge(readyDesc, one(f.Ready))
	s.within(readyInDesc, readyWithinDesc, f.ReadyIn, f.ReadyWithin)
	s.gauge(hotDesc, one(f.Hot))
	s.known(drawDesc, frames.Figure(f.PowerW))
	for _, h := range []control.HeatState{control.HeatBlocked, control.HeatEnabled, control.HeatTripped} {
		s.gauge(heatDesc, one(h == f.Heat), h.String())
	}
}

func (s scrape) pot(p *control.PotFrame, name string, heaterW float64) {
	s.known(meltDesc, frames.Measured(p.Melt), name)
	s.known(plateDesc, frames.Measured(p.Plate), name)
	s.estimate(meltGuessDesc, meltWithinDesc, p.MeltEstimate, name)
	s.estimate(plateGuessDesc, plateWithinDesc, p.PlateEstimate, name)
	s.known(setpointDesc, frames.Figure(p.SetpointC), name)
	s.known(targetDesc, frames.Figure(p.TargetC), name)
	s.known(bandDesc, frames.Figure(p.BandC), name)
	s.age(p.Melt, "melt", name)
	s.age(p.Plate, "plate", name)
	s.known(dutyDesc, frames.Figure(p.Duty), name)
	s.known(powerDesc, frames.Figure(p.Duty*heaterW), name)
	s.controller(&p.Controller, name)
	if p.Pour.Known {
		s.gauge(pourDesc, p.Pour.In.Seconds(), name)
		s.gauge(pourLeast, p.Pour.Low.Seconds(), name)
	}
	s.gauge(potReadyDesc, one(p.State == control.Ready), name)
	s.within(potReadyInDesc, potWithinDesc, p.ReadyIn, p.ReadyWithin, name)
	if peak := frames.Figure(p.PeakC); peak.Known() {
		s.known(peakDesc, peak, name)
		s.known(peakWithinDesc, frames.Figure(p.PeakWithinC), name)
	}
	for _, state := range control.PotStates() {
		s.gauge(stateDesc, one(state == p.State), name, state.String())
	}
}

// controller sends what there is of a controller; of a pot without one, nothing.
func (s scrape) controller(c *control.ControllerFrame, name string) {
	if !c.InCharge {
		return
	}
	s.known(toldDesc, frames.Figure(c.ToldC), name)
	s.known(takenDesc, frames.Measured(c.Setpoint), name)
	s.known(ownDesc, frames.Measured(c.Own), name)
	s.counter(changesDesc, float64(c.Changes), name)
}

func (s scrape) estimate(guess, within *prometheus.Desc, e control.Estimate, name string) {
	c, band := frames.Estimated(e)
	s.known(guess, c, name)
	s.known(within, band, name)
}

func (s scrape) age(t reading.Temperature, probe, pot string) {
	s.known(ageDesc, frames.Age(t), probe, pot)
}

// within sends a time that is still to pass and how far off it may be; one below zero is
// not known.
func (s scrape) within(in, band *prometheus.Desc, left, within time.Duration, labels ...string) {
	if left >= 0 {
		s.gauge(in, left.Seconds(), labels...)
		s.gauge(band, within.Seconds(), labels...)
	}
}

// limit leaves out a limit that is not set.
func (s scrape) limit(d *prometheus.Desc, v float64, labels ...string) {
	if v > 0 {
		s.gauge(d, v, labels...)
	}
}

// known leaves out what is not known.
func (s scrape) known(d *prometheus.Desc, v frames.Figure, labels ...string) {
	if v.Known() {
		s.gauge(d, float64(v), labels...)
	}
}

func (s scrape) gauge(d *prometheus.Desc, v float64, labels ...string) {
	s.send(d, prometheus.GaugeValue, v, labels)
}

func (s scrape) counter(d *prometheus.Desc, v float64, labels ...string) {
	s.send(d, prometheus.CounterValue, v, labels)
}

func (s scrape) send(d *prometheus.Desc, t prometheus.ValueType, v float64, labels []string) {
	m, err := prometheus.NewConstMetric(d, t, v, labels...)
	if err != nil { // a label that is not UTF-8
		m = prometheus.NewInvalidMetric(d, err)
	}
	s.ch <- m
}

func one(is bool) float64 {
	if is {
		return 1
	}
	return 0
}
