package devices

import (
	"context"
	"fmt"
	"time"

	"meltwarden/control/reading"
	"meltwarden/devices/clock"
	"meltwarden/devices/registers"
)

// Finding is what one channel said when it was asked once.
type Finding struct {
	Role   registers.Role `json:"role"`
	Pot    string         `json:"pot,omitempty"`
	Device string         `json:"device"`
	// Value is the reading in words, or what is wrong with it.
	Value string `json:"value"`
	Good  bool   `json:"good"`
}

// String is the finding on one line.
func (f Finding) String() string {
	mark := "ok  "
	if !f.Good {
		mark = "BAD "
	}
	return fmt.Sprintf("%s %-14s %-10s %-14s %s", mark, f.Role, f.Pot, f.Device, f.Value)
}

// readOnceWithin is how long ReadOnce waits for all answers, in bench time.
const readOnceWithin = 5 * time.Second

// ReadOnce opens the lines, reads every channel that is read, once, and closes
// again. Nothing but zeros is ever written. The error is about the configuration
// or a port that does not open.
func ReadOnce(ctx context.Context, cfg Config, open Opener, clk *clock.Clock) ([]Finding, error) {
	for _, l := range cfg.Lines { // first, because a bus would go on trying
		port, err := open(l)
		if err != nil {
			return nil, fmt.Errorf("line %s: %w", l.Name, err)
		}
		if err := port.Close(); err != nil {
			return nil, fmt.Errorf("line %s: %w", l.Name, err)
		}
	}
	b, err := Open(cfg, open, clk)
	if err != nil {
		return nil, err
	}
	defer b.Close(ctx)
	var s Snapshot
	for deadline := clk.Now() + readOnceWithin; clk.Now() < deadline && ctx.Err() == nil && !s.complete(); {
		s = b.Poll(ctx, deadline-clk.Now())
		clk.Sleep(ctx, OutputsLast/10)
	}
	return s.findings(), ctx.Err()
}

// complete reports whether something came from every channel.
func (s Snapshot) complete() bool {
	for i, c := range s.channels {
		if c.Role.Read() && !s.values[i].came {
			return false
		}
	}
	return len(s.channels) > 0
}

func (s Snapshot) findings() []Finding {
	var all []Finding
	for i, c := range s.channels {
		if !c.Role.Read() {
			continue
		}
		text, good := s.values[i].words(c)
		all = append(all, Finding{Role: c.Role, Pot: c.Pot, Device: c.Device, Value: text, Good: good})
	}
	return all
}

// words says what a value is.
func (v value) words(c registers.Channel) (text string, good bool) {
	fault := v.temperature.Fault
	if c.Type == registers.Bit {
		fault = v.contact.Fault
	}
	switch {
	case !v.came:
		return "no answer", false
	case fault != reading.None:
		return fault.String(), false
	case c.Type != registers.Bit:
		return fmt.Sprintf("%.1f °C", v.temperature.C), true
	case v.contact.Closed:
		return "closed", true
	}
	return "open", true
}
