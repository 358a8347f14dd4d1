package devices

import (
	"context"
	"fmt"
	"time"

	"meltwarden/control/reading"
	"meltwarden/devices/clock"
	"meltwarden/devices/registers"
)

// Finding is what one channel said when it was asked once, or told zero.
type Finding struct {
	Role   registers.Role `json:"role"`
	Pot    string         `json:"pot,omitempty"`
	Device string         `json:"device"`
	// Value is the reading or the confirmation in words, or what is wrong with it.
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

// tryWithin is how long Try waits for all answers, in bench time.
const tryWithin = 5 * time.Second

// Try opens the lines, reads every channel that is read, once, writes zero to
// every one that is written, and closes again. Nothing but zeros is ever written, and rest
// to controllers that say that they have something else.
// It also returns how the devices answered meanwhile.
// The error is about the configuration or a port that does not open.
func Try(ctx context.Context, cfg Config, open Opener, clk *clock.Clock) ([]Finding, Stats, error) {
	if err := TryPorts(cfg.Lines, open); err != nil {
		return nil, Stats{}, err
	}
	b, err := Open(cfg, open, clk)
	if err != nil {
		return nil, Stats{}, err
	}
	read := b.readOnce(ctx)
	b.Close(ctx)
	b.awaitOwners(ctx)
	return append(read.findings(), b.zeros()...), b.Stats(), ctx.Err()
}

// TryPorts opens each port by itself and closes it again, because a bus would go on trying.
// The error names the line.
func TryPorts(lines []LineConfig, open Opener) error {
	for _, l := range lines {
		port, err := open(l)
		if err == nil {
			err = port.Close()
		}
		if err != nil {
			return fmt.Errorf("line %s: %w", l.Name, err)
		}
	}
	return nil
}

// readOnce polls until something came from every channel, or for tryWithin.
func (b *Bus) readOnce(ctx context.Context) Snapshot {
	var s Snapshot
	for deadline := b.clk.Now() + tryWithin; b.clk.Now() < deadline && ctx.Err() == nil && !s.complete(); {
		s = b.Poll(ctx, deadline-b.clk.Now())
		b.clk.Sleep(ctx, OutputsLast/10)
	}
	return s
}

// awaitOwners waits until every owner has ended, or for tryWithin. Those of lines
// with a silent device outlast Close.
func (b *Bus) awaitOwners(ctx context.Context) {
	over := time.NewTimer(b.clk.Real(tryWithin))
	defer over.Stop()
	for _, l := range b.lines {
		select {
		case <-l.done:
		case <-over.C:
			return
		case <-ctx.Done():
			return
		}
	}
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

// Findings are what was read of every channel that is. A value that is older than outputs
// count is none: its device has stopped to answer.
func (s Snapshot) Findings(now time.Duration) []Finding {
	all := s.findings()
	n := 0
	for i, c := range s.channels {
		if !c.Role.Read() {
			continue
		}
		if age := now - s.values[i].taken; s.values[i].came && age > OutputsLast {
			all[n].Value, all[n].Good = fmt.Sprintf("no answer for %.0f s", age.Seconds()), false
		}
		n++
	}
	return all
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

// zeros tells of every output of a closed bus whether its device has confirmed
// zero: a device that only listens would otherwise never be heard of.
func (b *Bus) zeros() []Finding {
	var all []Finding
	for _, l := range b.lines {
		for _, w := range l.writes {
			text, good := l.zero(w)
			for i := range w.outputs {
				c := &w.outputs[i].Channel // not its state, which is the owner's while that goes on
				all = append(all, Finding{Role: c.Role, Pot: c.Pot, Device: c.Device, Value: text, Good: good})
			}
		}
	}
	return all
}

// zero says whether a write's device has confirmed zero, and for what heats whether it
// says so when it is asked.
func (l *line) zero(w *write) (text string, good bool) {
	if !l.ended() || w.pending {
		return map[bool]string{false: "zero", true: "rest"}[w.urgency == setpointThen] + " is not confirmed", false
	}
	if w.urgency == setpointThen {
		return "rest is confirmed", true
	}
	m := &w.device.memory
	if w.urgency == signalsLast || m.trouble == "" {
		return "zero is confirmed", true
	}
	return "zero is confirmed, but " + m.trouble, m.excused
}

// ended reports whether the owner has gone, and what was its alone can be read.
func (l *line) ended() bool {
	select {
	case <-l.done:
		return true
	default:
		return false
	}
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
