// Package view puts a frame into plain numbers for programs and into words for
// people. Page, API and terminal take both from here, so that they can not
// contradict each other. What is not known is null in the numbers and a dash in
// the words; a frame that is no longer live gives no reading at all.
package view

import (
	"cmp"
	"math"
	"strings"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/model"
	"meltwarden/daemon/frames"
)

// Figure is a number that JSON spells null when it is not known.
type Figure = frames.Figure

// Bench is the bench as one frame shows it. Temperatures are in degrees
// Celsius, times in seconds, powers in watts, duties from 0 to 1.
type Bench struct {
	// Live is false when no cycle has finished for two seconds; then every
	// reading is unknown.
	Live bool `json:"live"`
	// Simulated is true for an invented bench, as the demo's is.
	Simulated bool `json:"simulated"`
	// At is when the last cycle finished; null before the first.
	At *time.Time `json:"at"`
	// AgeS is how long ago that was.
	AgeS       Figure  `json:"age_s"`
	Cycle      uint64  `json:"cycle"`
	BenchTimeS float64 `json:"bench_time_s"`
	Heat       string  `json:"heat"`
	Ready      bool    `json:"ready"`
	Hot        bool    `json:"hot"` // also while nothing is known
	PowerW     Figure  `json:"power_w"`
	MouldC     Figure  `json:"mould_c"`
	RoomC      Figure  `json:"room_c"`
	Call       Call    `json:"call"`
	Pour       Pour    `json:"pour"` // of the pot off its plate that gets too cold first
	// AheadEveryS is the time between two points of Pot.AheadC.
	AheadEveryS float64     `json:"ahead_every_s"`
	Conditions  []Condition `json:"conditions"`
	Interlocks  []Interlock `json:"interlocks"`   // emergency stop, cut-out and fan
	Lids        []Interlock `json:"lids"`         // shown likewise, and no interlocks: nothing is decided by them
	CircuitW    Figure      `json:"circuit_w"`    // what the breaker carries
	BlockedCold bool        `json:"blocked_cold"` // no heat, and nothing hot: the time for the checks
	Aside       int         `json:"aside"`        // how many warnings are off lamp and buzzer, by a person's will
	Pots        []Pot       `json:"pots"`
	Shown       BenchWords  `json:"shown"`
}

// Call is what lamp and buzzer say.
type Call struct {
	Sound    string  `json:"sound"`
	Pot      int     `json:"pot"` // from 1; zero is the whole bench
	Silenced bool    `json:"silenced"`
	Seq      uint64  `json:"seq"`
	SinceS   float64 `json:"since_s"`
}

// Condition is one finding of the guard.
type Condition struct {
	Code        string `json:"code"`
	Pot         int    `json:"pot"` // from 1; zero is the whole bench
	Severity    string `json:"severity"`
	Active      bool   `json:"active"`
	Latched     bool   `json:"latched"`
	Title       string `json:"title"`
	Instruction string `json:"instruction"`
	// Act is the instruction's first sentence, what to do first, and More the rest.
	Act  string `json:"act"`
	More string `json:"more"`
	// Where names the pot in words, or the bench; Status says active, latched or both.
	Where  string `json:"where"`
	Status string `json:"status"`
	// Stands says the same to people.
	Stands string `json:"stands"`
}

// Pot is one pot of the bench.
type Pot struct {
	Number       int    `json:"number"` // from 1
	Name         string `json:"name"`
	Colour       string `json:"colour"`
	State        string `json:"state"`
	Wait         string `json:"wait"`
	WaitLeftS    Figure `json:"wait_left_s"`
	ReadyInS     Figure `json:"ready_in_s"`
	ReadyWithinS Figure `json:"ready_within_s"`
	MeltC        Figure `json:"melt_c"`
	MeltFault    string `json:"melt_fault"` // "none" for a good reading
	MeltAgeS     Figure `json:"melt_age_s"`
	PlateC       Figure `json:"plate_c"`
	PlateFault   string `json:"plate_fault"`
	PlateAgeS    Figure `json:"plate_age_s"`
	// Probes are those that the pot has: "melt and plate", "plate only" or "melt only". What
	// the other would show is estimated, within so much to either side; it is null where it
	// is read. HandC is what was last read in the melt by hand, SinceHandS ago.
	Probes         string `json:"probes"`
	MeltEstimateC  Figure `json:"melt_estimate_c"`
	MeltWithinC    Figure `json:"melt_within_c"`
	PlateEstimateC Figure `json:"plate_estimate_c"`
	PlateWithinC   Figure `json:"plate_within_c"`
	HandC          Figure `json:"hand_c"`
	SinceHandS     Figure `json:"since_hand_s"`
	InjectorC      Figure `json:"injector_c"`
	SlopeCPerMin   Figure `json:"slope_c_per_min"`
	// AheadC is the melt that is predicted for the coming minutes, to a tenth of a degree;
	// it ends where nothing is.
	AheadC []Figure `json:"ahead_c"`
	// PeakC is the warmest that the melt becomes if its heat is cut now, give or take
	// PeakWithinC.
	PeakC        Figure `json:"peak_c"`
	PeakWithinC  Figure `json:"peak_within_c"`
	SetpointC    Figure `json:"setpoint_c"`
	BandC        Figure `json:"band_c"`
	TargetC      Figure `json:"target_c"`
	PlateTargetC Figure `json:"plate_target_c"`
	Duty         Figure `json:"duty"`
	HeaterW      Figure `json:"heater_w"`
	DwelledS     Figure `json:"dwelled_s"`
	// DwellStands: in its dwell it has sunk just below its cure temperature, and no time is
	// counted until it is back there.
	DwellStands  bool   `json:"dwell_stands"`
	Clear        bool   `json:"clear"`
	Cured        bool   `json:"cured"`
	SinceStirS   Figure `json:"since_stir_s"`
	SinceColourS Figure `json:"since_colour_s"`
	InBandForS   Figure `json:"in_band_for_s"`
	Ready        bool   `json:"ready"`
	Noticed      bool   `json:"noticed"`    // a lift that nobody marked
	LooksBack    bool   `json:"looks_back"` // lifted, and by its readings on its plate again
	Pour         Pour   `json:"pour"`
	Drawn        Drawn  `json:"drawn"`    // in its injector
	Uncured      bool   `json:"uncured"`  // its cure was taken back, and nobody has pressed since
	Marks        []Mark `json:"marks"`    // that can be taken back, the youngest first
	Recalled     bool   `json:"recalled"` // it goes by what earlier evenings found out
	// Doubted: it answers otherwise than it is taken to. Tuned: a trial has found how.
	// TrialSwing is under way of TrialOf, zero where there is no trial.
	Doubted    bool   `json:"doubted"`
	Tuned      bool   `json:"tuned"`
	TrialSwing int    `json:"trial_swing"`
	TrialOf    int    `json:"trial_of"`
	TrialLeftS Figure `json:"trial_left_s"`
	// Controller is the device that holds the plate by itself; null where there is none, and
	// while nothing is known. The duty is not known then.
	Controller *Controller `json:"controller"`
	Shown      PotWords    `json:"shown"`
}

// Of returns the bench as frame f shows it at the time now. f may be nil: before
// the first frame nothing is known but the settings.
func Of(f *frames.Frame, s control.Settings, now time.Time) Bench {
	b := unheard()
	if f != nil {
		b.At, b.AgeS = &f.At, Figure(now.Sub(f.At).Seconds())
		b.Cycle, b.BenchTimeS = f.Cycle, f.Time.Seconds()
	}
	b.Live = f.Live(now)
	b.Interlocks, b.Lids, b.CircuitW = Interlocks(f, b.Live), lids(f, b.Live, s), Figure(s.Circuit.MaxW)
	if b.Live {
		b.fill(f, s)
	}
	for i := range s.Pots {
		b.Pots = append(b.Pots, potOf(f, b.Live, i, s))
	}
	b.Shown = benchWords(f, s, b.Live)
	b.Shown.Detail = cmp.Or(b.Shown.Detail, lostHelp(f, b.Live))
	return b
}

// unheard is a bench of which nothing is known.
func unheard() Bench {
	return Bench{
		AgeS: frames.Unknown(), PowerW: frames.Unknown(), MouldC: frames.Unknown(), RoomC: frames.Unknown(),
		Hot: true, Heat: notKnown, Conditions: []Condition{}, Pots: []Pot{},
		Call: Call{Sound: "quiet"}, Pour: noPour(), AheadEveryS: model.AheadEveryS, Shown: notLiveWords(dash),
	}
}

// fill takes over what only a live frame can tell about the bench.
func (b *Bench) fill(f *frames.Frame, s control.Settings) {
	b.Heat, b.Ready, b.Hot = f.Heat.String(), f.Ready, f.Hot
	b.BlockedCold = f.Heat == control.HeatBlocked && !f.Hot
	b.PowerW = Figure(f.PowerW)
	b.MouldC, b.RoomC = frames.Measured(f.Mould), frames.Measured(f.Room)
	b.Call = Call{f.Call.Sound.String(), f.Call.Pot, f.Call.Silenced, f.Call.Seq, f.Call.Since.Seconds()}
	b.Aside, b.Pour = f.Aside, pourOf(f.Pour)
	for _, c := range f.Conditions {
		b.Conditions = append(b.Conditions, conditionOf(c, s))
	}
}

func conditionOf(c guard.Condition, s control.Settings) Condition {
	act, more := FirstSentence(c.Instruction())
	return Condition{
		Act: act, More: more,
		Code: c.Code.String(), Pot: c.Pot + 1, Severity: c.Severity.String(),
		Active: c.Active, Latched: c.Latched,
		Title: c.Code.Title(), Instruction: c.Instruction(),
		Where: Where(c.Pot, s), Status: status(c), Stands: stands(c.Active, c.Latched),
	}
}

// FirstSentence parts a text after its first sentence.
func FirstSentence(text string) (first, rest string) {
	if before, after, found := strings.Cut(text, ". "); found {
		return before + ".", after
	}
	return text, ""
}

// potOf shows pot i. Only its settings are known while the frame is not live.
func potOf(f *frames.Frame, live bool, i int, bench control.Settings) Pot {
	s := bench.Pots[i]
	if !live || i >= len(f.Pots) {
		return unknownPot(i, s)
	}
	p := &f.Pots[i]
	pot := Pot{
		Number: i + 1, Name: s.Name, Colour: s.Colour,
		State: p.State.String(), Wait: p.Wait.String(), WaitLeftS: since(p.WaitLeft),
		ReadyInS: since(p.ReadyIn), ReadyWithinS: readyWithin(p),
		MeltC: frames.Melt(p), MeltFault: p.Melt.Fault.String(), MeltAgeS: frames.Age(p.Melt),
		PlateC: frames.Measured(p.Plate), PlateFault: p.Plate.Fault.String(), PlateAgeS: frames.Age(p.Plate),
		InjectorC:    frames.Measured(p.Injector),
		SlopeCPerMin: slope(p), AheadC: ahead(p), PeakC: Figure(p.PeakC), PeakWithinC: Figure(p.PeakWithinC),
		SetpointC: Figure(p.SetpointC), BandC: Figure(p.BandC), TargetC: Figure(p.TargetC),
		PlateTargetC: Figure(p.PlateTargetC), Duty: Figure(p.Duty), HeaterW: Figure(p.Duty * s.HeaterW),
		DwelledS: Figure(p.Dwelled.Seconds()), DwellStands: p.DwellStands, Clear: p.Clear, Cured: p.Cured,
		SinceStirS: sinceStir(p), SinceColourS: since(p.SinceColour), InBandForS: Figure(p.InBandFor.Seconds()),
		Ready: p.State == control.Ready, Recalled: p.Recalled, Uncured: p.Uncured, Marks: marksOf(p),
		Doubted: p.Doubted, Tuned: p.Tuned, TrialSwing: p.Trial.Swing, TrialOf: p.Trial.Of, TrialLeftS: trialLeft(p),
		Noticed: p.Noticed, LooksBack: p.LooksBack, Pour: pourOf(p.Pour),
		Controller: controllerOf(p),
		Shown:      potWords(f, i, bench),
	}
	pot.estimates(p)
	pot.showDraw(f, p, bench.Injector)
	pot.Shown.partCountdown()
	return pot
}

// readyWithin is how far off the word of when the pot is ready may be.
func readyWithin(p *control.PotFrame) Figure {
	if p.ReadyIn < 0 {
		return frames.Unknown()
	}
	return Figure(p.ReadyWithin.Seconds())
}

func unknownPot(i int, s control.PotSettings) Pot {
	u := frames.Unknown()
	return Pot{
		Probes: probes(s.Probes), MeltEstimateC: u, MeltWithinC: u, PlateEstimateC: u, PlateWithinC: u, HandC: u, SinceHandS: u,
		Number: i + 1, Name: s.Name, Colour: s.Colour, State: notKnown, Wait: notKnown, WaitLeftS: u, ReadyInS: u, ReadyWithinS: u,
		MeltC: u, MeltFault: notKnown, MeltAgeS: u, PlateC: u, PlateFault: notKnown, PlateAgeS: u,
		InjectorC: u, SlopeCPerMin: u, AheadC: []Figure{}, PeakC: u, PeakWithinC: u, SetpointC: Figure(s.SetpointC), BandC: Figure(s.BandC),
		TargetC: u, PlateTargetC: u, Duty: u, HeaterW: u, DwelledS: u, SinceStirS: u, SinceColourS: u, InBandForS: u, TrialLeftS: u,
		Pour: noPour(), Drawn: noDrawn(), Marks: []Mark{},
		Shown: unknownWords(s),
	}
}

// trialLeft is what a trial still takes, where there is one.
func trialLeft(p *control.PotFrame) Figure {
	if p.Trial.Of == 0 {
		return frames.Unknown()
	}
	return Figure(p.Trial.LeftS)
}

// ahead is what is predicted, as far as it goes.
func ahead(p *control.PotFrame) []Figure {
	points := []Figure{}
	for _, c := range p.AheadC {
		if !Figure(c).Known() {
			break
		}
		points = append(points, Figure(math.Round(10*c)/10))
	}
	return points
}

// since is a duration that is negative when it is not known.
func since(d time.Duration) Figure {
	if d < 0 {
		return frames.Unknown()
	}
	return Figure(d.Seconds())
}

func sinceStir(p *control.PotFrame) Figure {
	if !p.StirredEver {
		return frames.Unknown()
	}
	return Figure(p.SinceStir.Seconds())
}

// slope is only worth showing while the reading it comes from is.
func slope(p *control.PotFrame) Figure {
	if !frames.Melt(p).Known() {
		return frames.Unknown()
	}
	return Figure(p.SlopeCPerMin)
}
