package calibrate

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
)

// aheadFor is how far a point may lie ahead of the clock, which is put right by seconds
// where a network tells the time (E).
const aheadFor = time.Minute

// fresh reports whether a point counts at a time: for an evening, whatever others there are,
// because nobody can tell whether the probe was changed since.
func (p Point) fresh(now time.Time) bool {
	age := now.Sub(p.At)
	return age >= -aheadFor && age <= keptFor
}

// taken says when a point was taken, as seen at a time.
func (p Point) taken(now time.Time) string {
	if age := now.Sub(p.At); age < -aheadFor {
		return fmt.Sprintf("%s was taken %s from now by the clock of this computer, which was put back since", p.Words, ago(-age))
	}
	return fmt.Sprintf("%s was taken %s ago, on %s", p.Words, ago(max(0, now.Sub(p.At))), p.At.Local().Format("2006-01-02 15:04"))
}

// outdated says why nothing is made of a probe's points at a time; "" where something is.
func (s *Standing) outdated(now time.Time) string {
	if len(s.Points) == 0 {
		return "no point is on record of it" + leading("; ", s.leftOut(now))
	}
	var said, again []string
	for _, p := range s.Points {
		if !p.fresh(now) {
			said, again = append(said, p.taken(now)), append(again, p.Words)
		}
	}
	switch {
	case len(said) == 0:
		return ""
	case s.InForce != nil && !s.news:
		return fmt.Sprintf("nothing was measured of it since its correction was put in force on %s; take its points again", day(s.Since))
	}
	return fmt.Sprintf("%s. A point counts for %.0f hours: the probe may have been changed since. Take again: %s",
		strings.Join(said, "; "), keptFor.Hours(), strings.Join(again, ", "))
}

// current reports whether something is to be said at a time of what the points mean.
func (s *Standing) current(now time.Time) bool {
	return len(s.Points) > 0 && (s.news || slices.ContainsFunc(s.Points, func(p Point) bool { return p.fresh(now) }))
}

// leftOut says of points that nothing is made of how old they are at a time, and why.
func (s *Standing) leftOut(now time.Time) (said []string) {
	for _, p := range s.earlier {
		said = append(said, p.taken(now)+", more than an evening from the newest point")
	}
	for _, p := range s.moved {
		said = append(said, p.taken(now)+", on another channel, type, adapter or bench than the bench file has now: take it again")
	}
	for _, p := range s.alike {
		said = append(said, p.taken(now)+", under another name of the bench, and nothing shows that it is this bench: take it again")
	}
	return said
}

// leading joins what is said, with something before it where there is anything.
func leading(before string, said []string) string {
	if len(said) == 0 {
		return ""
	}
	return before + strings.Join(said, "; ")
}

// knows is the correction by which a probe can tell others what they should show: that of
// this evening's points, or one in force that is not too old; nil where it knows of no truth.
func (s *Standing) knows(now time.Time) *Correction {
	if c := s.Propose(now).Correction; c != nil && c.byItself() {
		return c
	}
	if c := s.InForce; c != nil && c.byItself() && now.Sub(s.measured()) <= oldAfter {
		return c
	}
	return nil
}

// by says what a proposal is made of, and how old that is; and what is left out.
func (p Proposal) by(now time.Time) string {
	var by []string
	for _, k := range p.Correction.Points {
		by = append(by, fmt.Sprintf("%s (%s ago)", k.Words, ago(max(0, now.Sub(k.At)))))
	}
	said := strings.Join(by, " and ")
	return said + p.counting() + leading(". LEFT OUT: ", p.LeftOut)
}

// counting names the points that alone count, and says why; "" where all do.
func (p Proposal) counting() string {
	all, near := p.Correction.Points, nearHottest(p.Correction.Points)
	if p.Correction.Sloped() || len(near) == len(all) {
		return ""
	}
	var names []string
	for _, k := range near {
		names = append(names, k.Words)
	}
	verb := map[bool]string{true: "counts", false: "count"}[len(near) == 1]
	why := "a slope through them would leave more open than none"
	if !sums(all).apart() {
		why = fmt.Sprintf("for a slope they have to lie %.0f °C apart", apartK)
	}
	return fmt.Sprintf(", of which %s alone %s: %s", strings.Join(names, " and "), verb, why)
}

// accept puts in force what is proposed.
func (s *session) accept() error {
	stand, err := Load(s.History, s.Bench)
	if err != nil {
		return err
	}
	made, accepted, refused := []Proposal{}, []string{}, []string{}
	now := time.Now()
	for _, i := range s.chosen {
		k := standingOf(stand, NameOf(s.Wiring.Channels[i]))
		p := k.Propose(now)
		if p.Correction == nil {
			refused = append(refused, fmt.Sprintf("%s: %s", k.Probe, p.Refused))
			continue
		}
		if err := s.record(k.channel, history.CalibrationInForce, p.Correction); err != nil {
			return err
		}
		made, accepted = append(made, p), append(accepted, k.Probe)
		s.say("%s\n", lines.Hang("  ", "    ", fmt.Sprintf("In force from the next start of serve on: %s %s; by %s.%s",
			k.Probe, p.Correction.Words(k.use), p.by(now), k.drift(*p.Correction))))
	}
	if s.JSON {
		if err := s.object(map[string]any{"in_force": accepted, "refused": refused, "accepted": made}); err != nil {
			return err
		}
	}
	if len(refused) > 0 {
		return fmt.Errorf("not put in force: %s", strings.Join(refused, "; "))
	}
	return nil
}

// drift says how far a probe is from where another evening found it, at points like those of
// then: between and beyond them nothing was measured, and what a class leaves open there is the
// same on both evenings. More than both points leave open is another probe, or one that ages.
func (s *Standing) drift(now Correction) string {
	was := s.InForce
	if was == nil || was.Relative() || now.Relative() || abs(now.Points[0].At.Sub(s.measured())) <= keptFor {
		return ""
	}
	var said, far []string
	for _, p := range now.Points {
		i := slices.IndexFunc(was.Points, p.like)
		if i < 0 {
			continue
		}
		by, within := p.moved(was.Points[i])
		said = append(said, fmt.Sprintf("%+.1f °C at %.0f °C (%s)", by, p.TrueC, p.Words))
		if math.Abs(by) > within {
			far = append(far, fmt.Sprintf("%.0f °C", p.TrueC))
		}
	}
	if len(said) == 0 {
		return fmt.Sprintf(" Whether it reads as it did on %s is not known: no point is like one of then.", day(s.measured()))
	}
	told := fmt.Sprintf(" Against %s it reads %s.", day(s.measured()), strings.Join(said, ", "))
	if len(far) > 0 {
		told += fmt.Sprintf(" At %s that is more than both times leave open: is it another probe, or does it age? Calibrate it again before long.", strings.Join(far, " and "))
	}
	return told
}

// like reports whether two points are of one kind and place.
func (p Point) like(k Point) bool { return p.Kind == k.Kind && abs(p.TrueC-k.TrueC) < otherPlaceC }

// moved is by how much more is shown in p than was in an earlier point like it, and how far
// that may be off: by what both leave open, and by what the class lets an error grow from one
// to the other.
func (p Point) moved(then Point) (byC, withinC float64) {
	return p.ShownC - p.TrueC - (then.ShownC - then.TrueC),
		math.Hypot(math.Hypot(p.within(), then.within()), classPerC*(p.TrueC-then.TrueC))
}
