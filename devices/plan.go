package devices

import (
	"time"

	"meltwarden/devices/modbus"
)

// Exchange is a request that a line makes again and again.
type Exchange struct {
	Line, Device string
	modbus.Request
	// Every is in how many cycles it is made once, 1 or more.
	Every int
}

// Planned returns what the lines of a bench ask and tell with the given time between two
// cycles, while it is heated: that is when they have most to do. Neighbouring registers
// are in one request. The error says what is wrong with the configuration.
func Planned(cfg Config, period time.Duration) ([]Exchange, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	cfg = cfg.withReadBack()
	seldom := int((signalsEvery + period - 1) / period)
	var all []Exchange
	for _, dc := range cfg.Devices {
		d := newDevice(dc, cfg)
		plan := func(every int, r modbus.Request) {
			r.Unit = d.Unit
			all = append(all, Exchange{dc.Line, dc.Name, r, every})
		}
		writes, err := newWrites(d, d.channels, cfg.Pots)
		if err != nil {
			return nil, err
		}
		for _, w := range writes {
			every := 1
			switch w.urgency {
			case signalsLast:
				every = max(1, seldom)
			case setpointThen:
				every = max(1, int(targetAgain/period))
			}
			plan(every, w.request(nothing))
		}
		for m := newMemory(writes); m.next < len(m.plan.Spans); m.next++ {
			plan(1, m.request())
		}
		for span := range d.plan.Spans {
			plan(1, d.request(span))
		}
	}
	return all, nil
}
