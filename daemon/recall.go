package daemon

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/loop"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices/registers"
)

// Recalled is what is known of a pot when a run starts.
type Recalled struct {
	Pot, Digest string
	// Known is nil where it is the pot's first heat, as far as anybody knows.
	Known *loop.Known
	// Tuned is true where Known is nothing but what a trial has tuned, FirstHeat where it is
	// from a first heat, and Held where an evening has left something, whether it fits or not.
	Tuned, FirstHeat, Held bool
	// From is when it was found out, Sessions how many evenings on end have gone into it.
	From     time.Time
	Sessions int
}

// String says what is known of the pot.
func (r Recalled) String() string {
	day := r.From.Local().Format(time.DateOnly)
	switch {
	case r.Known == nil:
		return "first heat: nothing is known of it yet"
	case r.Tuned:
		return fmt.Sprintf("tried out by %s, and not known otherwise", day)
	case r.FirstHeat:
		return fmt.Sprintf("known from first heat of %s", day)
	case r.Sessions == 1:
		return fmt.Sprintf("known from %s, 1 session", day)
	}
	return fmt.Sprintf("known from %s, %d sessions", day, r.Sessions)
}

// Recall looks up what earlier runs have found out about each pot of the settings, for a
// run that starts now. What can not be read is not known: a first heat needs none of it.
func Recall(s *history.Store, b *config.Bench, set control.Settings, o history.Start) ([]Recalled, error) {
	all := make([]Recalled, len(set.Pots))
	var troubles []error
	for i := range set.Pots {
		r := &all[i]
		r.Pot, r.Digest = set.Pots[i].Name, potDigest(b, set.Pots[i].Name)
		kept, sessions, err := s.Known(time.Now(), o, r.Pot, r.Digest)
		if errors.Is(err, history.ErrNotKnown) {
			continue
		}
		known := &loop.Known{}
		if err == nil {
			err = json.Unmarshal([]byte(kept.Figures), known)
		}
		if err != nil {
			troubles = append(troubles, fmt.Errorf("pot %q: what was found out about it can not be read, so it is taken for new: %w", r.Pot, err))
			continue
		}
		r.Held = !known.FirstHeat()
		p := set.Pots[i].LoopPot()
		if fits := known.Fits(p); fits || known.Tunes(p) {
			r.Known, r.Tuned, r.FirstHeat, r.From, r.Sessions = known, !fits, known.FirstHeat(), kept.At, sessions
		}
	}
	return all, errors.Join(troubles...)
}

// TellRecalled writes a line about each pot.
func TellRecalled(out io.Writer, all []Recalled, trouble error) {
	for _, r := range all {
		fmt.Fprintln(out, lines.Hang("", "  ", fmt.Sprintf("pot %s: %s", r.Pot, r)))
	}
	if trouble != nil {
		fmt.Fprintln(out, lines.Fitted(trouble.Error()))
	}
}

// potDigest stands for what measures and heats a pot: its heater's power, its channels,
// and where the devices of these are.
func potDigest(b *config.Bench, pot string) string {
	var hardware struct {
		Pots     []config.Pot
		Channels []registers.Channel
		Devices  []config.Device
	}
	for _, p := range b.Pots {
		if p.Name == pot {
			hardware.Pots = append(hardware.Pots, config.Pot{Name: p.Name, HeaterW: p.HeaterW, Output: p.Output})
		}
	}
	for _, c := range b.Channels {
		if c.Pot == pot && c.Role != registers.Lid { // a lid neither measures nor heats
			hardware.Channels = append(hardware.Channels, c)
		}
	}
	for _, d := range b.Devices {
		if slices.ContainsFunc(hardware.Channels, func(c registers.Channel) bool { return c.Device == d.Name }) {
			hardware.Devices = append(hardware.Devices, config.Device{Name: d.Name, Line: d.Line, Unit: d.Unit})
		}
	}
	text, err := json.Marshal(hardware)
	if err != nil {
		panic(fmt.Sprintf("a bench that passed its checks can not be written down: %v", err)) // its numbers are finite
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// withRecalled is settings with what is known of the pots; those it came from stay as
// they are.
func withRecalled(s control.Settings, all []Recalled) control.Settings {
	s.Pots = slices.Clone(s.Pots)
	for i := range all {
		s.Pots[i].Known = all[i].Known
	}
	return s
}

// Learnt is what a bench has found out about its pots, as far as it is worth keeping. The
// first evening after a first heat begins anew: there is nothing held in that.
func Learnt(bench *control.Bench, pots []Recalled, at time.Time) (all []history.Known) {
	for i, r := range pots {
		known, worth, recalled := bench.Known(i)
		if !worth {
			continue
		}
		if text, err := json.Marshal(known); err == nil { // what is no number is not worth it
			all = append(all, history.Known{At: at, Pot: r.Pot, Digest: r.Digest, Anew: !recalled || r.FirstHeat, Figures: string(text)})
		}
	}
	return all
}

// words are what is known of each pot, in words.
func words(all []Recalled) (said []string) {
	for _, r := range all {
		said = append(said, r.String())
	}
	return said
}
