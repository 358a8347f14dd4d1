package calibrate

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/devices"
	"meltwarden/devices/registers"
)

// For how long things on record count.
const (
	oldAfter    = 365 * 24 * time.Hour // C: a thermometer is checked at least yearly
	keptFor     = 12 * time.Hour       // E: an evening, whose points are one calibration
	otherPlaceC = 20.0                 // E: points of one kind that are further apart are two
)

// probes are the roles of channels that can be calibrated.
var probes = []registers.Role{registers.Melt, registers.Plate, registers.Injector, registers.Mould, registers.Room}

// NameOf names a channel's probe, such as "melt left".
func NameOf(c registers.Channel) string { return strings.TrimSpace(string(c.Role) + " " + c.Pot) }

// Standing is what is on record of one probe, held against the bench file.
type Standing struct {
	Probe string `json:"probe"`
	// Points are those that a correction is fitted to now, the oldest first: of one evening.
	Points []Point `json:"points"`
	// InForce is the correction that readings get; null where they get none. Since is when
	// it was accepted.
	InForce *Correction `json:"in_force"`
	Since   time.Time   `json:"since,omitzero"`
	// CalledThen is what the bench was called when that was accepted, where it has another
	// name now.
	CalledThen string `json:"called_then,omitempty"`
	// Changed is when somebody said that the probe was changed, Elsewhere when it was
	// calibrated on a channel that the bench file now describes otherwise.
	Changed   time.Time `json:"changed,omitzero"`
	Elsewhere time.Time `json:"elsewhere,omitzero"`
	// OtherBench is what a bench is called that has a correction of a channel like this, where
	// nothing shows that it is this bench under another name: readings get nothing of it.
	OtherBench string `json:"other_bench,omitempty"`
	// TakenBack is when a correction was taken back that none has followed.
	TakenBack time.Time `json:"taken_back,omitzero"`

	channel registers.Channel
	use     Use
	known   known
	unread  error // why what is on record since can not be read
	// earlier are points of evenings before of which no correction was made, moved such as
	// were taken on another channel or adapter, and alike under another name of the bench,
	// where nothing shows that it was this one. used are how many of the points that are on
	// record came before the newest correction, and news says that some came after it.
	earlier, moved, alike []Point
	used                  int
	news                  bool
	// ruled says that a correction was put in force or taken back under the present name of
	// the bench. Under a former one only that the probe was changed undoes it.
	ruled bool
}

// Stand is what is on record of every probe of a bench, in the order of its file. The error
// is about records that can not be read, or hold what no sound probe needs: such a probe has
// no correction in force, and no heat may rest on it. Taking it back mends that. Formerly are
// the bench files of before, as typed: by their names records are found that go by a name.
func Stand(all []history.Calibration, b *config.Bench, formerly ...string) ([]Standing, error) {
	stand, unread := []Standing{}, error(nil)
	for _, c := range b.Channels {
		if slices.Contains(probes, c.Role) {
			s := Standing{Probe: NameOf(c), channel: c, use: useOf(c, b), known: knownBy(c, b, formerly)}
			for _, k := range all {
				s.take(k)
			}
			s.newest()
			stand, unread = append(stand, s), errors.Join(unread, s.unread)
		}
	}
	return stand, unread
}

// Load is Stand of what a history holds.
func Load(h *history.Store, b *config.Bench) ([]Standing, error) {
	all, err := h.Calibrations()
	if err != nil {
		return nil, err
	}
	var formerly []string
	if slices.ContainsFunc(all, func(k history.Calibration) bool { return placeIn(k) == nil }) {
		if formerly, err = h.BenchFiles(); err != nil {
			return nil, err
		}
	}
	return Stand(all, b, formerly...)
}

// take takes in one thing on record.
func (s *Standing) take(k history.Calibration) {
	if k.Probe != s.Probe {
		return
	}
	was, is := s.known.of(k)
	if former := was.Bench != s.known.Bench; former && s.ruled && is != alike && (k.Kind == history.CalibrationInForce || k.Kind == history.CalibrationTakenBack) {
		return
	}
	switch is {
	case alike:
		s.takeAlike(k, was.Bench)
	case moved:
		s.takeMoved(k)
	case own:
		s.takeOwn(k, was.Bench)
	}
}

// takeAlike takes in what may be of another bench, to tell of it.
func (s *Standing) takeAlike(k history.Calibration, bench string) {
	switch k.Kind {
	case history.CalibrationPoint:
		s.alike = appendPoint(s.alike, k)
	case history.CalibrationInForce:
		s.OtherBench, s.alike = bench, nil
	default:
		if s.OtherBench == bench {
			s.OtherBench, s.alike = "", nil
		}
	}
}

// takeMoved takes in what is of this bench and not of the channel as it is now. By its name a
// later word ends an earlier one all the same: a bench file that is changed back must not
// bring the correction of an old probe back.
func (s *Standing) takeMoved(k history.Calibration) {
	switch k.Kind {
	case history.CalibrationPoint:
		s.moved = appendPoint(s.moved, k)
	case history.CalibrationInForce:
		s.drop()
		s.Elsewhere = k.At
	case history.ProbeChanged:
		s.change(k.At)
	}
}

// appendPoint takes in a point that nothing is made of; one that can not be read is none.
func appendPoint(points []Point, k history.Calibration) []Point {
	var p Point
	if json.Unmarshal([]byte(k.Record), &p) != nil {
		return points
	}
	return append(points, p)
}

// takeOwn takes in what is of the probe, from when its bench was called so.
func (s *Standing) takeOwn(k history.Calibration, bench string) {
	now := bench == s.known.Bench
	var err error
	switch k.Kind {
	case history.CalibrationPoint:
		var p Point
		if err = json.Unmarshal([]byte(k.Record), &p); err == nil {
			s.Points = append(s.Points, p)
		}
	case history.CalibrationInForce:
		c := &Correction{}
		if err = json.Unmarshal([]byte(k.Record), c); err == nil {
			err = c.absurd(s.channel.CorrectionC, s.use.UpToC)
		}
		s.drop()
		s.Elsewhere, s.TakenBack = time.Time{}, time.Time{}
		s.used, s.moved, s.alike, s.ruled = len(s.Points), nil, nil, now
		if err == nil {
			s.InForce, s.Since = c, k.At
			if !now {
				s.CalledThen = bench
			}
		}
	case history.CalibrationTakenBack:
		s.drop()
		s.TakenBack, s.used, s.ruled = k.At, 0, now
	case history.ProbeChanged:
		s.change(k.At)
	}
	if err != nil {
		s.unread = fmt.Errorf("what is on record of the probe %s from %s can not be used (%w): take it back with --take-back %q, and calibrate it again", s.Probe, day(k.At), err, s.Probe)
	}
}

// drop ends what is in force.
func (s *Standing) drop() { s.InForce, s.Since, s.CalledThen, s.unread = nil, time.Time{}, "", nil }

// change ends all that is on record, of a probe that is no more.
func (s *Standing) change(at time.Time) {
	s.drop()
	s.Points, s.moved, s.alike, s.used, s.Changed, s.ruled = nil, nil, nil, 0, at, false
}

// newest leaves the newest point of each kind and place, of the evening of the newest of all.
func (s *Standing) newest() {
	all := s.Points
	s.Points = []Point{}
	for i, p := range slices.Backward(all) {
		switch {
		case slices.ContainsFunc(s.Points, p.like) || slices.ContainsFunc(s.earlier, p.like):
		case abs(all[len(all)-1].At.Sub(p.At)) <= keptFor:
			s.Points = append(s.Points, p)
		case i >= s.used:
			s.earlier = append(s.earlier, p)
		}
	}
	s.news = len(all) > s.used
	slices.Reverse(s.Points)
}

func abs[T float64 | time.Duration](v T) T { return max(v, -v) }

// Correct is wiring with the corrections that are in force.
func Correct(w devices.Config, stand []Standing) devices.Config {
	w.Channels = slices.Clone(w.Channels)
	for i := range w.Channels {
		for _, s := range stand {
			if s.InForce != nil && s.Probe == NameOf(w.Channels[i]) {
				w.Channels[i].Calibrated = s.InForce.Calibrated
			}
		}
	}
	return w
}

// Recorded says in words what is added to readings, for a run; "" is nothing.
func Recorded(stand []Standing) string {
	var said []string
	for _, s := range stand {
		if s.InForce != nil {
			said = append(said, fmt.Sprintf("%s %+.4f °C %+.6f for each °C, since %s", s.Probe, s.InForce.OffsetC, s.InForce.PerC, day(s.Since)))
		}
	}
	return strings.Join(said, "; ")
}

// Reminder says why a probe should be calibrated, at a time; "" where there is no reason. It
// is old after a year, or once it was changed. Of a probe that nobody ever calibrated it is
// said where melts go by it.
func (s *Standing) Reminder(at time.Time) string {
	switch {
	case s.InForce != nil && at.Sub(s.measured()) > oldAfter:
		return fmt.Sprintf("%s was calibrated on %s, more than a year ago", s.Probe, day(s.measured()))
	case s.InForce != nil:
		return ""
	case !s.Changed.IsZero() && s.TakenBack.Before(s.Changed):
		return fmt.Sprintf("%s was changed on %s, and not calibrated since", s.Probe, day(s.Changed))
	case !s.Elsewhere.IsZero():
		return fmt.Sprintf("%s was calibrated on %s, and its channel, adapter or bench is another one in the bench file since: it is not corrected", s.Probe, day(s.Elsewhere))
	case !s.TakenBack.IsZero():
		return fmt.Sprintf("%s is not corrected: its correction was taken back on %s", s.Probe, day(s.TakenBack))
	case s.OtherBench != "":
		return fmt.Sprintf("%s is not corrected: a correction is on record of a bench called %q, and nothing shows that it is this bench. If it is, take the points of the probe again", s.Probe, s.OtherBench)
	case s.channel.Role == registers.Melt:
		return s.Probe + neverSaid
	}
	return ""
}

const neverSaid = " has never been calibrated"

// calledThen says under which name of the bench a correction was made, where that is another.
func (s *Standing) calledThen() string {
	if s.CalledThen == "" {
		return ""
	}
	return fmt.Sprintf(" (when the bench was called %q)", s.CalledThen)
}

// measured is when the oldest point of the correction in force was taken.
func (s *Standing) measured() time.Time {
	at := s.Since
	for _, p := range s.InForce.Points {
		if p.At.Before(at) {
			at = p.At
		}
	}
	return at
}

// Remind says in one sentence which probes should be calibrated; "" for none.
func Remind(stand []Standing, at time.Time) string {
	var never, said []string
	for i := range stand {
		if r := stand[i].Reminder(at); strings.HasSuffix(r, neverSaid) {
			never = append(never, r)
		} else if r != "" {
			said = append(said, r)
		}
	}
	if len(never) > 1 && len(never) == count(stand, registers.Melt) {
		never = []string{"no melt probe has ever been calibrated"}
	}
	said = append(never, said...)
	if len(said) == 0 {
		return ""
	}
	return "Calibration: " + strings.Join(said, "; ") + "."
}

func count(stand []Standing, r registers.Role) (n int) {
	for i := range stand {
		if stand[i].channel.Role == r {
			n++
		}
	}
	return n
}

// Words say what a probe's correction is, for its use.
func (c Correction) Words(use Use) string {
	said := fmt.Sprintf("%+.2f °C", c.OffsetC)
	if c.Sloped() {
		said = fmt.Sprintf("%+.2f °C at 20 °C, %+.2f at 100, %+.2f at %.0f", c.At(20), c.At(100), c.At(use.AtC), use.AtC)
	}
	if c.Relative() {
		return said + " to agree with the others; nobody knows by how much they all are off"
	}
	return fmt.Sprintf("%s; then within %.1f °C at 100 °C and %.1f at %.0f, in 95 of 100 cases (estimates)", said, c.WithinC(100), c.WithinC(use.AtC), use.AtC)
}

func day(t time.Time) string { return t.Local().Format(time.DateOnly) }
