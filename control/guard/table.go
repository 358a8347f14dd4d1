package guard

import "time"

// Code names one kind of finding.
type Code uint8

// The findings, in the order of the table.
const (
	_ Code = iota
	MissedCycle
	EStopOpen
	CutOutOpen
	FanOff
	InterlockUnknown
	HeaterUnheard
	MeltOverTemperature
	PlateOverTemperature
	PotUnseen
	MeltHigh
	MeltUnusable
	PlateUnusable
	MeltImplausible
	PlateImplausible
	MeltFrozen
	PlateFrozen
	MeltNotFollowing
	HistoryUnwritten
	HeaterUnproven
)

// Severity orders findings.
type Severity uint8

// The severities, least first.
const (
	Note Severity = iota
	Warning
	Trip
)

var severityNames = [...]string{"note", "warning", "trip"}

// String returns the severity in words.
func (s Severity) String() string { return severityNames[s] }

// Action is what a finding does to heat, for as long as it is active or latched.
type Action uint8

// The actions, mildest first.
const (
	Tell      Action = iota // heat is untouched
	HeaterOff               // the pot's own heater is off
	AllOff                  // every heater is off
)

// Rule is one row of the table: what is looked for, what it does and what the
// maker should do about it.
type Rule struct {
	// Name is the stable name of the finding, for metrics and the API.
	Name        string
	Title       string
	Instruction string
	Severity    Severity
	Action      Action
	// after is how long the cause must last before it latches (a trip) or is
	// told (a warning). A trip's heat is off from the first cycle.
	after time.Duration
	// onlyLasting: this trip's heat goes off after that time only, since milder
	// rows act from the first cycle.
	onlyLasting bool
	// onlyWithHeat: it latches only while heat is enabled.
	onlyWithHeat bool
	neverLatches bool
}

// Grades of evidence of the times and limits below: C common practice, E our
// estimate; none is published.
const (
	tellAfter        = 500 * time.Millisecond // C
	coolDeadbandC    = 10.0                   // C: an over-temperature is over when it is this far away
	warnDeadbandC    = 2.0                    // C: about 1 % of range
	plausibleMinC    = -20.0
	plausibleMaxC    = 400.0
	plausibleStepC   = 30.0             // E: in one second; a bare probe moves 3 °C in one
	frozenAfter      = 60 * time.Second // E: noise alone moves a live reading within seconds
	meltMovesAtGapC  = 25.0             // E: with the plate that much warmer the melt must move
	plateMovesAtDuty = 0.3              // E: with that duty the plate must move

	// With the plate that much warmer for that long, 90 simulated pots rose by 5 °C
	// and more, and none fell by more than noise does (E).
	followGapC     = 40.0
	followFor      = 2 * time.Minute
	followRiseC    = 2.0
	followFallC    = 15.0             // E: a bare probe in air falls that far in seconds, a cold addition before the gap opens
	followUnheated = 10 * time.Second // E: a pot that is lifted or cut off may cool
)

var table = [...]Rule{
	MissedCycle: {
		Name: "missed_cycle", Title: "The control cycle was late",
		Instruction: "Heat is off. The computer was busy, asleep or stopped: see that nothing else loads it, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, after: 1500 * time.Millisecond, onlyWithHeat: true,
	},
	EStopOpen: {
		Name: "e_stop_open", Title: "Emergency stop is open",
		Instruction: "Heat is off. Make the bench safe, release the emergency stop, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, onlyWithHeat: true,
	},
	CutOutOpen: {
		Name: "cut_out_open", Title: "The independent cut-out has opened",
		Instruction: "Heat is off. Find out what overheated before you reset the cut-out by hand, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, onlyWithHeat: true,
	},
	FanOff: {
		Name: "fan_off", Title: "The extraction fan is not running",
		Instruction: "Heat is off. Step out of the fumes, get the fan running, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, after: time.Second, onlyWithHeat: true,
	},
	InterlockUnknown: {
		Name: "interlock_unknown", Title: "The interlocks can not be read",
		Instruction: "Heat is off. Check the serial cable and the power of the input module, then press the enable button to reset.",
		// Soon: an input module that was plugged in again must not bring heat back.
		Severity: Trip, Action: AllOff, after: 500 * time.Millisecond, onlyWithHeat: true,
	},
	HeaterUnheard: {
		Name: "heater_unheard", Title: "The heaters do not confirm what they are told",
		Instruction: "Heat is off. The heaters have to let go by their own time-out: check that the plates cool, and if one does not, cut the power. Check cable and power of the heater module, then press the enable button to reset.",
		// At once: a module that comes back must not go on where it stopped.
		Severity: Trip, Action: AllOff, onlyWithHeat: true,
	},
	MeltOverTemperature: {
		Name: "melt_over_temperature", Title: "The melt is over its trip temperature",
		Instruction: "Heat is off. Leave the pot, keep the extraction on; if it smokes, cut the power at a distance. Reset at the bench once it has cooled.",
		Severity:    Trip, Action: AllOff, after: 500 * time.Millisecond,
	},
	PlateOverTemperature: {
		Name: "plate_over_temperature", Title: "The plate is over its trip temperature",
		Instruction: "Heat is off. If the plate goes on rising, its relay is stuck: cut the power. Reset at the bench once it has cooled.",
		Severity:    Trip, Action: AllOff, after: 500 * time.Millisecond,
	},
	PotUnseen: {
		Name: "pot_unseen", Title: "Neither probe of this pot can be trusted",
		Instruction: "Heat is off. Take the pot for hot; if it smokes or goes on warming, its relay is stuck: cut the power at a distance. Check both probes, their plugs and their module, then press the enable button to reset.",
		// With one probe left a welded relay still shows as an over-temperature; with
		// none only the contactor can end it. Later than the pot's own heater, so that
		// one lost frame does not drop the contactor (E).
		Severity: Trip, Action: AllOff, after: 3 * time.Second, onlyLasting: true, onlyWithHeat: true,
	},
	MeltHigh: {
		Name: "melt_high", Title: "The melt is too warm",
		Instruction: "Lift the pot off its plate or stir it, and keep the extraction on.",
		Severity:    Warning, Action: Tell, after: 2 * time.Second,
	},
	MeltUnusable: {
		Name: "melt_unusable", Title: "No trustworthy melt reading",
		Instruction: "This heater is off. Check the melt probe, its plug and its cable, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, after: 3 * time.Second, onlyWithHeat: true,
	},
	PlateUnusable: {
		Name: "plate_unusable", Title: "No trustworthy plate reading",
		Instruction: "This heater is off. Check the plate probe, its plug and its cable, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, after: 3 * time.Second, onlyWithHeat: true,
	},
	MeltImplausible: {
		Name: "melt_implausible", Title: "The melt reading can not be true",
		Instruction: "This heater is off. Check that the probe sits in the melt and its plug is tight, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, after: time.Second, onlyWithHeat: true,
	},
	PlateImplausible: {
		Name: "plate_implausible", Title: "The plate reading can not be true",
		Instruction: "This heater is off. Check that the probe sits on the plate and its plug is tight, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, after: time.Second, onlyWithHeat: true,
	},
	MeltFrozen: {
		Name: "melt_frozen", Title: "The melt reading has stopped moving",
		Instruction: "This heater is off. The probe or its module hangs: switch the module off and on, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, onlyWithHeat: true,
	},
	PlateFrozen: {
		Name: "plate_frozen", Title: "The plate reading has stopped moving",
		Instruction: "This heater is off. The probe or its module hangs: switch the module off and on, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, onlyWithHeat: true,
	},
	MeltNotFollowing: {
		Name: "melt_not_following", Title: "The melt reading does not follow its plate",
		Instruction: "This heater is off. See that the probe sits in the melt and on the right pot, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, onlyWithHeat: true,
	},
	HistoryUnwritten: {
		Name: "history_unwritten", Title: "What happens is not being written down",
		Instruction: "Control goes on. Free some space on the disk, or see that the data folder can be written to; the last minutes are kept in memory until then.",
		Severity:    Warning, Action: Tell, after: 2 * time.Second,
	},
	HeaterUnproven: {
		Name: "heater_unproven", Title: "These heaters are not proven",
		Instruction: "Heat stays off: it is not on record that these heaters switch off by themselves when the line goes silent. Only the simulated bench may be heated.",
		Severity:    Note, Action: AllOff, neverLatches: true,
	},
}

// Codes lists every finding there is.
func Codes() []Code {
	codes := make([]Code, 0, len(table)-1)
	for c := range table[1:] {
		codes = append(codes, Code(c+1))
	}
	return codes
}

// String returns the stable name of the finding.
func (c Code) String() string { return c.Rule().Name }

// Title returns what was found, in a few words.
func (c Code) Title() string { return c.Rule().Title }

// Instruction returns what the maker should do.
func (c Code) Instruction() string { return c.Rule().Instruction }

// Rule returns the finding's row of the table.
func (c Code) Rule() Rule {
	if int(c) >= len(table) {
		return Rule{Name: "unknown"}
	}
	return table[c]
}
