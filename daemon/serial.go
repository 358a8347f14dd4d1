package daemon

import (
	"meltwarden/daemon/metrics"
	"meltwarden/daemon/view"
	"meltwarden/devices/budget"
)

// exchanges is how exchanges with the devices ended, for the metrics.
func (d *Daemon) exchanges() []metrics.Exchanges {
	var all []metrics.Exchanges
	for _, device := range d.opts.Bus.Stats().Devices {
		for outcome, n := range device.Exchanges {
			all = append(all, metrics.Exchanges{Line: device.Line, Device: device.Name, Outcome: outcome.String(), Count: n})
		}
	}
	return all
}

// serial is how the devices answer, for the metrics.
func (d *Daemon) serial() []metrics.Serial {
	var all []metrics.Serial
	for _, device := range d.opts.Bus.Stats().Devices {
		one := metrics.Serial{
			Device: device.Name, Troubles: map[string]uint64{},
			Answered: device.Times.N, Took: device.Times.Sum, Under: device.Times.Under,
		}
		for kind, n := range device.Troubles {
			one.Troubles[kind.String()] = n
		}
		all = append(all, one)
	}
	return all
}

// connected is how the lines do, for the metrics.
func (d *Daemon) connected() []metrics.Line {
	var all []metrics.Line
	for _, l := range d.opts.Bus.Stats().Lines {
		all = append(all, metrics.Line{Name: l.Name, Tried: l.Open || l.Cause != "", Connected: l.Open, Lost: l.Lost})
	}
	return all
}

// lost are the lines from which nothing comes, for the bench's page.
func (d *Daemon) lost() []view.Condition { return view.LinesLost(d.opts.Bus.Stats()) }

// lines is how the serial lines do, in words. What they have to do is planned by the
// bench file, with the turn-rounds that were measured.
func (d *Daemon) lines() view.SerialLines {
	stats := d.opts.Bus.Stats()
	var plan []budget.Line
	if d.opts.Bench != nil {
		// Lines that can not be planned could not be opened either: then nothing is reckoned.
		plan, _ = budget.Of(Wiring(d.opts.Bench), d.opts.Settings.Period, view.TurnsOf(stats))
	}
	return view.SerialOf(stats, plan)
}
