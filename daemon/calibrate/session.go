package calibrate

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/boiling"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/registers"
	"meltwarden/devices/thermocouple"
)

// How a session waits and what it refuses. E unless marked.
const (
	iceC       = 0.1              // how far an ice bath in a flask may be off (with care 0.01: ASTM E563, read on a metrology page)
	stirredC   = 0.2              // how far tips in one stirred cup may be apart
	restWait   = 15 * time.Minute // for one point
	answerWait = 10 * time.Second // until every probe reads
	leftAlone  = 30 * time.Minute
	tellEvery  = 5 * time.Second
	coldC      = 50.0 // above it a pot or plate is warm
	risenC     = 5.0  // so much more of a plate with everything told zero is a heater that is on
	// One that is further off than airC, and has not moved by movedC since the session began,
	// hangs in the air.
	airC, movedC = 10.0, 3.0
)

// Options are what a session is made from.
type Options struct {
	Bench *config.Bench
	// Wiring is the I/O edge of the same bench, without corrections, and Open opens its ports.
	Wiring  devices.Config
	Open    devices.Opener
	Clock   *clock.Clock
	History *history.Store
	In      io.Reader
	Out     io.Writer
	// Terminal says that a person reads Out on a screen, whose last lines can be written anew.
	Terminal bool
	JSON     bool // an object a line in place of words
	Version  string
	// Probes are those that are calibrated, by name; none is every melt probe.
	Probes []string
	// Words are the points to take, and "accept", in order; none is what In says.
	Words []string
	// Again takes points again that were taken a short while ago.
	Again bool
}

// bath is something whose temperature is known. What shows less or more than types K, J, T, N
// and E mixed up would is not in it yet.
type bath struct{ lowC, highC float64 }

var (
	inIce     = bath{-45, 15}
	inBoiling = bath{55, 200}
)

var (
	// ErrStopped is returned when the context ended.
	ErrStopped = errors.New("stopped; the points that were taken are kept: run the same command to go on")

	errPress   = errors.New("PRESS THE EMERGENCY STOP, then switch the mains off")
	errNoZeros = fmt.Errorf("%w. ZEROS WERE NOT CONFIRMED: see that every plate stays cold before you switch anything on again", errPress)
)

// session is one run of the command.
type session struct {
	Options
	bus     *devices.Bus
	due     time.Duration
	chosen  []int // indexes of channels
	windows []window
	latest  []reading.Temperature // of every channel
	began   []float64             // of every channel, when all read for the first time
	typed   <-chan string
	told    int // lines of a terminal that show readings, and are its last
}

// Run leads a person through points. It returns nil when all that was asked for was taken.
func Run(ctx context.Context, o Options) (err error) {
	s := &session{Options: o}
	if s.chosen, err = s.choose(); err != nil {
		return err
	}
	for _, w := range s.Words {
		if err := s.known(w); err != nil {
			return err
		}
	}
	n := len(o.Wiring.Channels)
	s.windows, s.latest, s.began = make([]window, n), make([]reading.Temperature, n), make([]float64, n)
	s.say(opening, o.Bench.Name, strings.Join(s.names(s.chosen), ", "), steadyC, keptFor.Hours())
	if s.bus, err = devices.Open(o.Wiring, o.Open, o.Clock); err != nil {
		return err
	}
	s.due = s.Clock.Now()
	defer func() {
		if !s.bus.Close(context.Background()) {
			err = errors.Join(errNoZeros, err)
		}
	}()
	if err = s.firstReadings(ctx); err == nil {
		err = s.all(ctx)
	}
	s.say(closing)
	return err
}

// choose finds the channels of the probes that were named.
func (s *session) choose() (chosen []int, err error) {
	var can []string
	for i, c := range s.Wiring.Channels {
		if !slices.Contains(probes, c.Role) {
			continue
		}
		can = append(can, NameOf(c))
		if slices.Contains(s.Probes, NameOf(c)) || len(s.Probes) == 0 && c.Role == registers.Melt {
			chosen = append(chosen, i)
		}
	}
	if err := OnBench(s.Bench, s.Probes); err != nil {
		return nil, err
	}
	if len(chosen) == 0 {
		return nil, fmt.Errorf("the bench has no melt probe: name what to calibrate with --probe: %s", strings.Join(can, ", "))
	}
	return chosen, nil
}

// OnBench refuses names that no probe of a bench has.
func OnBench(b *config.Bench, names []string) error {
	var can []string
	for _, c := range b.Channels {
		if slices.Contains(probes, c.Role) {
			can = append(can, NameOf(c))
		}
	}
	for _, name := range names {
		if !slices.Contains(can, name) {
			return fmt.Errorf("probe %q: there is none on the bench %q; write one of: %s", name, b.Name, strings.Join(can, ", "))
		}
	}
	return nil
}

func (s *session) names(channels []int) (names []string) {
	for _, i := range channels {
		names = append(names, NameOf(s.Wiring.Channels[i]))
	}
	return names
}

// known refuses words that mean nothing.
func (s *session) known(words string) error {
	if _, is, err := boiling.Said(words); is {
		return err
	}
	if !slices.Contains([]string{string(Ice), string(Together), "accept", "end"}, words) {
		return fmt.Errorf("%q is not known: write ice, boiling at 300 m, boiling at 985 hPa, together, accept or end", words)
	}
	return nil
}

// all does one thing after the other.
func (s *session) all(ctx context.Context) error {
	if len(s.Words) > 0 {
		for _, words := range s.Words {
			if err := s.one(ctx, words); err != nil {
				return err
			}
		}
		return nil
	}
	ctx, done := context.WithCancel(ctx)
	defer done()
	s.typed = lines.Typed(ctx, s.In, 0)
	for {
		s.say(asking)
		words, err := s.line(ctx)
		if err != nil || words == "end" || words == "" {
			return err
		}
		if err := s.one(ctx, words); errors.Is(err, ErrStopped) || errors.Is(err, errPress) {
			return err
		} else if err != nil {
			s.say("  Not done: %v.\n", err)
		}
	}
}

func (s *session) one(ctx context.Context, words string) error {
	if err := s.known(words); err != nil {
		return err
	}
	switch words {
	case "end":
		return nil
	case "accept":
		return s.accept()
	case string(Together):
		return s.together(ctx)
	case string(Ice):
		s.say(howIce)
		return s.fixed(ctx, Point{Kind: Ice, Words: words, WithinC: iceC}, inIce)
	}
	water, _, _ := boiling.Said(words) // known has seen to it
	s.say(howBoiling, water.C, water.WithinC)
	if water.WithinC > boiling.PanC {
		s.say(weatherMoves, boiling.PanC)
	}
	return s.fixed(ctx, Point{Kind: Boiling, Words: words, TrueC: water.C, WithinC: water.WithinC}, inBoiling)
}

// fixed takes a point of each chosen probe in something whose temperature is known, as soon as
// each is at rest there.
func (s *session) fixed(ctx context.Context, of Point, in bath) error {
	left, err := s.without(of)
	if err != nil || len(left) == 0 {
		return errors.Join(err, s.tellFits())
	}
	err = s.until(ctx, left, of.Words, func() (bool, error) {
		var still []int
		for _, i := range left {
			if !s.isIn(i, of, in) {
				still = append(still, i)
				continue
			}
			if err := s.keep(i, s.pointOf(i, of)); err != nil {
				return false, err
			}
		}
		left = still
		return len(left) == 0, nil
	})
	if err == nil || errors.Is(err, errLate) {
		err = errors.Join(err, s.tellFits())
	}
	if errors.Is(err, errLate) {
		return fmt.Errorf("%s: %w: %s%s", of.Words, err, s.shown(left), s.perhaps(left, of))
	}
	return err
}

// isIn reports whether a probe is at rest in a bath, as far as it shows.
func (s *session) isIn(channel int, of Point, in bath) bool {
	w := &s.windows[channel]
	if !w.atRest() || w.now() < in.lowC || w.now() > in.highC {
		return false
	}
	return math.Abs(w.now()-of.TrueC) <= airC || math.Abs(w.now()-s.began[channel]) >= movedC
}

// pointOf is the window of a probe as a point of a bath.
func (s *session) pointOf(channel int, of Point) Point {
	p := s.windows[channel].point(of.TrueC, of.WithinC, s.Wiring.Channels[channel])
	p.Kind, p.Words, p.TerminalsC = of.Kind, of.Words, s.terminals(s.Wiring.Channels[channel])
	return p
}

// perhaps says which mix-ups would show what probes show at rest that are not taken for being
// in a bath.
func (s *session) perhaps(channels []int, of Point) (said string) {
	for _, i := range channels {
		if !s.windows[i].atRest() {
			continue
		}
		if fits := FindType([]Point{s.pointOf(i, of)}, s.Wiring.Channels[i].Thermocouple); len(fits) > 0 {
			said += fmt.Sprintf("; if %s is there, %s would show so", NameOf(s.Wiring.Channels[i]), fits[0])
		}
	}
	return said
}

// without are the chosen probes that have no such point of this evening yet.
func (s *session) without(of Point) (left []int, err error) {
	stand, err := Load(s.History, s.Bench)
	if err != nil || s.Again {
		return s.chosen, err
	}
	for _, i := range s.chosen {
		k := standingOf(stand, NameOf(s.Wiring.Channels[i]))
		at := slices.IndexFunc(k.Points, func(p Point) bool {
			return p.Kind == of.Kind && p.Words == of.Words && p.fresh(time.Now())
		})
		if at < 0 {
			left = append(left, i)
			continue
		}
		s.say("  %s: kept from %s (--again takes it again).\n", k.Probe, k.Points[at].At.Local().Format("15:04"))
	}
	return left, nil
}

func standingOf(all []Standing, probe string) Standing {
	i := slices.IndexFunc(all, func(k Standing) bool { return k.Probe == probe })
	return all[i] // every channel of the file that can be calibrated is there
}

// together takes a point of every chosen probe in one thing. Those that were calibrated say
// what it has; where none was, it is the highest.
func (s *session) together(ctx context.Context) error {
	if len(s.chosen) < 2 {
		return errors.New("together: one probe is compared with nothing; name two or more with --probe")
	}
	s.say(howTogether)
	err := s.until(ctx, s.chosen, string(Together), func() (bool, error) {
		if slices.ContainsFunc(s.chosen, func(i int) bool { return !s.windows[i].atRest() }) {
			return false, nil
		}
		return true, s.takeTogether()
	})
	if err != nil {
		return err
	}
	return s.tellFits()
}

func (s *session) takeTogether() error {
	stand, err := Load(s.History, s.Bench)
	if err != nil {
		return err
	}
	var knows []int
	var sum, within float64
	highest := math.Inf(-1)
	points, corrected := map[int]Point{}, map[int]float64{}
	for _, i := range s.chosen {
		points[i] = s.windows[i].point(0, 0, s.Wiring.Channels[i])
		shownC := points[i].ShownC
		k := standingOf(stand, NameOf(s.Wiring.Channels[i]))
		c := k.knows(time.Now())
		if c == nil {
			continue
		}
		knows = append(knows, i)
		corrected[i] = shownC + c.At(shownC)
		sum += corrected[i]
		within = max(within, c.WithinC(shownC))
	}
	relative := len(knows) == 0
	if relative {
		for _, i := range s.chosen {
			highest = max(highest, points[i].ShownC)
		}
		// Nobody knows of the truth: a reading that is lowered without reason lets its melt
		// be hotter, so none is.
		knows, within = s.chosen, classC
	}
	trueC := sum / float64(len(knows))
	if relative {
		trueC = highest
	}
	for _, i := range s.chosen {
		if !relative && slices.Contains(knows, i) {
			continue // it is what the others are held against
		}
		p := points[i]
		p.TrueC, p.WithinC, p.Relative = trueC, math.Hypot(within, stirredC), relative
		p.Kind, p.Words = Together, fmt.Sprintf("together with %s", strings.Join(s.names(others(knows, i)), ", "))
		if err := s.keep(i, p); err != nil {
			return err
		}
	}
	return s.tellSpread(points, corrected)
}

func others(all []int, but int) []int {
	return slices.DeleteFunc(slices.Clone(all), func(i int) bool { return i == but })
}

// keep puts a point on the disk.
func (s *session) keep(channel int, p Point) error {
	c := s.Wiring.Channels[channel]
	p.At = time.Now()
	if err := s.record(c, history.CalibrationPoint, p); err != nil {
		return err
	}
	if s.JSON {
		return s.object(map[string]any{"probe": NameOf(c), "taken": p})
	}
	s.say("  Taken: %s shows %.2f °C, %s has %.2f (so %+.2f).\n", NameOf(c), p.ShownC, p.Words, p.TrueC, p.TrueC-p.ShownC)
	return nil
}

// terminals is what the cold junction of a channel in millivolts reads.
func (s *session) terminals(c registers.Channel) *float64 {
	for i, k := range s.Wiring.Channels {
		if c.Unit == registers.Millivolt && k.Role == registers.ColdJunction && k.Device == c.Device && s.latest[i].Usable(guard.MaxAge) {
			return new(s.latest[i].C)
		}
	}
	return nil
}

func (s *session) record(c registers.Channel, kind history.CalibrationKind, what any) error {
	k, err := knownBy(c, s.Bench, nil).record(s.Version, NameOf(c), kind, what)
	if err != nil {
		return err
	}
	return s.History.KeepCalibration(k)
}

// Proposal is what the points of a probe say of it.
type Proposal struct {
	Probe string `json:"probe"`
	// Correction is null where none is to be made; Refused says why then.
	Correction *Correction `json:"correction"`
	Refused    string      `json:"refused,omitempty"`
	// LeftOut are points that nothing is made of, each with its age and the reason.
	LeftOut []string `json:"left_out,omitempty"`
	// Types are the mix-ups of thermocouple types that fit.
	Types []string `json:"types,omitempty"`
	// Class170C is how far a new probe of its type and class 2 may be off by itself at 170 °C
	// (IEC 60584-1; type K where the type is not known); null for a type that has no class.
	Class170C *float64 `json:"class_170_c"`
	// Within100C and Within170C say how far the corrected reading may then be off, at 100 and
	// 170 °C.
	Within100C float64 `json:"within_100_c,omitempty"`
	Within170C float64 `json:"within_170_c,omitempty"`

	use    Use
	letter thermocouple.Type
}

// Propose is what is to be done about a probe at a time, by its points.
func (s *Standing) Propose(now time.Time) Proposal {
	p := Proposal{Probe: s.Probe, LeftOut: s.leftOut(now), use: s.use}
	var err error
	if p.letter, err = thermocouple.Parse(s.channel.Thermocouple); err != nil { // the device has its own setting
		p.letter = thermocouple.K
	}
	if c, has := toleranceC(p.letter, 2, inAMelt.AtC); has {
		p.Class170C = &c
	}
	if p.Refused = s.outdated(now); p.Refused != "" {
		return p
	}
	if points := truest(s.Points); suspect(points) {
		fits := FindType(points, s.channel.Thermocouple)
		for _, m := range fits {
			p.Types = append(p.Types, m.String())
		}
		p.Refused = tellType(points, fits)
		return p
	}
	c, err := Fit(s.Points, s.channel.CorrectionC, s.use)
	if err != nil {
		p.Refused = err.Error()
		return p
	}
	p.Correction, p.Within100C, p.Within170C = &c, c.WithinC(100), c.WithinC(inAMelt.AtC)
	return p
}

// proposals are those of the chosen probes that have points of now, or unused ones.
func (s *session) proposals() (all []Proposal, err error) {
	stand, err := Load(s.History, s.Bench)
	now := time.Now()
	for i := range stand {
		if slices.Contains(s.names(s.chosen), stand[i].Probe) && stand[i].current(now) {
			all = append(all, stand[i].Propose(now))
		}
	}
	return all, err
}

// tellFits says what the points say.
func (s *session) tellFits() error {
	all, err := s.proposals()
	if err != nil {
		return err
	}
	if s.JSON {
		return s.object(map[string]any{"proposals": all})
	}
	s.say("\nWhat the points say is to be added to readings; nothing is in force before \"accept\":\n")
	for _, p := range all {
		if p.Correction == nil {
			s.say("%s\n", lines.Hang("  ", "    ", fmt.Sprintf("%s: REFUSED: %s.", p.Probe, p.Refused)))
			continue
		}
		s.say("%s\n", lines.Hang("  ", "    ", fmt.Sprintf("%s: %s%s; by %s.", p.Probe, p.Correction.Words(p.use), p.class(), p.by(time.Now()))))
	}
	return nil
}

// class says what a correction is to be held against.
func (p Proposal) class() string {
	c, has := toleranceC(p.letter, 2, p.use.AtC)
	if !has || p.Correction.Relative() {
		return ""
	}
	return fmt.Sprintf("; without one a class 2 probe may be off by %.1f there", c)
}

// tellSpread says how far the probes lay apart, and how far those that know do corrected.
func (s *session) tellSpread(points map[int]Point, corrected map[int]float64) error {
	shown := map[int]float64{}
	for i, p := range points {
		shown[i] = p.ShownC
	}
	if s.JSON {
		o := map[string]any{"spread_c": spread(shown), "spread_corrected_c": nil}
		if len(corrected) > 1 {
			o["spread_corrected_c"] = spread(corrected)
		}
		return s.object(o)
	}
	s.say("  The probes lie %.2f °C apart.\n", spread(shown))
	if len(corrected) > 1 {
		s.say("  By ice or boiling water, %s would lie %.2f °C apart corrected.\n", strings.Join(s.names(slices.Sorted(maps.Keys(corrected))), ", "), spread(corrected))
	}
	return nil
}

// spread is the largest of some less the smallest.
func spread(all map[int]float64) float64 {
	values := slices.Collect(maps.Values(all))
	return slices.Max(values) - slices.Min(values)
}

// plain is what was typed without what does not matter. The letters of a unit do.
func plain(line string) string {
	words := strings.TrimRight(strings.TrimSpace(line), ".")
	if _, is, _ := boiling.Said(words); is {
		return words
	}
	return strings.ToLower(words)
}

// line waits for what is typed; "" is the end of the input. Everything is told zero meanwhile.
func (s *session) line(ctx context.Context) (string, error) {
	s.say("> ")
	for end := s.Clock.Now() + leftAlone; s.Clock.Now() < end; {
		select {
		case line, open := <-s.typed:
			if words := plain(line); words != "" || !open {
				return words, nil
			}
		default:
		}
		if err := s.cycle(ctx); err != nil {
			return "", err
		}
	}
	return "", fmt.Errorf("nobody typed anything within %.0f minutes; the points that were taken are kept", leftAlone.Minutes())
}

func (s *session) object(o map[string]any) error { return json.NewEncoder(s.Out).Encode(o) }

// say prints words, for a person.
func (s *session) say(format string, args ...any) {
	if s.JSON {
		return
	}
	s.told = 0
	fmt.Fprintf(s.Out, format, args...)
}

// cycle reads every probe once, tells every output zero, and waits for the next beat.
func (s *session) cycle(ctx context.Context) error {
	began := s.Clock.Now()
	snapshot := s.bus.Poll(ctx, config.Period*3/5)
	now := s.Clock.Now()
	s.Clock.KeptUp(snapshot.Whole && now < began+config.Period)
	snapshot.Temperatures(s.latest, now)
	s.bus.ApplyAt(control.Outputs{Duty: make([]float64, len(s.Bench.Pots))}, now)
	for i := range s.windows {
		if !s.latest[i].Usable(guard.MaxAge) {
			s.windows[i].forget()
			continue
		}
		s.windows[i].add(s.latest[i].C)
	}
	s.due = max(s.due+config.Period, s.Clock.Now())
	s.Clock.Sleep(ctx, s.due-s.Clock.Now())
	if ctx.Err() != nil {
		return ErrStopped
	}
	return nil
}
