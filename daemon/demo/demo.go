// Package demo is the whole of Meltwarden on one computer: a simulated bench
// behind a pseudo-terminal, and the daemon on the other side of it, which knows
// of the bench only what the line says. The scenario is invented: an eel-shaped
// bait in slate, ivory and rust.
package demo

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/phone"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/simbench"
)

// Options are what a demo may be told.
type Options struct {
	// Bench is config.DemoBench, under the environment and the flags.
	Bench *config.Bench
	// Speed is how many times faster than the wall's the bench's time runs, from 1.
	Speed float64
	// Seed is which of the invented benches, Evening which evening on it, from zero.
	Seed, Evening uint64
	// Listener is where the page is served; nil serves none.
	Listener net.Listener
	Log      *slog.Logger
	// Recipe is what is made; nil is config.DemoRecipe.
	Recipe *config.Recipe
	// History keeps every cycle; nil keeps none.
	History *history.Store
	// InMemory puts a pipe between bench and daemon instead of a pseudo-terminal.
	InMemory bool
	// NoMaker leaves the bench without a person: nobody presses, stirs or looks.
	NoMaker bool
	Version string
	// Phones are the phones that are let in; nil lets none in.
	Phones *phone.Store
}

// Demo is a simulated bench with its daemon.
type Demo struct {
	Bench    *simbench.Bench
	Daemon   *daemon.Daemon
	Settings control.Settings
	Title    string
	// Recalled is what is known of the pots from earlier runs; nil without a history.
	Recalled []daemon.Recalled
	// Port is where the daemon finds the bench.
	Port string

	line  line
	judge *judge
	hand  *hand // nil without a maker
}

// line is the wire between bench and daemon, seen from the bench.
type line interface {
	simbench.Port
	Close() error
}

// New builds a demo that does not run yet.
func New(o Options) (*Demo, error) {
	recipe := o.Recipe
	if recipe == nil {
		recipe = config.DemoRecipe()
	}
	settings, err := config.Settings(o.Bench, recipe)
	if err != nil {
		return nil, err
	}
	clk := clock.New(o.Speed)
	d := &Demo{Settings: settings, Title: recipe.Name}
	if d.Bench, err = newBench(settings, o, clk); err != nil {
		return nil, err
	}
	connect := d.connectTerminal
	if o.InMemory {
		connect = d.connectPipe
	}
	opener, err := connect()
	if err != nil {
		return nil, err
	}
	bus, err := devices.Open(wiring(o), opener, clk)
	if err != nil {
		return nil, errors.Join(err, d.line.Close())
	}
	start := daemon.StartOf(o.Bench, recipe, o.Version)
	start.Invented = true
	hosts, listen := served(o)
	if o.History != nil {
		if d.Recalled, err = daemon.Recall(o.History, o.Bench, settings, start); err != nil {
			o.Log.Error("not all that is known of the pots could be read", "why", err)
		}
	}
	d.Daemon = daemon.New(daemon.Options{
		Settings: settings, Bus: bus, Clock: clk, Listener: o.Listener, Log: o.Log, Version: o.Version,
		Title: recipe.Name, Run: "demo", Recipe: recipe.Name, RecipeVersion: recipe.Fingerprint(),
		Simulated: d.Bench, History: o.History, Start: start, Bench: o.Bench, Recalled: d.Recalled,
		Token: o.Bench.Daemon.Token, Phones: o.Phones, Hosts: hosts, Listen: listen,
	})
	d.judge = newJudge(d.Bench, settings)
	d.Bench.ReportTo(maker{d.Daemon})
	if !o.NoMaker {
		d.hand = newHand(d)
	}
	return d, nil
}

// served is where the page is reached, where there is one.
func served(o Options) (hosts []string, listen string) {
	if o.Listener == nil {
		return nil, ""
	}
	return daemon.Hosts(o.Bench.Daemon.Listen), daemon.Served(o.Bench.Daemon.Listen, o.Listener)
}

// fastTimeout is the time-out of the devices above ×1: a twentieth of it is what a
// computer may really take to answer itself at ×20.
const fastTimeout = 800 * time.Millisecond

// wiring is the bench's, more patient where time runs fast.
func wiring(o Options) devices.Config {
	c := daemon.Wiring(o.Bench)
	for i := range c.Devices {
		if o.Speed > 1 {
			c.Devices[i].Timeout = fastTimeout
		}
	}
	return c
}

func newBench(s control.Settings, o Options, clk *clock.Clock) (*simbench.Bench, error) {
	c := simbench.Config{Seed: o.Seed, Evening: o.Evening, Maker: !o.NoMaker}
	for _, p := range s.Pots {
		c.Controllers = c.Controllers || p.Controller.Is()
		c.Pots = append(c.Pots, simbench.Pot{Name: p.Name, VolumeML: p.VolumeML, HeaterW: p.HeaterW})
	}
	return simbench.New(c, clk)
}

// maker passes on what the simulated maker ticks, the way a page's button does.
type maker struct{ d *daemon.Daemon }

// Stirred implements simbench.Marks.
func (m maker) Stirred(pot int) { m.mark(control.Stir, pot) }

// Clear implements simbench.Marks.
func (m maker) Clear(pot int) { m.mark(control.TickClear, pot) }

// mark can fail only when more marks wait than a maker has hands; what got lost
// is a stir, which comes again.
func (m maker) mark(k control.CommandKind, pot int) {
	_ = m.d.Submit(history.Mark{Command: control.Command{Kind: k, Pot: pot}})
}

// Verdict is how it has gone so far.
func (d *Demo) Verdict() Verdict { return d.judge.now() }

// Run works until the context ends, and calls show with every frame it can keep
// up with.
func (d *Demo) Run(ctx context.Context, show func(*frames.Frame)) error {
	serving, endServing := context.WithCancel(context.WithoutCancel(ctx))
	defer endServing()
	bench := make(chan error, 1)
	go func() { bench <- d.Bench.Serve(serving, d.line) }()

	watching, endWatching := context.WithCancel(ctx)
	defer endWatching()
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		d.watch(watching, show)
	}()
	err := d.Daemon.Run(ctx)
	endWatching()
	<-watched
	endServing()                                                 // last: the farewell to the heaters goes over the line
	if e := <-bench; e != nil && !errors.Is(e, pipe.ErrHungUp) { // the daemon lets a pipe go when it ends
		err = errors.Join(err, fmt.Errorf("simulated bench: %w", e))
	}
	return errors.Join(err, d.line.Close())
}

func (d *Demo) watch(ctx context.Context, show func(*frames.Frame)) {
	published, cancel := d.Daemon.Hub().Subscribe()
	defer cancel()
	for {
		select {
		case f := <-published:
			d.judge.watch(f)
			if d.hand != nil {
				d.hand.follow(f)
			}
			show(f)
		case <-ctx.Done():
			return
		}
	}
}

// connectPipe puts a pipe in memory between bench and daemon.
func (d *Demo) connectPipe() (opener, error) {
	ours, theirs := pipe.New()
	d.line, d.Port = ours, "a pipe in memory"
	return func(devices.LineConfig) (modbus.Port, error) { return theirs, nil }, nil
}

// opener is handed a line's settings and opens its port.
type opener = func(devices.LineConfig) (modbus.Port, error)
