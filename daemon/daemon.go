// Package daemon joins the bench to those who watch it: five times a second it
// takes what the line reported, lets control decide, tells the heaters, and
// publishes the frame. Everything that shows, stores or announces hangs off the
// frame and can neither delay nor change a heat decision.
//
// Stopping has an order: cycles end, the heaters are told zero and the port is
// let go, and only then the page closes.
package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/api"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/metrics"
	"meltwarden/daemon/notify"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/plan"
	"meltwarden/daemon/trend"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/simbench"
)

// Options are what a daemon is made from. All are required but Listener, Token,
// Phones, Hosts, Listen, History, Bench, Recalled, Notifier, Simulated and Refused.
type Options struct {
	Settings control.Settings
	Bus      *devices.Bus
	Clock    *clock.Clock
	Listener net.Listener // nil serves no page
	Log      *slog.Logger
	// Title names the recipe on the page; Run, Recipe and RecipeVersion are what
	// metrics are joined by.
	Title, Run, Recipe, RecipeVersion string
	Version                           string
	// Token lets programs on other computers in, Phones are the phones that are let in; Hosts
	// are the names they use, and Listen is the address that is served on.
	Token  string
	Phones *phone.Store
	Hosts  []string
	Listen string
	// History keeps every cycle; nil keeps none. Start is what the run is known by;
	// its settings are filled in here.
	History *history.Store
	Start   history.Start
	// Bench is the bench's file, for the pages of recipes and plans; nil leaves them without it.
	Bench *config.Bench
	// KeepCycles is for how long every cycle of a run is kept; zero is for ever.
	KeepCycles time.Duration
	// Recalled is what is known of each pot from earlier runs, by Recall; nil recalls and
	// keeps nothing of the kind.
	Recalled []Recalled
	// Notifier tells people who are not at the bench; nil tells nobody.
	Notifier *notify.Notifier
	// Simulated is the simulated bench at the other end of the line, where there
	// is one; Commissioned, that the bench's commissioning is complete and fits its
	// file. Without either no heater is ever energised.
	Simulated    *simbench.Bench
	Commissioned commission.Clearance
	// Refused is why heat can not be enabled where it is not the commissioning.
	Refused string
}

// Refused is why heat can not be enabled on a bench of real heaters.
const Refused = "Heat is refused: the commissioning of this bench is not complete. Put it on record with meltwarden commission; until then it is only watched."

// RefusedUncorrected is why heat can not be enabled where nobody knows what readings were to
// be corrected by: a melt would be as much hotter as its probe reads too low.
const RefusedUncorrected = "Heat is refused: what the readings are corrected by can not be read. See meltwarden calibrate --status; until then the bench is only watched."

// Daemon is one running bench.
type Daemon struct {
	opts     Options
	hub      frames.Hub
	trend    trend.Trend
	metrics  *metrics.Metrics
	watchdog watchdog
	commands *queue
	alarms   *alarm.List
	tally    tally
}

// New returns a daemon that is not running yet.
func New(o Options) *Daemon {
	// The one place where a heater may count as proven: by a complete record of the
	// bench as it is now, or on the bench whose time-out this program itself runs.
	o.Settings.Limits.HeatersProven = o.Commissioned.Holds() || o.Simulated != nil && o.Simulated.ProvesTimeout()
	o.Settings = withRecalled(o.Settings, o.Recalled)
	d := &Daemon{opts: o, watchdog: watchdog{clk: o.Clock}, commands: newQueue(), alarms: alarm.NewList()}
	d.metrics = metrics.New(metrics.Options{
		Latest: d.hub.Latest, Settings: o.Settings, Exchanges: d.exchanges, Serial: d.serial, Lines: d.connected, Beside: d.beside,
		Run:     metrics.Run{Name: o.Run, Recipe: o.Recipe, Version: o.RecipeVersion, Began: time.Now()},
		Cleared: cleared(o.Settings.Limits.HeatersProven, o.Commissioned),
		Version: o.Version, Now: time.Now,
	})
	return d
}

// Hub is where frames are published.
func (d *Daemon) Hub() *frames.Hub { return &d.hub }

// Submit queues what a person said for the next cycle. It does not wait, and
// refuses only marks, never "all off". No command enables heat.
func (d *Daemon) Submit(m history.Mark) error { return d.commands.put(m) }

// Run works until the context ends, or the page can no longer be served, and
// then stops in order. It returns nil after an end that was asked for.
func (d *Daemon) Run(ctx context.Context) error {
	cycling, endCycles := context.WithCancel(ctx)
	serving, endServing := context.WithCancel(context.WithoutCancel(ctx))
	defer endServing()
	var watchers sync.WaitGroup
	watchers.Go(func() { d.remember(serving) })
	watchers.Go(func() { d.log(serving) })
	watchers.Go(func() { d.supervised(serving) })
	if d.opts.Phones != nil {
		watchers.Go(func() { d.passTime(serving) })
	}
	if d.opts.History != nil && d.opts.KeepCycles > 0 {
		watchers.Go(func() { d.tidy(serving) })
	}
	if n := d.opts.Notifier; n != nil {
		watchers.Go(func() { d.tellAway(serving, n.Tell) })
		watchers.Go(func() {
			n.Run(serving, func(err error) { d.opts.Log.Error("a message could not be sent", "why", err) })
		})
	}

	served := make(chan error, 1)
	go func() {
		served <- d.serve(serving)
		endCycles() // without its page a bench is not left hot
	}()
	defer func() {
		if p := recover(); p != nil { // a bug in the cycle: first the heaters, then the truth
			d.stopHeat()
			panic(p)
		}
	}()
	keeper := d.keeper()
	cycle := d.cycle(keeper)
	keeper.bench = cycle.bench
	cycle.run(cycling)
	endCycles()
	stopped := d.stopHeat()
	kept := keeper.close() // before the watchers: a message under way may take its time
	endServing()
	watchers.Wait()
	return errors.Join(stopped, <-served, kept)
}

func (d *Daemon) serve(ctx context.Context) error {
	if d.opts.Listener == nil {
		<-ctx.Done()
		return nil
	}
	return api.Serve(ctx, d.opts.Listener, d.handler())
}

func (d *Daemon) cycle(k *keeper) *cycle {
	o := &d.opts
	return &cycle{
		period: o.Settings.Period, bus: o.Bus, clk: o.Clock,
		bench: control.NewBench(o.Settings), pots: len(o.Settings.Pots),
		commands: d.commands, publish: d.hub.Publish, observe: d.metrics.ObserveCycle, fed: d.watchdog.feed,
		keep: k.keep, failing: k.failing,
	}
}

// stopWithin bounds the farewell to the heaters; after it their own time-out
// has to do.
const stopWithin = 2 * time.Second

// stopHeat tells the heaters zero and lets the ports go.
func (d *Daemon) stopHeat() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopWithin)
	defer cancel()
	if d.opts.Bus.Close(ctx) {
		d.opts.Log.Info("heaters told zero, line closed")
		return nil
	}
	return fmt.Errorf("the heaters did not confirm zero before the end; their own communication time-out has to switch them off: check that the plates cool")
}

func (d *Daemon) handler() http.Handler {
	o := &d.opts
	refused := cmp.Or(o.Refused, Refused)
	if o.Settings.Limits.HeatersProven {
		refused = ""
	}
	var away func() error
	if o.Notifier != nil {
		away = o.Notifier.Failing
	}
	var planned func(*config.Recipe, plan.Wanted) (*plan.Plan, error)
	if o.Bench != nil {
		planned = NewPlanner(o.Bench, o.History, o.Version).Plan
	}
	return api.New(api.Options{
		Away: away, Plan: planned,
		Hub: &d.hub, Settings: o.Settings, Bench: o.Bench, Recalled: words(o.Recalled), Trend: &d.trend, Metrics: d.metrics.Handler(), Following: &d.tally.streams,
		Submit: d.Submit, Alarms: d.alarms, History: o.History, Lines: d.lines, Lost: d.lost, Health: d.watchdog.starved, Token: o.Token, Phones: o.Phones, Hosts: o.Hosts, Listen: o.Listen,
		Title: o.Title, Run: o.Run, Simulated: o.Simulated != nil, HeatRefused: refused,
	})
}

// remember keeps the session's trend.
func (d *Daemon) remember(ctx context.Context) {
	d.follow(ctx, d.trend.Add)
}

// follow hands every frame it can keep up with to do, until the context ends.
func (d *Daemon) follow(ctx context.Context, do func(*frames.Frame)) {
	published, cancel := d.hub.Subscribe()
	defer cancel()
	for {
		select {
		case f := <-published:
			do(f)
		case <-ctx.Done():
			return
		}
	}
}
