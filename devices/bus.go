// Package devices is the bench's I/O edge: it asks every device for its readings
// and tells every device its outputs, over serial lines, and decides nothing
// about heat.
//
// Each line has one owner, a goroutine that alone uses its port; so a port that
// blocks, a device that is silent or an adapter that was unplugged can hold up
// its own line only, and neither Poll nor Apply. Outputs go out before readings
// are asked for. Outputs that nobody renews are replaced by zeros within
// OutputsLast and one exchange; "off" does not wait for a device that does not
// answer; and a port that was opened again begins with zeros. A device is told to
// heat only after it has said that it still holds what it was told before: one that
// has lost its supply, however shortly, is told zero, and the link is open.
package devices

import (
	"context"
	"sync"
	"time"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
)

const (
	// OutputsLast is how long outputs count, in bench time. Then their line writes
	// zeros by itself until there are new ones.
	OutputsLast = time.Second
	// closeWithin is how long Close tries to write zeros, in bench time.
	closeWithin = time.Second
	// releaseWithin is how long Close then waits for the ports to close.
	releaseWithin = 500 * time.Millisecond
)

// Opener opens a line's port. It may block.
type Opener func(LineConfig) (modbus.Port, error)

// Bus is all lines of a bench.
type Bus struct {
	clk     *clock.Clock
	pots    []string
	table   *table
	lines   []*line
	stop    chan struct{}
	stopped sync.Once

	mu sync.Mutex
}

// Open starts an owner for each line, which opens its port as soon as that works;
// until then the line's readings are missing. The error says what is wrong with
// the configuration.
func Open(cfg Config, opener func(LineConfig) (modbus.Port, error), clk *clock.Clock) (*Bus, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	cfg = cfg.withReadBack()
	b := &Bus{clk: clk, pots: cfg.Pots, table: newTable(cfg.Channels), stop: make(chan struct{})}
	for _, lc := range cfg.Lines {
		l, err := newLine(lc, cfg, b.table, opener, clk, b.stop)
		if err != nil {
			return nil, err
		}
		b.lines = append(b.lines, l)
	}
	for _, l := range b.lines {
		go l.run()
	}
	return b, nil
}

// Poll asks for every reading and returns what is known when all lines have
// delivered, the wait in bench time is over, or the context has ended. What comes
// later is in the next snapshot. One Poll at a time.
func (b *Bus) Poll(ctx context.Context, wait time.Duration) Snapshot {
	delivered := make(chan struct{}, len(b.lines))
	for _, l := range b.lines {
		l.ask(delivered)
	}
	over := time.NewTimer(b.clk.Real(wait))
	defer over.Stop()
	whole := true
	for waiting := len(b.lines); waiting > 0; waiting-- {
		select {
		case <-delivered:
			continue
		case <-over.C:
		case <-ctx.Done():
		case <-b.stop:
		}
		whole = false
		break
	}
	return Snapshot{
		Whole: whole,
		pots:  b.pots, channels: b.table.channels, values: b.table.copy(), link: b.link()}
}

// link is since when every heater and contactor has confirmed what it was told, and
// whether each of them has kept it, and no line was lost meanwhile. That one has not, or
// was, is remembered as told.
func (b *Bus) link() value {
	link := value{contact: reading.Contact{Closed: true, Fault: reading.None}}
	for _, l := range b.lines {
		if !l.heats() {
			continue
		}
		heard := l.heard.Load()
		if heard == nil {
			return value{}
		}
		if !link.came || *heard < link.taken {
			link.came, link.taken = true, *heard
		}
	}
	for _, l := range b.lines {
		if l.broken.CompareAndSwap(forgot, told) || l.broken.Load() == told {
			link.contact.Closed = false
		}
	}
	return link
}

// Apply hands outputs to the lines, which write them at once: heaters first. It
// does not block, and the latest outputs win. A duty that is not a number from 0
// to 1 is written as 0, and so is one below 1 to heaters that can only be switched: who
// tells them has said when they are on.
func (b *Bus) Apply(o control.Outputs) { b.ApplyAt(o, b.clk.Now()) }

// ApplyAt is Apply for outputs that rest on readings of an earlier bench time: from
// then on their OutputsLast counts, so that a program that was halted between
// reading and writing does not heat by what it saw before.
func (b *Bus) ApplyAt(o control.Outputs, at time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	out := &outputs{
		duty: append([]float64(nil), o.Duty...), setpointC: append([]float64(nil), o.SetpointC...),
		contactor: o.Contactor, lamp: o.Lamp, buzzer: o.Buzzer,
		at: at,
	}
	for _, l := range b.lines {
		if !l.heats() { // nothing on it is to be kept off, and it may stay away
			l.broken.CompareAndSwap(told, intact)
		}
		l.apply(out)
	}
}

// Close writes zeros and opens the contactor, then closes the ports. It returns
// when that is done, the context has ended, or after 1.5 s of bench time, and
// reports whether every device confirmed its zeros.
func (b *Bus) Close(ctx context.Context) bool {
	b.stopped.Do(func() { close(b.stop) })
	over := time.NewTimer(b.clk.Real(closeWithin + releaseWithin))
	defer over.Stop()
	for _, l := range b.lines {
		select {
		case <-l.done:
			continue
		case <-over.C:
		case <-ctx.Done():
		}
		break
	}
	confirmed := true
	for _, l := range b.lines {
		confirmed = confirmed && l.zeroed.Load()
	}
	return confirmed
}
