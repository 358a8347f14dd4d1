package devices

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync/atomic"
	"time"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
)

const (
	// zeroEvery is how often a line repeats its zeros while nobody renews outputs.
	zeroEvery = 500 * time.Millisecond
	// firstRetry and lastRetry bound the pause before a port is opened again; it
	// doubles each time in between.
	firstRetry = 250 * time.Millisecond
	lastRetry  = 2 * time.Second
	// mostUnreleased is how many given-up ports may still be closing. More come
	// only of a system that never lets go, and would use it up.
	mostUnreleased = 4
	// idle is how long a line with nothing to do sleeps at most.
	idle = time.Hour
)

// line is one serial line. All fields below the second gap are its owner's alone.
type line struct {
	cfg   LineConfig
	open  Opener
	clk   *clock.Clock
	table *table

	stop   <-chan struct{}
	asks   chan chan<- struct{} // holds the latest Poll
	fresh  atomic.Pointer[outputs]
	kick   chan struct{} // holds one wake-up after fresh outputs
	status atomic.Pointer[LineStatus]
	zeroed atomic.Bool                   // at the end: every device confirmed its zeros
	heard  atomic.Pointer[time.Duration] // since when all heaters have confirmed; nil: not yet
	broken atomic.Uint32                 // whether a device has forgotten what it was told: intact, forgot or told
	done   chan struct{}

	devices []*device
	writes  []*write // the most urgent first

	client     *modbus.Client
	unreleased []<-chan struct{}
	retryAt    time.Duration
	retry      time.Duration

	live    *outputs
	renewAt time.Duration // when live outputs end, or zeros are repeated
	round   chan<- struct{}
	probed  bool // a dead device was tried in this round
	hush    hush

	justTold bool // the last step told a device off without asking
	timer    *time.Timer
}

// nothing is what a line writes when nobody tells it anything: zeros.
var nothing = &outputs{}

func newLine(lc LineConfig, cfg Config, t *table, open Opener, clk *clock.Clock, stop <-chan struct{}) (*line, error) {
	l := &line{
		cfg: lc, open: open, clk: clk, table: t, stop: stop,
		asks: make(chan chan<- struct{}, 1), kick: make(chan struct{}, 1), done: make(chan struct{}),
		retry: firstRetry, live: nothing,
	}
	for _, dc := range cfg.Devices {
		if dc.Line != lc.Name {
			continue
		}
		d := newDevice(dc, cfg)
		d.clock = clk.Now
		writes, err := newWrites(d, d.channels, cfg.Pots)
		if err != nil {
			return nil, err
		}
		d.memory = newMemory(writes)
		l.devices = append(l.devices, d)
		l.writes = append(l.writes, writes...)
	}
	slices.SortStableFunc(l.writes, func(a, b *write) int { return int(a.urgency) - int(b.urgency) })
	l.status.Store(&LineStatus{Name: lc.Name, Zeros: len(l.writes) > 0, Since: clk.Now(), At: time.Now()})
	return l, nil
}

// ask hands a Poll to the owner, in the place of one it has not begun.
func (l *line) ask(delivered chan<- struct{}) {
	select {
	case <-l.asks:
	default:
	}
	l.asks <- delivered
}

// apply hands outputs to the owner.
func (l *line) apply(o *outputs) {
	l.fresh.Store(o)
	select {
	case l.kick <- struct{}{}:
	default:
	}
}

// run is the owner.
func (l *line) run() {
	defer close(l.done)
	l.timer = time.NewTimer(0)
	defer l.timer.Stop()
	for !l.stopping() {
		if l.client == nil {
			l.reopen()
		} else {
			l.step()
		}
	}
	l.shutDown()
}

func (l *line) stopping() bool {
	select {
	case <-l.stop:
		return true
	default:
		return false
	}
}

// step does the most urgent thing there is to do, or waits.
func (l *line) step() {
	l.renew()
	silent := l.hush.now(l.clk.Now(), l.offConfirmed)
	if l.status.Load().Silent != silent {
		l.change(func(s *LineStatus) { s.Silent = silent })
	}
	if silent {
		l.listen(l.hush.until)
		return
	}
	// By turns: where telling takes long, the line must still ask, or a device that is
	// back would never be heard again.
	if w := l.nextOff(); w != nil && !l.justTold {
		l.justTold = true
		l.tell(w)
		return
	}
	l.justTold = false
	if w := l.nextWrite(); w != nil {
		if m := &w.device.memory; w.heats(l.live) && len(m.held) > 0 && !m.sure && !m.excused {
			l.readBack(w.device)
		} else {
			l.put(w)
		}
		return
	}
	if d := l.nextUnread(); d != nil {
		l.readBack(d)
		return
	}
	if l.round != nil && !l.readNext() {
		l.finishRound()
		return
	}
	if l.round == nil {
		l.wait(l.due())
	}
}

// renew takes fresh outputs over, or zeros when they have not come in time.
func (l *line) renew() {
	now := l.clk.Now()
	if o := l.fresh.Swap(nil); o != nil && now-o.at <= OutputsLast {
		l.setOutputs(l.allowed(o), o.at+OutputsLast)
	} else if now >= l.renewAt {
		l.setOutputs(nothing, now+zeroEvery)
	}
}

func (l *line) setOutputs(o *outputs, until time.Duration) {
	l.live, l.renewAt = o, until
	now, allOff := l.clk.Now(), l.allOff(o)
	l.hush.wants(l.heats() && allOff, now)
	l.probed = false
	for _, w := range l.writes {
		w.pending = w.due(o, now)
	}
	for _, d := range l.devices {
		d.memory.forOutputs(allOff)
	}
	l.change(func(s *LineStatus) { s.Zeros = o == nothing && len(l.writes) > 0 })
}

// offConfirmed reports whether every device has confirmed, since a time, that its
// heaters and contactors are off. No silence makes a controller let go.
func (l *line) offConfirmed(since time.Duration) bool {
	return !slices.ContainsFunc(l.writes, func(w *write) bool {
		return w.urgency < setpointThen && !(w.heard && w.confirmed >= since)
	})
}

// allOff reports whether outputs leave every heater and contactor of the line off.
func (l *line) allOff(o *outputs) bool {
	return !slices.ContainsFunc(l.writes, func(w *write) bool { return w.heats(o) })
}

// listen waits until a time, fresh outputs or the end, and says nothing meanwhile.
func (l *line) listen(until time.Duration) {
	l.timer.Reset(max(1, l.clk.Real(until-l.clk.Now())))
	select {
	case <-l.stop:
	case <-l.kick:
	case <-l.timer.C:
	}
}

// nextWrite returns the most urgent write that can be made now. One that its
// device never answers can not stand before the others for ever: its shape is
// barred in between.
func (l *line) nextWrite() *write {
	now := l.clk.Now()
	for _, w := range l.writes {
		if w.pending && l.mayAsk(w.device, w.request(l.live), now) {
			return w
		}
	}
	return nil
}

// nextOff returns a write of "off" that can not be asked about now, because its
// device does not answer: "off" does not wait for that.
func (l *line) nextOff() *write {
	now := l.clk.Now()
	for _, w := range l.writes {
		if !w.pending || !w.off(l.live) || w.told > 0 && now-w.told < w.again() {
			continue
		}
		if r := w.request(l.live); !l.mayAsk(w.device, r, now) || l.client.Barred(&w.device.Device, r) {
			return w
		}
	}
	return nil
}

// tell sends a write without asking whether it was heard.
func (l *line) tell(w *write) {
	w.pending = false
	w.told = l.clk.Now()
	w.sent(l.live)
	if err := l.client.Tell(&w.device.Device, w.request(l.live)); err != nil {
		l.drop(err)
	}
}

// mayAsk reports whether a device may be asked now: not while it is left alone,
// not while a late reply could pass for the answer, and only one dead device in a
// round, so that several do not add up.
func (l *line) mayAsk(d *device, r modbus.Request, now time.Duration) bool {
	if d.dead() && (l.probed || now < d.rests) {
		return false
	}
	return now >= l.client.ReadyAt(&d.Device, r)
}

// put makes one write, and reports whether the device confirmed it. A failed one
// is tried again with the next outputs.
func (l *line) put(w *write) bool {
	w.pending = false
	w.tried = l.clk.Now()
	w.sent(l.live)
	_, err := l.exchange(w.device, w.request(l.live))
	if err == nil {
		w.taken(l.live, w.tried)
		l.noteHeard()
	}
	return err == nil
}

// heats reports whether the line has outputs on which heat depends.
func (l *line) heats() bool {
	return slices.ContainsFunc(l.writes, func(w *write) bool { return w.urgency < signalsLast })
}

// noteHeard publishes the oldest of the last confirmations of what heats.
func (l *line) noteHeard() {
	oldest := time.Duration(math.MaxInt64)
	for _, w := range l.writes {
		if w.urgency == signalsLast {
			continue
		}
		if !w.heard {
			return
		}
		oldest = min(oldest, w.confirmed)
	}
	l.heard.Store(&oldest)
}

// readNext makes the next read of the round, and reports whether there was one.
func (l *line) readNext() bool {
	for _, d := range l.devices {
		for d.asked < len(d.results) && !d.gaveUp {
			span := d.asked
			d.asked++
			at := l.clk.Now()
			if r := d.request(span); l.mayAsk(d, r, at) {
				data, err := l.exchange(d, r)
				d.receive(span, at, data, modbus.OutcomeOf(err))
				l.deliverIfWhole(d)
				return true
			}
		}
	}
	return false
}

// deliverIfWhole puts a device's readings into the table as soon as its round is
// over, so that they do not wait for other devices.
func (l *line) deliverIfWhole(d *device) {
	if d.gaveUp || d.asked == len(d.results) {
		d.deliver(l.table)
		l.noteTargets(d)
	}
}

// finishRound tells Poll that its readings are there.
func (l *line) finishRound() {
	l.round <- struct{}{} // has room for every line
	l.round = nil
}

// beginRound starts the reads of a Poll.
func (l *line) beginRound(delivered chan<- struct{}) {
	l.round, l.probed = delivered, false
	for _, d := range l.devices {
		d.begin()
	}
}

// exchange makes a request and draws the conclusions from how it went.
func (l *line) exchange(d *device, r modbus.Request) ([]byte, error) {
	l.probed = l.probed || d.dead()
	data, err := l.client.Exchange(&d.Device, r)
	outcome := modbus.OutcomeOf(err)
	now := l.clk.Now()
	d.note(outcome, now)
	d.memory.sure = d.memory.sure && err == nil
	switch outcome {
	case modbus.OK, modbus.Refused:
		l.retry = firstRetry
	case modbus.PortLost:
		l.drop(err)
	}
	return data, err
}

// due returns when there is something to do without being asked.
func (l *line) due() time.Duration {
	if len(l.writes) == 0 {
		return l.clk.Now() + idle
	}
	due := l.renewAt
	for _, w := range l.writes {
		if !w.pending {
			continue
		}
		at := l.client.ReadyAt(&w.device.Device, w.request(l.live))
		if w.device.dead() {
			at = max(at, w.device.rests)
		}
		if at > l.clk.Now() {
			due = min(due, at)
		}
	}
	return due
}

// wait waits until a time, fresh outputs, a Poll or the end.
func (l *line) wait(until time.Duration) {
	// Never round down to no wait at all: in virtual time nothing would pass.
	l.timer.Reset(max(1, l.clk.Real(until-l.clk.Now())))
	select {
	case <-l.stop:
	case <-l.kick:
	case delivered := <-l.asks:
		l.beginRound(delivered)
	case <-l.timer.C:
	}
}

// drop gives the port up. Closing it may take long, and is not waited for.
func (l *line) drop(err error) {
	l.unreleased = append(l.unreleased, l.client.Close())
	l.client = nil
	l.broken.Store(forgot) // an adapter that is plugged in again is no press of a button
	l.pause(&Trouble{Cause: Pulled, What: l.status.Load().place(l.cfg), Err: err})
}

// pause notes what went wrong and puts the next opening off.
func (l *line) pause(err error) {
	now := l.clk.Now()
	l.retryAt = now + l.retry
	l.retry = min(2*l.retry, lastRetry)
	trouble, known := errors.AsType[*Trouble](err)
	if !known {
		trouble = &Trouble{Cause: Unclear, What: l.cfg.Where(), Err: err}
	}
	l.change(func(s *LineStatus) {
		if s.Open {
			s.Open, s.Since, s.At, s.Lost = false, now, time.Now(), s.Lost+1
		}
		s.LastError, s.Cause, s.What = err.Error(), trouble.Cause, trouble.What
	})
}

// reopen opens the port when it is time. Until it is open, a Poll is answered
// with nothing new, and what came before is old news.
func (l *line) reopen() {
	for _, d := range l.devices {
		d.unreachable(l.table)
	}
	if l.round != nil {
		l.finishRound()
		return
	}
	if l.clk.Now() < l.retryAt {
		l.wait(l.retryAt)
		return
	}
	if err := l.checkReleased(); err != nil {
		l.pause(err)
		return
	}
	port, err := l.open(l.cfg)
	if err != nil {
		l.pause(err)
		return
	}
	l.begin(port)
}

// checkReleased counts the given-up ports that are still closing.
func (l *line) checkReleased() error {
	l.unreleased = slices.DeleteFunc(l.unreleased, func(released <-chan struct{}) bool {
		select {
		case <-released:
			return true
		default:
			return false
		}
	})
	if len(l.unreleased) >= mostUnreleased {
		return fmt.Errorf("the last %d openings of %s have not come back from a write or from closing", len(l.unreleased), l.cfg.Where())
	}
	return nil
}

// begin starts with an open port: with zeros, until there are outputs younger
// than the opening.
func (l *line) begin(port modbus.Port) {
	now := l.clk.Now()
	l.client = modbus.NewClient(port, l.cfg.Baud, l.clk)
	l.client.Characters(l.cfg.Baud, l.cfg.CharacterBits())
	for _, d := range l.devices {
		d.memory.asked = false
	}
	l.fresh.Store(nil)
	l.setOutputs(nothing, now+zeroEvery)
	l.change(func(s *LineStatus) {
		s.Open, s.Since, s.At, s.Opened = true, now, time.Now(), s.Opened+1
		s.Cause, s.What = "", ""
		if p, is := port.(Placed); is {
			s.Port, s.Adapter = p.Place()
		}
	})
}

// shutDown writes zeros until each is confirmed, within bounds, and closes the
// port.
func (l *line) shutDown() {
	l.live = nothing
	for _, w := range l.writes {
		w.pending = w.urgency != setpointThen || !w.unread() && w.lacks(nothing)
	}
	for l.client != nil {
		w := l.nextOff()
		if w == nil {
			break
		}
		l.tell(w)
	}
	for _, w := range l.writes {
		w.pending, w.tries = true, 0 // each still has to be confirmed, and a controller to be read
	}
	deadline := l.clk.Now() + closeWithin
	for l.pendingZeros() && l.client != nil && l.clk.Now() < deadline {
		l.putZeros()
	}
	l.zeroed.Store(!l.pendingZeros())
	if l.client != nil {
		l.unreleased = append(l.unreleased, l.client.Close())
	}
	for _, released := range l.unreleased {
		<-released
	}
}

func (l *line) pendingZeros() bool {
	return slices.ContainsFunc(l.writes, func(w *write) bool { return w.pending })
}

// putZeros tries every write that is not confirmed once.
func (l *line) putZeros() {
	for _, w := range l.writes {
		switch {
		case !w.pending || l.client == nil:
		case w.urgency == setpointThen:
			w.pending = !l.rested(w)
		default:
			w.pending = !l.put(w)
		}
	}
}
