package calibrate

import (
	"fmt"
	"io"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
)

// Tell writes what is on record of every probe, and how old it is, for a person.
func Tell(out io.Writer, stand []Standing, at time.Time) error {
	t := lines.To(out)
	for i := range stand {
		s := &stand[i]
		t.Line("%s", s.Probe)
		if s.InForce != nil {
			t.Line("%s", lines.Hang("  ", "    ", fmt.Sprintf("in force since %s%s, measured %s (%s ago): %s",
				day(s.Since), s.calledThen(), day(s.measured()), ago(at.Sub(s.measured())), s.InForce.Words(s.use))))
		} else {
			t.Line("%s", lines.Hang("  ", "    ", "no correction is in force"+s.proposed(at)))
		}
		for _, p := range s.Points {
			t.Line("  point of %s (%s ago): %s; showed %.2f °C where it was %.2f", day(p.At), ago(at.Sub(p.At)), p.Words, p.ShownC, p.TrueC)
		}
		if r := s.Reminder(at); r != "" {
			t.Line("%s", lines.Hang("  ", "    ", "REMINDER: "+r))
		}
	}
	if i := slices.IndexFunc(stand, func(s Standing) bool { return s.InForce != nil }); i >= 0 {
		t.Line("\nto take a correction back:\n  meltwarden calibrate --config FILE --take-back %q", stand[i].Probe)
	}
	return t.Err()
}

// proposed says what the points of a probe that is not corrected mean.
func (s *Standing) proposed(at time.Time) string {
	if len(s.Points) == 0 {
		return ""
	}
	p := s.Propose(at)
	if p.Correction == nil {
		return "; refused: " + p.Refused
	}
	return "; not accepted: " + p.Correction.Words(p.use) + leading(". LEFT OUT: ", p.LeftOut)
}

// ago is a span as it is said of something past.
func ago(span time.Duration) string {
	switch {
	case span < time.Hour:
		return fmt.Sprintf("%.0f min", span.Minutes())
	case span < 48*time.Hour:
		return fmt.Sprintf("%.0f h", span.Hours())
	}
	return fmt.Sprintf("%.0f days", span.Hours()/24)
}

// InForce says of each probe with a correction what that is, in a line.
func InForce(stand []Standing) (said []string) {
	for _, s := range stand {
		if s.InForce != nil {
			said = append(said, fmt.Sprintf("corrected: %s, measured %s%s: %s", s.Probe, day(s.measured()), s.calledThen(), s.InForce.Words(s.use)))
		}
	}
	return said
}

// Forget takes corrections back, and forgets all that is on record of probes that were
// changed: by name, or "all".
func Forget(h *history.Store, b *config.Bench, program string, takeBack, changed []string) error {
	stand, err := Load(h, b)
	if stand == nil {
		return err
	}
	var all []history.Calibration
	for kind, names := range map[history.CalibrationKind][]string{history.CalibrationTakenBack: takeBack, history.ProbeChanged: changed} {
		every := len(names) == 1 && names[0] == "all"
		if !every {
			if err := OnBench(b, names); err != nil {
				return err
			}
		}
		for _, s := range stand {
			named := every
			for _, n := range names {
				named = named || n == s.Probe
			}
			none := kind == history.CalibrationTakenBack && s.InForce == nil && s.unread == nil
			if !named || every && none {
				continue
			}
			if none {
				return fmt.Errorf("%s: no correction is in force, so there is none to take back", s.Probe)
			}
			k, err := s.known.record(program, s.Probe, kind, struct{}{})
			if err != nil {
				return err
			}
			all = append(all, k)
		}
	}
	return h.KeepCalibration(all...)
}
