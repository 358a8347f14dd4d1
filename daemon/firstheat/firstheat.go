// Package firstheat leads a person through a bench's first heat: each pot's raw paste is
// warmed to 45 °C, once, so that already the first evening goes by what its pots are, and its
// plan and its word of when they are ready need not begin with guesses.
//
// What a first heat can tell was tried on simulated pots (TestNumbersOfFirstHeat, judge). A
// plate that is heated dry, with nothing on it, tells its own heat capacity and lag to some
// per cent, and the first evening has those after a minute in any case: it is no better for
// it. What makes the difference is what passes from plate to melt, which only a full pot
// shows. Vinyl need not be hot for that. From 75 °C on raw paste gels (published; by some
// accounts from 60 °C), and a potful that has half gelled and cooled is a lump around its
// probe that can not be stirred; so no melt gets over 55 °C and no plate over 85 °C, they stay
// far below, and the paste stays a liquid. How it thickens, what a hot melt loses, and how
// the loop holds it are left to the first evening.
//
// With more of it known heating is neither faster nor hotter: what gains is the plan and the
// word of when the pots are ready. And one thing only is believed: a melt that takes up more
// heat than any is taken to. One that takes up less may be such a pot, and as well one that
// is stirred too little, or of thick paste, or in an oil bath; a plan that rests on that would
// be twice too long, so nothing of it is kept.
//
// It decides nothing about heat: the bench does, under the same guard with lower limits
// (control.ForFirstHeat), for settings that say so and are kept with its run. Nothing is
// heated before a person presses the bench's own button, nor without a complete record of
// commissioning. Who interrupts it has all heaters told zero, and of a pot that had not come
// to its end nothing is kept. What evenings have left goes before it.
package firstheat

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/simbench"
)

// Options are what a first heat is made from. All are required but Simulated.
type Options struct {
	Bench   *config.Bench
	Recipe  *config.Recipe // how much is in each pot
	Clock   *clock.Clock
	History *history.Store
	// Connect opens the bench's lines.
	Connect func() (*devices.Bus, error)
	Out     io.Writer
	Log     *slog.Logger
	Version string
	// Corrected is what calibrations add to the readings, in words.
	Corrected string
	// Commissioned says that heaters may be switched on; Simulated is a simulated bench at
	// the other end of the line.
	Commissioned commission.Clearance
	Simulated    *simbench.Bench
}

// Why a first heat comes to nothing.
var (
	// ErrStopped is returned when the context ended.
	ErrStopped = errors.New("stopped: the heaters were told zero, and nothing is kept of a pot that had not come to its end")
	// ErrRefused is returned without a complete record of commissioning.
	ErrRefused = errors.New("heat is refused: the commissioning of this bench is not complete. Put it on record with meltwarden commission")
	// ErrNothingToWarm is returned where no pot has to gain by it.
	ErrNothingToWarm = errors.New("no pot is left to warm: every one is known by an evening, has one probe only, or is heated by a controller")
)

// session is one first heat under way.
type session struct {
	Options
	settings control.Settings
	watch    watch
}

// Run warms the pots of which no evening has left anything, and keeps what they have shown.
func Run(ctx context.Context, o Options) error {
	s := &session{Options: o}
	if !o.Commissioned.Holds() && o.Simulated == nil {
		return ErrRefused
	}
	evening, err := config.Settings(o.Bench, o.Recipe)
	if err != nil {
		return err
	}
	start := s.start()
	recalled, err := daemon.Recall(o.History, o.Bench, evening, start)
	if err != nil {
		s.say("%v\n", err)
	}
	names, left := toWarm(evening, recalled)
	if len(names) == 0 {
		return fmt.Errorf("%w\n  %s", ErrNothingToWarm, strings.Join(left, "\n  "))
	}
	s.settings = control.ForFirstHeat(evening, names)
	s.open(left)
	for i := range recalled {
		recalled[i].Known = nil // it is found out anew
	}
	bus, err := o.Connect() // last: only the daemon closes it
	if err != nil {
		return err
	}
	return s.run(ctx, daemon.New(daemon.Options{
		Settings: s.settings, Bus: bus, Clock: o.Clock, Log: o.Log, Version: o.Version, Title: start.Title,
		Run: o.Bench.Name, Recipe: o.Recipe.Name, RecipeVersion: o.Recipe.Fingerprint(),
		History: o.History, Start: start, Bench: o.Bench, Recalled: recalled,
		Commissioned: o.Commissioned, Simulated: o.Simulated,
	}))
}

// start is what the run is known by: the recipe says what was in the pots, and no batch
// begins, since the paste is as raw as before.
func (s *session) start() history.Start {
	start := daemon.StartOf(s.Bench, s.Recipe, s.Version)
	start.Title = fmt.Sprintf("First heat of %s: raw paste warmed to %.0f °C", s.Bench.Name, control.FirstHeatToC)
	start.Potfuls, start.Apart, start.Corrected = nil, true, s.Corrected
	start.Invented = s.Simulated != nil
	return start
}

// toWarm names the pots that have to gain by a first heat, and says of the others why not.
func toWarm(evening control.Settings, recalled []daemon.Recalled) (names, left []string) {
	for i, p := range evening.Pots {
		if why := whyCold(p, recalled[i]); why != "" {
			left = append(left, fmt.Sprintf("pot %s is left cold: %s", p.Name, why))
		} else {
			names = append(names, p.Name)
		}
	}
	return names, left
}

// whyCold says why a pot has nothing to gain; nothing where it has.
func whyCold(p control.PotSettings, r daemon.Recalled) string {
	switch {
	case p.Probes != reading.BothProbes:
		return "it has one probe only"
	case p.Controller.Is():
		return "a controller of its own heats it, and nobody knows what that gives"
	case r.Held && r.Known == nil:
		return "it is known from evenings with another plate limit"
	case r.Held:
		return r.String()
	}
	return ""
}

// Status is what is known of a pot, and whether it has to gain by a first heat.
type Status struct {
	Pot   string `json:"pot"`
	Known string `json:"known"` // in words
	// From is when that was found out; null where nothing was.
	From      *time.Time `json:"from"`
	FirstHeat bool       `json:"first_heat"` // it is known by one only
	Gains     bool       `json:"gains"`
	Why       string     `json:"why,omitempty"` // it does not
}

// StatusOf says it of every pot of a bench, from its history, which may be nil.
func StatusOf(b *config.Bench, r *config.Recipe, past *history.Store, version string) ([]Status, error) {
	evening, err := config.Settings(b, r)
	if err != nil {
		return nil, err
	}
	recalled := make([]daemon.Recalled, len(evening.Pots))
	for i, p := range evening.Pots {
		recalled[i].Pot = p.Name
	}
	if past != nil {
		if recalled, err = daemon.Recall(past, b, evening, daemon.StartOf(b, r, version)); err != nil {
			return nil, err
		}
	}
	var all []Status
	for i, k := range recalled {
		s := Status{Pot: k.Pot, Known: k.String(), FirstHeat: k.FirstHeat, Why: whyCold(evening.Pots[i], k)}
		if s.Gains = s.Why == ""; k.Known != nil {
			s.From = &k.From
		}
		all = append(all, s)
	}
	return all, nil
}

// open says what is going to happen.
func (s *session) open(left []string) {
	s.say(opening, s.Bench.Name, control.FirstHeatToC, control.FirstHeatPlateC, control.FirstHeatFor.Minutes(), s.takes().Minutes())
	for _, p := range s.settings.Pots {
		if p.FirstHeat.For > 0 {
			s.say("  pot %s: %.0f mL of raw paste, as %s has it\n", p.Name, p.VolumeML, s.Recipe.Name)
		}
	}
	for _, words := range left {
		s.say("  %s\n", words)
	}
	s.say("\n")
}

// takes is how long the heating is expected to take (E: by what simulated pots took, and
// what the circuit carries).
func (s *session) takes() time.Duration {
	const slowestS, meltRiseC, plateRiseC, plateJPerWK = 360, 24, 45, 0.6
	joules := 0.0
	for _, p := range s.settings.Pots {
		if p.FirstHeat.For > 0 {
			joules += meltRiseC*p.VolumeML*control.MeltJPerMLK + plateRiseC*plateJPerWK*p.HeaterW
		}
	}
	return time.Duration((slowestS + joules/s.settings.Circuit.ContinuousW) * float64(time.Second)).Round(time.Minute)
}

// run lets the daemon heat until the watch has seen enough, or something ends it.
func (s *session) run(ctx context.Context, d *daemon.Daemon) error {
	heating, end := context.WithCancel(ctx)
	defer end()
	published, cancel := d.Hub().Subscribe()
	defer cancel()
	over := make(chan error, 1)
	go func() { over <- d.Run(heating) }()
	why := s.follow(heating, published, over)
	end()
	if err := <-over; err != nil {
		return errors.Join(err, why)
	}
	if why != nil {
		return why
	}
	return s.tell()
}

// follow watches until the first heat is over, and returns why it ended before.
func (s *session) follow(ctx context.Context, published <-chan *frames.Frame, over chan error) error {
	s.watch.session = s
	for {
		select {
		case f := <-published:
			if ended, err := s.watch.see(f); ended || err != nil {
				return err
			}
		case err := <-over:
			over <- err
			if ctx.Err() != nil {
				return ErrStopped
			}
			return nil
		case <-ctx.Done():
			return ErrStopped
		}
	}
}

// tell says what came of each pot.
func (s *session) tell() error {
	var not []string
	s.say("\nHeaters told zero. What came of it:\n")
	for i, p := range s.watch.last.Pots {
		name := s.settings.Pots[i].Name
		switch {
		case p.Warming == control.LeftCold:
		case p.Warming == control.Understood:
			s.say("  pot %s: understood, and on record; the melt is at %.0f °C\n", name, p.MeltC)
		case p.Warming == control.TakesLittle:
			s.say("  pot %s: %s, so nothing of it is kept: that may be the pot, and as well too little stirring, thick paste or an oil bath. Its first evening begins as any does\n", name, p.Warming)
		default:
			s.say("  pot %s: %s; nothing of it is kept\n", name, p.Warming)
			not = append(not, name)
		}
	}
	s.say("%s", closing)
	if len(not) > 0 {
		return fmt.Errorf("not understood: %s. See that the pot stands flat on its plate, that both probes are in their places, and that as much is in it as the recipe says; its first evening finds out about it as well", strings.Join(not, ", "))
	}
	return nil
}

// say prints, wrapped for a terminal. One that is gone must not end heat later than it is.
func (s *session) say(format string, args ...any) {
	fmt.Fprint(s.Out, lines.Fitted(fmt.Sprintf(format, args...)))
}

const opening = `First heat of the bench %q

Each pot is warmed once to about %.0f °C, by its own heater. How fast it warms shows what passes from its plate to its melt, so that the first evening's plan, and its word of when the pots are ready, need not begin with guesses. It makes no pot faster or hotter. Plates are held below %.0f °C, and a pot is heated for %.0f minutes at most. It takes about %.0f minutes from the press on (an estimate), and is over by itself.

Have ready, cold: in every pot listed below, on its plate, both probes in place, as much as the recipe says of raw paste that was never heated. It gels from 75 °C on, and stays a liquid here. No cured vinyl: it is a solid at this temperature and shows nothing; a pot of it needs no first heat. No water anywhere. Stir each pot every half minute or so, as on any evening: what is stirred too little takes up too little, and then nothing of it is kept.

Stay at the bench, and stand at the emergency stop as you press. A plate of 68 °C burns. Ctrl-C stops at any time, tells every heater zero, and keeps nothing of a pot that has not come to its end.

`

const closing = `
What is kept is used by serve and plan from now on ("known from first heat of" this day), until an evening has shown more. Heat on with the same potfuls tonight, or let them cool in their pots and use them first; pour none back into the jug (common practice, no source: warm paste thickens as it stands). Plates may still burn: stay until they are below 50 °C.
`
