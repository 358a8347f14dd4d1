package daemon

import (
	"context"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
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
	keep     func(Happening) // for history; does not wait
	failing  func() bool     // history can not be written
	buttons  buttons
	lids     []devices.Lid // as they are now

	wall  time.Time     // at the last cycle
	plain time.Duration // bench time then
}

// run goes on until the context ends.
func (c *cycle) run(ctx context.Context) {
	in := control.Input{Pots: make([]control.PotReadings, c.pots)}
	var marks []history.Mark
	due := c.clk.Now()
	last := due
	first := true
	for ctx.Err() == nil {
		began := c.clk.Now()
		snapshot := c.bus.Poll(ctx, time.Duration(pollShare*float64(c.period)))
		c.clk.KeptUp(snapshot.Whole && c.clk.Now() < began+c.period)
		now := c.clk.Now().Round(time.Millisecond) // as history keeps it, so that rounding adds up to nothing
		snapshot.Fill(&in, now)
		c.lids = snapshot.AppendLids(nil, now) // a frame keeps them
		c.buttons.see(snapshot, now, now-last, c.commands.put)
		marks = c.commands.drain(marks[:0])
		in.Commands = commands(in.Commands[:0], marks)
		in.HistoryFailing = c.failing()
		if in.Elapsed = now - last; first {
			in.Elapsed, first = 0, false
		}
		last = now
		in.Elapsed += c.asleep()
		in.Round()
		c.decide(&in, marks, now)
		c.observe(c.clk.Now()-began, began-due)
		due = c.next(due)
		c.clk.Sleep(ctx, due-c.clk.Now())
	}
}

// sleepMatters is how much further the wall's clock may have gone than ours before
// it counts as sleep.
const sleepMatters = 1500 * time.Millisecond

// asleep is how long the computer slept since the last cycle: monotonic time
// stands still then, and the wall's does not. Taken for a missed cycle, it trips,
// so that nobody's bench heats on after a night's sleep; that a wall clock which
// was set forward does the same is the price.
func (c *cycle) asleep() time.Duration {
	wall, plain := time.Now().Round(0), c.clk.Now()
	slept := wall.Sub(c.wall) - c.clk.Real(plain-c.plain)
	first := c.wall.IsZero()
	c.wall, c.plain = wall, plain
	if first || c.clk.Speed() > 1 || slept < sleepMatters {
		return 0
	}
	return slept
}

// decide makes one cycle's decisions and lets them out: to the heaters first.
func (c *cycle) decide(in *control.Input, marks []history.Mark, now time.Duration) {
	frame := &frames.Frame{Lids: c.lids}
	c.bench.Step(in, &frame.Frame)
	c.bus.ApplyAt(frame.Outputs, now)
	frame.At = time.Now()
	c.fed()
	c.publish(frame)
	c.keep(Happening{At: frame.At, Input: in, Frame: &frame.Frame, Marks: marks, Lids: c.lids})
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
