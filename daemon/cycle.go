package daemon

import (
	"context"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/devices"
	"meltwarden/devices/clock"
)

// pollShare is the part of a period that the line may take to answer. What has
// not come by then is used as old as it is.
const pollShare = 0.6

// cycle reads, decides, acts and publishes, once a period.
type cycle struct {
	period   time.Duration
	bus      *devices.Bus
	clk      *clock.Clock
	bench    *control.Bench
	pots     int
	commands *queue
	publish  func(*frames.Frame)
	observe  func(took, late time.Duration)
	fed      func()
	keep     func(time.Time, *control.Input, *control.Frame) // for history; does not wait
	failing  func() bool                                     // history can not be written
}

// run goes on until the context ends.
func (c *cycle) run(ctx context.Context) {
	in := control.Input{Pots: make([]control.PotReadings, c.pots)}
	due := c.clk.Now()
	last := due
	first := true
	for ctx.Err() == nil {
		began := c.clk.Now()
		snapshot := c.bus.Poll(ctx, time.Duration(pollShare*float64(c.period)))
		c.clk.KeptUp(snapshot.Whole && c.clk.Now() < began+c.period)
		now := c.clk.Now().Round(time.Millisecond) // as history keeps it, so that rounding adds up to nothing
		snapshot.Fill(&in, now)
		in.Commands = c.commands.drain(in.Commands[:0])
		in.HistoryFailing = c.failing()
		if in.Elapsed = now - last; first {
			in.Elapsed, first = 0, false
		}
		last = now
		in.Round()
		c.decide(&in)
		c.observe(c.clk.Now()-began, began-due)
		due = c.next(due)
		c.clk.Sleep(ctx, due-c.clk.Now())
	}
}

// decide makes one cycle's decisions and lets them out: to the heaters first.
func (c *cycle) decide(in *control.Input) {
	frame := &frames.Frame{}
	c.bench.Step(in, &frame.Frame)
	c.bus.Apply(frame.Outputs)
	frame.At = time.Now()
	c.fed()
	c.publish(frame)
	c.keep(frame.At, in, &frame.Frame)
}

// next is when the next cycle is due. Cycles that were missed are not made up
// for: the bench needs the present, not the past.
func (c *cycle) next(due time.Duration) time.Duration {
	due += c.period
	if now := c.clk.Now(); now > due {
		due += (now - due) / c.period * c.period
	}
	return due
}
