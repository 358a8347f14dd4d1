package calibrate

import (
	"crypto/sha256"
	"encoding/hex"
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
	pointsApart = 30 * 24 * time.Hour  // E: points that are further apart may be of a probe that has changed
	keptFor     = 12 * time.Hour       // E: an evening; so a session is gone on with
	otherPlaceC = 20.0                 // E: points of one kind that are further apart are two
)

// probes are the roles of channels that can be calibrated.
var probes = []registers.Role{registers.Melt, registers.Plate, registers.Injector, registers.Mould, registers.Room}

// NameOf names a channel's probe, such as "melt left".
func NameOf(c registers.Channel) string { return strings.TrimSpace(string(c.Role) + " " + c.Pot) }

// Standing is what is on record of one probe, held against the bench file.
type Standing struct {
	Probe string `json:"probe"`
	// Points are those that a correction is fitted to now, the oldest first.
	Points []Point `json:"points"`
	// InForce is the correction that readings get; null where they get none. Since is when
	// it was accepted.
	InForce *Correction `json:"in_force"`
	Since   time.Time   `json:"since,omitzero"`
	// Changed is when somebody said that the probe was changed, Elsewhere when it was
	// calibrated on a channel that the bench file now describes otherwise.
	Changed   time.Time `json:"changed,omitzero"`
	Elsewhere time.Time `json:"elsewhere,omitzero"`
	// TakenBack is when a correction was taken back that none has followed.
	TakenBack time.Time `json:"taken_back,omitzero"`

	channel registers.Channel
	use     Use
	digest  string
	unread  error // why what is on record since can not be read
}

// Stand is what is on record of every probe of a bench, in the order of its file. The error
// is about records that can not be read, or hold what no sound probe needs: such a probe has
// no correction in force, and no heat may rest on it. Taking it back mends that.
func Stand(all []history.Calibration, b *config.Bench) ([]Standing, error) {
	stand, unread := []Standing{}, error(nil)
	for _, c := range b.Channels {
		if slices.Contains(probes, c.Role) {
			s := Standing{Probe: NameOf(c), channel: c, use: useOf(c, b), digest: digest(c, b)}
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
	return Stand(all, b)
}

// take takes in one thing on record.
func (s *Standing) take(k history.Calibration) {
	if k.Probe != s.Probe {
		return
	}
	if k.Digest != s.digest {
		// By its name a later word ends an earlier one all the same: a bench file that is
		// changed back must not bring the correction of an old probe back.
		switch k.Kind {
		case history.CalibrationInForce:
			s.InForce, s.Since, s.Elsewhere, s.unread = nil, time.Time{}, k.At, nil
		case history.ProbeChanged:
			s.InForce, s.Since, s.Points, s.Changed, s.unread = nil, time.Time{}, nil, k.At, nil
		}
		return
	}
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
		s.InForce, s.Since, s.Elsewhere, s.TakenBack, s.unread = c, k.At, time.Time{}, time.Time{}, nil
		if err != nil {
			s.InForce, s.Since = nil, time.Time{}
		}
	case history.CalibrationTakenBack:
		s.InForce, s.Since, s.TakenBack, s.unread = nil, time.Time{}, k.At, nil
	case history.ProbeChanged:
		s.InForce, s.Since, s.Points, s.Changed, s.unread = nil, time.Time{}, nil, k.At, nil
	}
	if err != nil {
		s.unread = fmt.Errorf("what is on record of the probe %s from %s can not be used (%w): take it back with --take-back %q, and calibrate it again", s.Probe, day(k.At), err, s.Probe)
	}
}

// newest leaves the newest point of each kind and place, and none that is much older than the
// newest of all.
func (s *Standing) newest() {
	var kept []Point
	for _, p := range slices.Backward(s.Points) {
		same := func(k Point) bool { return k.Kind == p.Kind && abs(k.TrueC-p.TrueC) < otherPlaceC }
		if !slices.ContainsFunc(kept, same) && s.Points[len(s.Points)-1].At.Sub(p.At) <= pointsApart {
			kept = append(kept, p)
		}
	}
	slices.Reverse(kept)
	s.Points = append([]Point{}, kept...)
}

func abs(v float64) float64 { return max(v, -v) }

// digest stands for a probe's channel and where its device is: with another address, scale
// or typed correction a reading is another one, and so it is on another bench whose history is
// in the same folder. A port may have another name.
func digest(c registers.Channel, b *config.Bench) string {
	c.Calibrated = registers.Calibrated{}
	at := struct {
		registers.Channel
		Bench, Line string
		Unit        uint8
	}{Channel: c, Bench: b.Name}
	for _, d := range b.Devices {
		if d.Name == c.Device {
			at.Line, at.Unit = d.Line, d.Unit
		}
	}
	text, err := json.Marshal(at)
	if err != nil {
		panic(fmt.Sprintf("a channel that passed its checks can not be written down: %v", err)) // its numbers are finite
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

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
		return fmt.Sprintf("%s was calibrated on %s, and its channel in the bench file is another one since: it is not corrected", s.Probe, day(s.Elsewhere))
	case !s.TakenBack.IsZero():
		return fmt.Sprintf("%s is not corrected: its correction was taken back on %s", s.Probe, day(s.TakenBack))
	case s.channel.Role == registers.Melt:
		return s.Probe + neverSaid
	}
	return ""
}

const neverSaid = " has never been calibrated"

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
	return fmt.Sprintf("%s; then within %.1f °C at 100 °C and %.1f at %.0f (estimates)", said, c.WithinC(100), c.WithinC(use.AtC), use.AtC)
}

func day(t time.Time) string { return t.Local().Format(time.DateOnly) }
