package demo

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"runtime/debug"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
	"meltwarden/devices/simbench/physics"
)

// trial is one session of the campaign: the whole program, a bench, and whoever
// does things to it and looks at what comes of them.
type trial struct {
	*findings
	script   script
	random   *rand.Rand
	settings control.Settings
	clk      *clock.Clock
	bench    *simbench.Bench
	daemon   *daemon.Daemon
	wire     *wiretap
	startsAt time.Duration // on the bench's clock
	folder   string
	specs    []physics.PotSpec
	addedML  []float64

	todo     []deed // in order
	troubles []*wrong
	owed     []*wrong // by pot: it stays cold for this one, until somebody presses
	welded   []bool
	returned []bool // it is said to be back on its plate
	stirAt   []time.Duration
	pressAt  time.Duration // of the maker

	truth     simbench.Truth // of the last look
	last      *frames.Frame
	recent    []*frames.Frame // what may stand behind the wire
	lastAt    time.Duration   // when the last frame came
	minute    []float64       // what it was told to draw, frame by frame, joules
	latched   map[finding]bool
	sights    []sight       // of the button
	closings  []span        // of the button, as it was
	pressedAt time.Duration // when a press was last seen that counts
	heardAt   time.Duration // when the heaters were last told what was looked at, on the bench's clock
	contactor []closing     // that are to be looked at
	hot       []*hotMelt    // by pot; nil while it is not
	// blind is when something was last wrong with the line, liftedLast when a pot
	// was last marked as lifted.
	blind        time.Duration
	liftedLast   []time.Duration
	brokenBefore map[string]bool
}

// looks is how often the bench is looked at.
const looks = 50 * time.Millisecond

// passTrial passes a session and returns what it came to.
func passTrial(t *testing.T, seed uint64) *findings {
	f := &findings{seed: seed, kinds: map[string]*tally{}, trips: map[guard.Code]int{}}
	folder := ""
	if seed%replayEvery == 0 || raced && seed == 1 {
		folder = t.TempDir()
	}
	synctest.Test(t, func(t *testing.T) {
		s := newTrial(t, f, folder)
		s.pass(t)
	})
	return f
}

// newTrial builds the bench and warms it before anything is on its line.
func newTrial(t *testing.T, f *findings, folder string) *trial {
	pots := len(everyPot)
	s := &trial{
		findings: f, folder: folder, script: drawScript(f.seed, folder != ""),
		random: rand.New(rand.NewPCG(f.seed, 8)), settings: virtualSettings(t), clk: clock.New(1),
		addedML: make([]float64, pots), owed: make([]*wrong, pots), returned: make([]bool, pots), welded: make([]bool, pots),
		stirAt: make([]time.Duration, pots), liftedLast: make([]time.Duration, pots), hot: make([]*hotMelt, pots),
		blind: -forEver, latched: map[finding]bool{}, brokenBefore: map[string]bool{},
	}
	for i := range s.liftedLast {
		s.liftedLast[i] = -forEver
	}
	var err error
	s.bench, err = newBench(s.settings, Options{Seed: f.seed, NoMaker: true}, s.clk)
	require.NoError(t, err)
	s.specs = specsOf(t, s)
	s.warm()
	return s
}

// streamOfPots is the first of three random streams that each pot of a simulated
// bench draws from; that it is still so shows in the probes' errors.
const streamOfPots = 7

// specsOf returns the pots as they were drawn for the bench.
func specsOf(t *testing.T, s *trial) (specs []physics.PotSpec) {
	truth := s.bench.Truth()
	for i, p := range s.settings.Pots {
		source := rand.New(rand.NewPCG(s.seed, streamOfPots+3*uint64(i)))
		spec := physics.Sample(physics.Nominal(p.VolumeML, p.HeaterW, physics.Cast), source)
		require.Equal(t, truth.Pots[i].MeltProbeErrorC, spec.MeltProbe.OffsetC, "the pots are drawn otherwise now")
		specs = append(specs, spec)
	}
	return specs
}

// warm heats the bench by hand, as another program might have done before.
func (s *trial) warm() {
	duty := make([]float64, len(s.specs))
	for warm := s.script.warmC == 0; !warm && s.clk.Now() < 40*time.Minute; time.Sleep(time.Second) {
		warm = true
		for i, p := range s.bench.Truth().Pots {
			duty[i] = 0
			if p.MeltC < s.script.warmC {
				warm = false
				if p.PlateC < 225 {
					duty[i] = 1
				}
			} else if p.PlateC < s.script.warmC+25 {
				duty[i] = 0.5
			}
			if s.clk.Now()%(45*time.Second) < time.Second {
				s.bench.Stir(i)
			}
		}
		s.bench.Apply(control.Outputs{Duty: duty, Contactor: true})
	}
	s.bench.Apply(control.Outputs{Duty: make([]float64, len(s.specs))})
	time.Sleep(3 * time.Second)
}

// pass starts the program on the bench's line and plays the session.
func (s *trial) pass(t *testing.T) {
	past := s.connect(t)
	served, ended := make(chan error, 1), make(chan string, 1)
	go func() { served <- s.bench.Serve(context.Background(), s.wire) }()
	ctx, end := context.WithCancel(context.Background())
	go func() { ended <- runOf(ctx, s.daemon) }()
	s.play()
	end()
	if why := <-ended; why != "" {
		s.breaks("f: the program goes on", "%s", why)
	}
	if err := <-served; !errors.Is(err, pipe.ErrHungUp) {
		s.breaks("f: the program goes on", "the bench's end of the line: %v", err)
	}
	s.close()
	if past != nil {
		s.replay(past)
		require.NoError(t, past.Close())
	}
}

// connect builds the program, as New does, with its line tapped; it returns the
// history, nil where there is none.
func (s *trial) connect(t *testing.T) *history.Store {
	file, err := config.DemoBench(nil)
	require.NoError(t, err)
	ours, theirs := pipe.New()
	s.wire = &wiretap{Port: ours, clk: s.clk}
	bus, err := devices.Open(daemon.Wiring(file), func(devices.LineConfig) (modbus.Port, error) { return theirs, nil }, s.clk)
	require.NoError(t, err)
	recipe := config.DemoRecipe()
	o := daemon.Options{
		Settings: s.settings, Bus: bus, Clock: s.clk, Log: slog.New(slog.DiscardHandler), Version: "test",
		Title: recipe.Name, Run: "demo", Recipe: recipe.Name, RecipeVersion: recipe.Fingerprint(), Simulated: s.bench,
	}
	if s.folder != "" {
		o.History, err = history.Open(s.folder)
		require.NoError(t, err)
		o.Start = daemon.StartOf(file, recipe, "test")
		o.Start.Invented = true
	}
	s.daemon = daemon.New(o)
	return o.History
}

// runOf runs a daemon and returns what it died of. What a broken line says at the
// end is no matter here.
func runOf(ctx context.Context, d *daemon.Daemon) (why string) {
	defer func() {
		if p := recover(); p != nil {
			why = fmt.Sprintf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	_ = d.Run(ctx)
	return ""
}

// replay plays back what was recorded.
func (s *trial) replay(h *history.Store) {
	back, err := h.Replay(1)
	s.replayed = back.Cycles
	switch {
	case err != nil:
		s.breaks("f: the run replays", "%v", err)
	case back.Differs != nil:
		s.breaks("f: the run replays", "differs: %+v", *back.Differs)
	case back.Cycles < s.frames:
		s.breaks("f: the run replays", "%d cycles of %d were kept", back.Cycles, s.frames)
	}
}

// now is the time of the session.
func (s *trial) now() time.Duration { return s.clk.Now() - s.startsAt }

// play does what is due and looks, until the session is over.
func (s *trial) play() {
	s.open()
	for next := looks; s.now() < s.script.lasts; {
		for len(s.todo) > 0 && s.todo[0].at <= s.now() {
			d := s.todo[0]
			s.todo = s.todo[1:]
			d.do(s)
		}
		until := next
		if len(s.todo) > 0 {
			until = min(until, s.todo[0].at)
		}
		time.Sleep(max(1, until-s.now()))
		if s.now() >= next {
			next += looks
			s.look()
			s.tend()
		}
	}
}

// open begins the session: the maker says what was before.
func (s *trial) open() {
	s.startsAt = s.clk.Now()
	s.todo, s.last = s.script.deeds, &frames.Frame{}
	s.note("%s", s.script)
	for i := range s.specs {
		s.stirAt[i] = time.Duration(5+12*i) * time.Second
		if s.script.cured {
			s.says(control.Command{Kind: control.ArrivedCured, Pot: i})
		}
	}
	s.pressAt = s.between(2*time.Second, 4*time.Second)
}

func (p script) String() string {
	return fmt.Sprintf("a session of %.0f s; melts at %.0f °C, cured before: %t; a stubborn person: %t", p.lasts.Seconds(), p.warmC, p.cured, p.stubborn)
}

// later does something at a time of the session.
func (s *trial) later(at time.Duration, do func(*trial)) {
	s.todo = append(s.todo, deed{at, do})
	slices.SortStableFunc(s.todo, func(a, b deed) int { return int(a.at - b.at) })
}

func (s *trial) between(least, most time.Duration) time.Duration {
	return least + time.Duration(s.random.Float64()*float64(most-least))
}

// tend is what a maker does all the while: stir, say what has become clear, and
// press the button.
func (s *trial) tend() {
	for i := range s.stirAt {
		if s.now() < s.stirAt[i] {
			continue
		}
		s.stirAt[i] = s.now() + s.between(45*time.Second, time.Minute)
		if p := s.truth.Pots[i]; !p.Lifted {
			s.bench.Stir(i)
			s.submit(control.Command{Kind: control.Stir, Pot: i})
			if p.Clear {
				s.submit(control.Command{Kind: control.TickClear, Pot: i})
			}
		}
	}
	if s.now() < s.pressAt {
		return
	}
	s.pressAt = s.now() + s.between(3*time.Second, 12*time.Second)
	if s.last.Heat != control.HeatEnabled {
		s.press("pressed by the maker", s.between(500*time.Millisecond, 1200*time.Millisecond))
	}
	if !s.script.stubborn && s.pressedAt > 0 {
		s.pressAt = forEver
	}
}

// hold keeps the button closed for a span.
func (s *trial) hold(held time.Duration) {
	s.closings = append(s.closings, span{s.now(), s.now() + held})
	s.bench.HoldEnable(held)
}

// press is a hand on the button.
func (s *trial) press(how string, held time.Duration) {
	s.does(how, "for %.2f s", held.Seconds())
	s.hold(held)
}

// submit passes a mark on as a page would.
func (s *trial) submit(c control.Command) bool {
	return s.daemon.Submit(history.Mark{Command: c}) == nil
}

// says passes a mark on, and knows what it forbids.
func (s *trial) says(c control.Command) {
	s.does(s.markName(c), "%s, pot %d, %g °C, from afar: %t", c.Kind, c.Pot, c.C, c.Afar)
	if !s.submit(c) {
		s.note("was refused")
		return
	}
	here := c.Pot >= 0 && c.Pot < len(s.specs)
	switch {
	case c.Kind == control.AllOff:
		s.begin(&allOffAsked, simbench.Place{})
	case c.Kind == control.Lift && here:
		s.returned[c.Pot] = false
		if s.liftOf(c.Pot) == nil {
			s.begin(&liftMarked, simbench.Place{Pot: c.Pot})
		}
	case c.Kind == control.Return && here:
		s.returned[c.Pot] = s.liftOf(c.Pot) != nil
	}
}

func (s *trial) markName(c control.Command) string {
	noPot := c.Kind.NeedsPot() && (c.Pot < 0 || c.Pot >= len(s.specs))
	noNumber := c.Kind == control.Setpoint && !(c.C > 100 && c.C < s.settings.Limits.MeltTripC)
	if c.Kind == 0 || c.Kind > control.Setpoint || noPot || noNumber {
		return "mark, absurd"
	}
	return "mark: " + c.Kind.String()
}

// liftOf is the pot's being lifted, while it is.
func (s *trial) liftOf(pot int) *wrong {
	for _, w := range s.troubles {
		if w.kind == &liftMarked && w.at.Pot == pot && w.ended < 0 {
			return w
		}
	}
	return nil
}

// begin makes something wrong.
func (s *trial) begin(k *kind, at simbench.Place) *wrong {
	w := &wrong{kind: k, at: at, began: s.now(), ended: -1, said: time.Now()}
	w.heated = s.last.Heat == control.HeatEnabled
	w.stays, w.lit = w.heated, slices.ContainsFunc(w.heaters(), s.draws)
	truth := s.bench.Truth()
	if k.fault.Scope() == simbench.OfProbe {
		w.shownC, w.otherC = truth.Pots[at.Pot].MeltC, truth.RoomC+5
		if at.Probe == registers.Plate {
			w.shownC = truth.Pots[at.Pot].PlateC
		}
	}
	if k.fault != "" {
		s.does(string(k.fault), "%s begins", placeName(at))
		if err := s.bench.Inject(k.fault, at); err != nil {
			s.breaks("the campaign itself", "%v", err)
		}
	}
	s.welded[at.Pot] = s.welded[at.Pot] || k.fault == simbench.RelayWelded
	s.troubles = append(s.troubles, w)
	return w
}

// end makes it right again.
func (s *trial) end(w *wrong) {
	w.ended = s.now()
	if w.kind.fault == "" {
		return
	}
	s.note("%s %s ends", w.kind.fault, placeName(w.at))
	if w.kind.fault == simbench.RelayWelded {
		s.welded[w.at.Pot] = false
	}
	if err := s.bench.Clear(w.kind.fault, w.at); err != nil {
		s.breaks("the campaign itself", "%v", err)
	}
}

func placeName(at simbench.Place) string {
	return fmt.Sprintf("(pot %d %s, unit %d)", at.Pot, at.Probe, at.Unit)
}

// does notes and counts something that is done to the bench.
func (s *trial) does(what, how string, args ...any) {
	s.of(what).count++
	s.note("%s %s", what, fmt.Sprintf(how, args...))
}

// note adds a line to the timeline.
func (s *trial) note(format string, args ...any) {
	s.timeline = append(s.timeline, fmt.Sprintf("%8.2f s  ", s.now().Seconds())+fmt.Sprintf(format, args...))
}

// breaks notes that a rule did not hold, once in a session.
func (s *trial) breaks(rule, format string, args ...any) {
	if s.brokenBefore[rule] {
		return
	}
	s.brokenBefore[rule] = true
	what := fmt.Sprintf(format, args...)
	s.note("BROKEN %s: %s", rule, what)
	s.broken = append(s.broken, fmt.Sprintf("%.2f s: %s: %s", s.now().Seconds(), rule, what))
}

// holdHistory locks the history's file against writing until it is let go.
func (s *trial) holdHistory() (letGo func()) {
	db, err := sql.Open("sqlite", s.folder+"/"+history.FileName)
	if err == nil {
		db.SetMaxOpenConns(1)
		_, err = db.Exec("BEGIN IMMEDIATE")
	}
	if err != nil {
		s.note("history could not be held: %v", err)
	}
	return func() {
		s.note("history let go")
		_, _ = db.Exec("ROLLBACK")
		_ = db.Close()
	}
}
