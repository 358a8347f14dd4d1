package guard

import "time"

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
	Inhibit                 // the pot's heater is off while it lasts, and comes back by itself
	HeaterOff               // the pot's heater is off until a reset
	AllOff                  // every heater is off and the contactor open
)

var actionNames = [...]string{"tell", "inhibit", "heater off", "all off"}

// String returns the action in words.
func (a Action) String() string { return actionNames[a] }

// Clears is how a finding ends.
type Clears uint8

// The ways a finding ends.
const (
	// ByItself: it is over when its cause is.
	ByItself Clears = iota
	// AtTheBench: it latches, and ends with a press of the bench's enable button
	// once its cause is gone.
	AtTheBench
)

var clearsNames = [...]string{"by itself", "by a reset at the bench, with the cause gone"}

// String returns the way a finding ends in words.
func (c Clears) String() string { return clearsNames[c] }

// Phase is a set of times at which some findings are awaited.
type Phase uint8

// The phases of a pot. In them a finding may go untold; what it does to heat, it
// does all the same.
const (
	AfterColour Phase = 1 << iota // a cold addition was marked a short while ago
	OffItsPlate                   // the pot is marked as lifted
)

// Rule is one row of the table: what is looked for, what it does and what the
// maker should do about it.
type Rule struct {
	// Name is the stable name of the finding, for metrics and the API.
	Name string
	// Title is what was found, Cause what may be behind it, Detection how it is
	// found, with its numbers and their grades of evidence, and Instruction what
	// the maker should do.
	Title, Cause, Detection, Instruction string
	// Afterwards stands in the place of the instruction once the cause is gone and a reset
	// is waited for, where that would be untrue then.
	Afterwards string
	Severity   Severity
	Action     Action
	Clears     Clears
	// Quiet are the phases in which it is not told. No trip has any.
	Quiet Phase
	// ChildOf is a finding that brings this one about: beside it this one is not
	// listed, since one cause is one finding. A bench's parent hides the warning
	// that leads to it, and of trips only what came of silence; a pot's, all of
	// its kind, unless only it came of silence. Zero is none.
	ChildOf Code
	// after is how long the cause must last before it latches or, where it does
	// not, is told. What takes heat away does so from the first cycle.
	after time.Duration
	// onlyLasting: heat goes off after that time only, since milder rows act from
	// the first cycle.
	onlyLasting bool
	// onlyWithHeat: it latches only while heat is enabled.
	onlyWithHeat bool
	// needed: it comes before somebody is hurt, and nobody may do without it.
	needed bool
	// inService: it may be set aside for a while, and not be taken out of service: it
	// tells of a state of the bench that comes again, and no device mends.
	inService bool
}

// MaySetAside reports whether a person may set the finding aside for a while: a
// warning, but not one that comes before somebody is hurt.
func (c Code) MaySetAside() bool {
	r := c.Rule()
	return r.Severity < Trip && !r.needed
}

// MayTakeOut reports whether a person may take the finding out of service.
func (c Code) MayTakeOut() bool { return c.MaySetAside() && !c.Rule().inService }

// atOnce reports whether it acts from the first cycle that shows it.
func (r *Rule) atOnce() bool { return r.Action >= Inhibit && !r.onlyLasting }

// toldAfter is how long the cause must last to be listed; what has latched is
// listed at once. What is over within a moment, as before the first reading, is
// no news; heat was off all the same.
func (r *Rule) toldAfter() time.Duration {
	if r.Clears == AtTheBench && !r.onlyLasting {
		return tellAfter
	}
	return r.after
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

// Instruction is what the maker should do now.
func (c Condition) Instruction() string {
	if r := c.Code.Rule(); !c.Active && r.Afterwards != "" {
		return r.Afterwards
	}
	return c.Code.Instruction()
}

// Rule returns the finding's row of the table.
func (c Code) Rule() Rule {
	if int(c) >= len(table) {
		return Rule{Name: "unknown"}
	}
	return table[c]
}
