package metrics

import (
	"fmt"

	"github.com/prometheus/client_golang/prometheus"

	"meltwarden/control"
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
	powerDesc       = desc("heater_power_watts", "Power the heater was told to give.", "pot")
	stateDesc       = desc("pot_state", "1 for the state the pot is in, 0 for the others.", "pot", "state")
	potReadyDesc    = desc("pot_ready", "Whether the pot is ready to pour.", "pot")
	pourDesc        = desc("pour_left_seconds", "Estimate of how long a melt that is off its plate can still be shot; 0 once it is too cold.", "pot")
	pourLeast       = desc("pour_left_least_seconds", "What that is at least, in 9 of 10 cases.", "pot")
	readyDesc       = desc("ready", "Whether every pot is ready to pour.")
	heatDesc        = desc("heat_state", "1 for the state heat is in, 0 for the others.", "state")
	activeDesc      = desc("condition_active", "Whether the cause of a finding is there now.", "code", "pot", "severity")
	latchedDesc     = desc("condition_latched", "Whether a finding waits for a reset at the bench.", "code", "pot", "severity")
	lastDesc        = desc("last_cycle_timestamp_seconds", "When the last control cycle finished.")
	exchangeDesc    = desc("serial_exchanges_total", "Exchanges with a device by how they ended.", "device", "outcome")
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
		powerDesc, stateDesc, potReadyDesc, pourDesc, pourLeast, readyDesc, heatDesc, activeDesc, latchedDesc, lastDesc, exchangeDesc,
	} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (b *bench) Collect(ch chan<- prometheus.Metric) {
	s := scrape{ch}
	for _, e := range b.Exchanges() {
		s.counter(exchangeDesc, float64(e.Count), e.Device, e.Outcome)
	}
	f := b.Latest()
	if f == nil {
		return
	}
	s.gauge(lastDesc, float64(f.At.UnixMilli())/1000)
	if !f.Live(b.Now()) {
		return
	}
	s.bench(f)
	for i := range min(len(f.Pots), len(b.names)) {
		s.pot(&f.Pots[i], b.names[i], b.Settings.Pots[i].HeaterW)
	}
	for _, c := range f.Conditions {
		name := b.nameOf(c.Pot)
		s.gauge(activeDesc, one(c.Active), c.Code.String(), name, c.Severity.String())
		s.gauge(latchedDesc, one(c.Latched), c.Code.String(), name, c.Severity.String())
	}
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
	if p.Pour.Known {
		s.gauge(pourDesc, p.Pour.In.Seconds(), name)
		s.gauge(pourLeast, p.Pour.Low.Seconds(), name)
	}
	s.gauge(potReadyDesc, one(p.State == control.Ready), name)
	for _, state := range control.PotStates() {
		s.gauge(stateDesc, one(state == p.State), name, state.String())
	}
}

func (s scrape) estimate(guess, within *prometheus.Desc, e control.Estimate, name string) {
	c, band := frames.Estimated(e)
	s.known(guess, c, name)
	s.known(within, band, name)
}

func (s scrape) age(t reading.Temperature, probe, pot string) {
	s.known(ageDesc, frames.Age(t), probe, pot)
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
