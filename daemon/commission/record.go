// Package commission puts on record that a bench's heaters may be switched on:
// what protects the bench without this program, in its owner's words; that every
// interlock's contact was seen open; that a controller whose own sensor is not read takes its
// set-point for the temperature that was meant, as its display shows; that every melt probe is
// on its own channel; that every device reports heaters and contactor
// off by itself when the line goes silent, also once its supply was off (by its own
// registers: a relay that sticks is not seen by this); and that every heater is behind
// the contactor and warms its own plate, as its own probe sees it.
//
// Besides the daemon this is the only code that switches a heater on, and it does
// so only on a cold bench, after a deliberate press of the bench's own button for
// each step, within bounds of duty, time and temperature that stand in limits.go.
// However a step ends, zeros are written at its end, and it is said when a device
// did not confirm them. What it can not bound is a program that is killed while it
// tries out a device that does not let go: so every step asks for a person at the
// emergency stop.
package commission

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/devices/registers"
)

// Record is what is on record of one bench. It is added to step by step.
type Record struct {
	Program string    `json:"program"` // the version that saved it
	Digest  string    `json:"digest"`  // of the hardware that it is about
	Saved   time.Time `json:"saved"`
	Answers []Answer  `json:"answers"`
	Proofs  []Proof   `json:"proofs"`
	Nudges  []Nudge   `json:"nudges"`
	Melts   []Dip     `json:"melts"`
	// Displays are what was read on those of controllers; null where no one had to be.
	Displays []Display `json:"displays,omitempty"`
	// ToldC is what the controller of each such pot was told last, in degrees Celsius, also for
	// a bench file that was changed since: the next time it is told something else.
	ToldC map[string]float64 `json:"told_c,omitempty"`
	// Interlocks are those that a person has opened and closed.
	Interlocks []Interlock `json:"interlocks"`
	// Adapters are those that the lines had; records that were begun before there were any
	// here have none.
	Adapters []Adapter `json:"adapters,omitempty"`
	// Heated is when somebody last pressed for a step with heat, also for a bench file that
	// was changed since: plates may be warm from that.
	Heated time.Time `json:"heated,omitzero"`
}

// Answer is a person's word on one question.
type Answer struct {
	Question string    `json:"question"` // its key
	Words    string    `json:"words"`    // as typed
	At       time.Time `json:"at"`
}

// Proof is how a device behaved when its line went silent.
type Proof struct {
	Device  string    `json:"device"`
	Outputs []string  `json:"outputs"`
	At      time.Time `json:"at"`
	// StillOnS is the longest silence, in seconds, at the end of which an output was
	// still on, and LetGoS the shortest after which all were off. LetGoS is zero for
	// a device that did not let go.
	StillOnS float64 `json:"still_on_s"`
	LetGoS   float64 `json:"let_go_s"`
	// ReadS is for how many seconds its line was read without a write, at the end of
	// which all were off as well.
	ReadS float64 `json:"read_s"`
	// AgainS is the silence, in seconds, after which all were off again once the
	// device's supply had been off; zero until that was tried.
	AgainS float64 `json:"again_s"`
	// Trouble is why the device is not proven, or empty.
	Trouble string `json:"trouble,omitempty"`
}

// tried reports whether the device let go, and soon enough, as it was set.
func (p *Proof) tried() bool {
	return p.Trouble == "" && p.LetGoS > 0 && p.LetGoS <= mustLetGo.Seconds() && p.ReadS >= mustLetGo.Seconds()
}

// passed reports whether it also did so after its supply had been off.
func (p *Proof) passed() bool {
	return p.tried() && p.AgainS > 0 && p.AgainS <= mustLetGo.Seconds()
}

// Result is what the nudge of a heater showed at the plates, or a warm melt probe at
// the melts.
type Result string

// The results. Only Right lets a bench be heated.
const (
	Right    Result = "right"    // its own reading rose, and no other
	Crossed  Result = "crossed"  // another one moved
	Reversed Result = "reversed" // its own reading fell
	Missing  Result = "missing"  // none moved
	Both     Result = "both"     // its own reading rose, and another one as well
	Weak     Result = "too weak" // of a heater: too slow to tell whether it is behind the contactor
	Differs  Result = "differs"  // of a melt probe: it is not what a thermometer says
)

// Nudge is one heater switched on a little.
type Nudge struct {
	Pot    string    `json:"pot"`
	At     time.Time `json:"at"`
	Result Result    `json:"result"`
	// Other is the pot whose plate moved as well, or instead.
	Other string `json:"other,omitempty"`
	// OpenS is for how many seconds the heater had its duty with the contactor open,
	// and no plate moved.
	OpenS float64 `json:"open_s"`
	// HeatedS is for how many seconds the heater had its duty; EnergyJ what it gave
	// by its rated power, in joules.
	HeatedS float64 `json:"heated_s"`
	EnergyJ float64 `json:"energy_j"`
	// Moved is by how much each plate's reading moved, and MeltMoved each melt's, in
	// degrees Celsius, by pot.
	Moved     map[string]float64 `json:"moved_c"`
	MeltMoved map[string]float64 `json:"melt_moved_c"`
}

// passed reports whether the heater is behind the contactor, and warms its own plate
// only. With the contactor open it must have had its duty for at least as long as it
// then took to move the plate by nudgeRiseC: what is too slow to show proves nothing.
func (n *Nudge) passed() bool {
	return n.Result == Right && n.OpenS >= openFor.Seconds() && n.OpenS >= n.HeatedS
}

// Dip is one melt probe held in a cup of hot water, with every output told zero.
type Dip struct {
	Pot    string    `json:"pot"`
	At     time.Time `json:"at"`
	Result Result    `json:"result"`
	// Other is the pot whose melt moved as well, or instead.
	Other string `json:"other,omitempty"`
	// Moved is by how much each melt's reading moved, in degrees Celsius, by pot.
	Moved map[string]float64 `json:"moved_c"`
	// ThermometerC is what a thermometer in the same cup said, or where boiling water
	// boils, and ShownC what the probe showed then, in degrees Celsius; both are null where
	// nobody compared them. Boiling is how that was typed, "" for a thermometer.
	ThermometerC *float64 `json:"thermometer_c"`
	ShownC       *float64 `json:"shown_c"`
	Boiling      string   `json:"boiling,omitempty"`
	// Fits is the mix-up of types that fits what was shown, where one does.
	Fits string `json:"fits,omitempty"`
}

// passed reports whether the probe is on its own channel, and of the right type.
func (d *Dip) passed() bool { return d.Result == Right && d.ThermometerC != nil }

// yearly is after how long a step no longer counts (C: tested at least yearly).
const yearly = 365 * 24 * time.Hour

const tooLongAgo = "more than 365 days ago: it is to be tested at least yearly"

// lapsed reports whether a step was done too long ago, in wall time.
func lapsed(at time.Time) bool { return time.Since(at) > yearly }

// done reports whether a step is on record, has passed and has not lapsed.
func (p *Proof) done() bool     { return p != nil && p.passed() && !lapsed(p.At) }
func (n *Nudge) done() bool     { return n != nil && n.passed() && !lapsed(n.At) }
func (d *Dip) done() bool       { return d != nil && d.passed() && !lapsed(d.At) }
func (i *Interlock) done() bool { return i != nil && !lapsed(i.At) }

// lapses is when the oldest step of a record lapses.
func (r *Record) lapses() time.Time {
	var done []time.Time
	for _, a := range r.Answers {
		done = append(done, a.At)
	}
	for _, p := range r.Proofs {
		done = append(done, p.At)
	}
	for _, i := range r.Interlocks {
		done = append(done, i.At)
	}
	for _, n := range r.Nudges {
		done = append(done, n.At)
	}
	for _, d := range r.Melts {
		done = append(done, d.At)
	}
	for _, d := range r.Displays {
		done = append(done, d.At)
	}
	return slices.MinFunc(done, time.Time.Compare).Add(yearly)
}

// Digest stands for the hardware that a bench file describes: lines, devices,
// channels, and the pots with the power of their heaters. Recipes, limits, the
// words on protection and the daemon's settings are no part of it.
func Digest(b *config.Bench) string {
	type pot struct {
		Name    string
		HeaterW float64
	}
	hardware := struct {
		Lines    []config.Line
		Devices  []config.Device
		Channels []registers.Channel
		Pots     []pot
	}{Lines: b.Lines, Devices: b.Devices, Channels: b.Channels}
	for _, p := range b.Pots {
		hardware.Pots = append(hardware.Pots, pot{p.Name, p.HeaterW})
	}
	text, err := json.Marshal(hardware)
	if err != nil {
		panic(fmt.Sprintf("a bench that passed its checks can not be written down: %v", err)) // its numbers are finite
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// Load returns the newest record in a history, or nil where there is none.
func Load(s *history.Store) (*Record, error) {
	kept, err := s.Commission()
	if errors.Is(err, history.ErrNotCommissioned) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	r := &Record{}
	if err := json.Unmarshal([]byte(kept.Record), r); err != nil {
		return nil, fmt.Errorf("history %s: the commissioning on record can not be read (%w): begin again with meltwarden commission --anew", s.Path(), err)
	}
	return r, nil
}

// answer returns what was answered to a question, or nil.
func (r *Record) answer(question string) *Answer {
	i := slices.IndexFunc(r.Answers, func(a Answer) bool { return a.Question == question })
	if i < 0 {
		return nil
	}
	return &r.Answers[i]
}

// proof returns what is on record of a device, or nil.
func (r *Record) proof(device string) *Proof {
	i := slices.IndexFunc(r.Proofs, func(p Proof) bool { return p.Device == device })
	if i < 0 {
		return nil
	}
	return &r.Proofs[i]
}

// nudge returns what is on record of a pot, or nil.
func (r *Record) nudge(pot string) *Nudge {
	i := slices.IndexFunc(r.Nudges, func(n Nudge) bool { return n.Pot == pot })
	if i < 0 {
		return nil
	}
	return &r.Nudges[i]
}

// dip returns what is on record of a pot's melt probe, or nil.
func (r *Record) dip(pot string) *Dip {
	i := slices.IndexFunc(r.Melts, func(d Dip) bool { return d.Pot == pot })
	if i < 0 {
		return nil
	}
	return &r.Melts[i]
}

// put replaces what a list has of the same thing, or adds to it.
func put[T any](list []T, v T, same func(T) bool) []T {
	if i := slices.IndexFunc(list, same); i >= 0 {
		list[i] = v
		return list
	}
	return append(list, v)
}
