package control

import (
	"math"
	"time"

	"meltwarden/control/call"
	"meltwarden/control/guard"
	"meltwarden/control/loop"
	"meltwarden/control/model"
	"meltwarden/control/pour"
	"meltwarden/control/reading"
)

// Input is everything that one cycle may know. A stored sequence of inputs
// replays to the same outputs.
type Input struct {
	// Elapsed is the monotonic time since the previous cycle; zero only in the
	// first. Anything else that is not above zero counts as a missed cycle.
	Elapsed time.Duration
	// Pots has one entry for each pot of the settings, in their order.
	Pots []PotReadings
	// Mould and Room are NotWired where the bench has no such probe.
	Mould, Room reading.Temperature
	Contacts    Contacts
	// HistoryFailing is true while cycles can not be written down. It decides
	// nothing about heat; a person is told.
	HistoryFailing bool
	// Commands are the marks and requests of people since the previous cycle.
	Commands []Command
}

// PotReadings are the probes of one pot.
type PotReadings struct {
	Melt, Plate reading.Temperature
	Injector    reading.Temperature // NotWired on most benches
	// Setpoint is what a controller says that it was told, Own what it reads itself; both
	// are NotWired on most benches.
	Setpoint, Own reading.Temperature
}

// Contacts are the bench's own inputs. Interlocks (EStop, CutOut, Fan) are
// healthy when closed; Pedal and Enable are pressed when closed. Link is the line
// to the heaters: closed, with the age of the oldest, when every heater and the
// contactor have confirmed something they were told since, and open when one of them
// has not kept what it had confirmed.
type Contacts struct {
	EStop, CutOut, Fan reading.Contact
	Pedal, Enable      reading.Contact
	Link               reading.Contact
}

// CommandKind is what a person marks or asks for. None of them enables heat.
type CommandKind uint8

// The marks and requests a person can make away from the bench's own buttons.
const (
	// Stir marks that the pot was just stirred.
	Stir CommandKind = iota + 1
	// TickClear is the maker's word that the melt of the pot is clear.
	TickClear
	// ArrivedCured is the maker's word that the pot was cured elsewhere.
	ArrivedCured
	// ColourAdded marks a cold addition: a dip is coming.
	ColourAdded
	// Lift marks that the pot leaves its plate; its heater stays off.
	Lift
	// Return marks that the pot is back on its plate; it is heated again after the
	// next press of the bench's enable button.
	Return
	// Silence stops the sound for a while and clears nothing, from wherever it is said.
	Silence
	// AllOff switches every heater off until heat is enabled again at the bench.
	AllOff
	// Draw marks that liquid was drawn from the pot.
	Draw
	// Shot marks that what was drawn is pushed into the mould. It decides nothing.
	Shot
	// Setpoint changes the pot's injection temperature for the rest of the run.
	Setpoint
	// SetAside takes a warning off lamp and buzzer for a time: of a pot, or of the
	// bench where Pot is -1. It counts at the bench only.
	SetAside
	// TakeUp gives it back to them.
	TakeUp
	// TakeOut takes a warning off lamp and buzzer until heat is enabled anew, for
	// MostOutOfService at most. It counts at the bench only.
	TakeOut
	// TryOut asks for a trial of a pot that is held: plate and melt swing a little, and
	// its loops are tuned by how they do. It counts at the bench only.
	TryOut
	// HandReading is what a person read in a melt that has no probe, with a thermometer of
	// their own. It counts at the bench only.
	HandReading
	// TakeBack takes back the last mark of the kind Command.Mark, of those in MayTakeBack.
	TakeBack
)

var commandNames = [...]string{
	"", "stir", "clear", "arrived-cured", "colour-added", "lift", "return", "silence", "off", "draw", "shot", "setpoint",
	"set-aside", "take-up", "take-out", "try-out", "hand-reading", "take-back",
}

// String returns the command's name as the API spells it.
func (k CommandKind) String() string {
	if int(k) < len(commandNames) {
		return commandNames[k]
	}
	return "unknown"
}

// CommandNamed returns the command that the API spells so, and whether there is one.
func CommandNamed(name string) (CommandKind, bool) {
	for k := Stir; int(k) < len(commandNames); k++ {
		if commandNames[k] == name {
			return k, true
		}
	}
	return 0, false
}

// NeedsPot reports whether the command is about one pot.
func (k CommandKind) NeedsPot() bool {
	return k != Silence && k != AllOff && k != Shot && k < SetAside || k >= TryOut
}

// Command is one mark or request. Pot is an index into the settings' pots and
// counts only where Kind.NeedsPot, or with SetAside, TakeUp and TakeOut; C, in degrees
// Celsius, only with Setpoint and HandReading; ML, in millilitres, only with ColourAdded
// and Draw, and zero is not known.
type Command struct {
	Kind CommandKind
	Pot  int
	C    float64
	ML   float64
	// Mark is what TakeBack takes back.
	Mark CommandKind
	// Code is what SetAside, TakeUp and TakeOut are about; For is how long the first of
	// them lasts, above zero.
	Code guard.Code
	For  time.Duration
	// Afar is true where it was made on another computer than the bench's own: it
	// says nothing about whether anybody is at the bench.
	Afar bool
}

// HeatState says whether heat may flow at all; the guard keeps it.
type HeatState = guard.State

// The heat states. The zero value is HeatBlocked.
const (
	HeatBlocked = guard.Blocked
	HeatEnabled = guard.Enabled
	HeatTripped = guard.Tripped
)

// PotState is where a pot stands on its way to the pour.
type PotState uint8

// The states of a pot.
const (
	Off PotState = iota
	Heating
	Curing
	Cooling // cooling into band
	Holding
	Ready
	Lifted
	Tripped
)

var potStateNames = [...]string{
	"off", "heating", "curing", "cooling into band", "holding", "ready", "lifted", "tripped",
}

// String returns the state in words.
func (s PotState) String() string { return potStateNames[s] }

// PotStates lists every state, in order, for those who export all of them.
func PotStates() []PotState {
	return []PotState{Off, Heating, Curing, Cooling, Holding, Ready, Lifted, Tripped}
}

// Wait is the one thing that stands between a pot and the pour.
type Wait uint8

// What a pot can wait for.
const (
	WaitNothing Wait = iota
	WaitEnable       // a person to enable heat at the bench
	WaitReset        // a person to reset the trip at the bench
	WaitReading      // a trustworthy reading
	WaitHeat         // the melt to reach its cure temperature
	WaitDwell        // the rest of the dwell at cure temperature
	WaitClear        // the maker's tick that the melt is clear
	WaitCool         // the melt to fall into its band
	WaitWarm         // the melt to rise into its band
	WaitSteady       // the rest of the time in band
	WaitStir         // a stir
	WaitReturn       // the pot to be put back on its plate
	WaitRefused      // nothing: these heaters are not proven, the bench is only watched
	WaitOthers       // the other pots, which take longer
	WaitHand         // a reading of the melt by hand
)

var waitTexts = [...]string{
	"nothing", "heat to be enabled at the bench", "reset at the bench", "a good reading",
	"cure temperature", "the cure dwell", "your tick: is it clear?", "the melt to cool",
	"the melt to warm", "a steady melt", "a stir", "the pot's return",
	"nothing: heat is refused here", "the other pots",
	"a hand-held reading",
}

// String returns in words what the pot waits for.
func (w Wait) String() string { return waitTexts[w] }

// Outputs are what the devices are told in a cycle. The zero value is safe.
type Outputs struct {
	// Duty is the fraction of each pot's rated heater power, 0 to 1, that its device is
	// told now: of one that is switched 0 or 1.
	Duty []float64
	// SetpointC is what each pot's controller is told, in degrees Celsius; it is empty where
	// no pot has one. One that is told none goes to rest.
	SetpointC []float64
	// Contactor closes the supply of all heaters.
	Contactor bool
	Lamp      bool
	Buzzer    bool
}

// Frame is the result of one cycle: everything anybody may show, store or
// announce. It is not changed once the cycle has published it.
type Frame struct {
	Cycle   uint64        // from 1
	Time    time.Duration // bench time: the sum of all Elapsed
	Elapsed time.Duration
	Heat    HeatState
	// AllOff is true while heat is off since somebody asked for that, SinceAllOff ago.
	AllOff      bool
	SinceAllOff time.Duration
	// Ready is true when every pot is ready to pour.
	Ready bool
	// ReadyIn is how long it takes until every pot is ready, give or take ReadyWithin, as
	// far as a hand does its part at once; negative when not known.
	ReadyIn, ReadyWithin time.Duration
	Pots                 []PotFrame
	// Pour is the least of what the pots that are off their plates have left.
	Pour    pour.Left
	Outputs Outputs
	// PowerW is what the heaters together draw, those that are switched in the mean; NaN where
	// a controller heats.
	PowerW      float64
	Mould, Room reading.Temperature
	Contacts    Contacts
	// Conditions are the guard's findings that are active or latched, worst first.
	Conditions []guard.Condition
	// Folded are findings that act and are not listed, because another one brings them
	// about.
	Folded []guard.Condition
	// Aside is how many warnings a person has taken off lamp and buzzer, for a time or
	// out of service, whether they are there or not.
	Aside int
	// Hot is true while anything is, or may be, above guard.TouchC.
	Hot  bool
	Call call.State
}

// PotFrame is one pot in a frame.
type PotFrame struct {
	State PotState
	Wait  Wait
	// WaitLeft is how long the wait will still take, negative when not known.
	WaitLeft    time.Duration
	Melt, Plate reading.Temperature
	Injector    reading.Temperature
	// Probes are those that the pot has. What the other would show is estimated: it is
	// never in Melt, Plate or MeltC.
	Probes                      reading.Probes
	MeltEstimate, PlateEstimate Estimate
	Hand                        Hand
	// HeatedFor is for how long the pot has been heated without a pause of a minute.
	HeatedFor time.Duration
	// DrivenFor is for how long the plate of one without a melt probe has been warm enough
	// to hold the melt at its estimate.
	DrivenFor time.Duration
	// MeltC is the filtered melt temperature, SlopeCPerMin its slope. Both are
	// NaN once no reading has been good for guard.MaxAge.
	MeltC, SlopeCPerMin float64
	// TargetC is where the pot is to get: its cure temperature until it is cured, then its
	// set-point. One that waits for the others is held lower meanwhile.
	TargetC          float64
	SetpointC, BandC float64
	PlateTargetC     float64 // what the inner loop holds the plate at; NaN when off
	// AskedDuty and Duty are before and after the circuit's share and the guard; of a
	// heater that is switched, what it gets in the mean. Of one that a controller heats they
	// are NaN while heat may flow: nobody knows.
	AskedDuty, Duty float64
	// Controller is what there is to say of the device that holds the plate by itself.
	Controller ControllerFrame
	// ReadyIn is how long the pot still needs at full power, as far as a hand does its
	// part at once, give or take ReadyWithin; negative when not known.
	ReadyIn, ReadyWithin time.Duration
	// Recalled is true while the pot goes by what earlier evenings found out about it: they
	// have found something, and it behaves like that.
	Recalled bool
	// Doubted is true while the pot answers otherwise than it is taken to; Tuned says that a
	// trial has found how it does, and Trial how far one has come.
	Doubted, Tuned bool
	Trial          loop.Trial
	CanBeTried     bool // a trial can begin
	// AheadC is the melt that is foreseen for the coming minutes, at full power and as far
	// as a hand does its part at once; a pot that waits for the others does so in it. NaN
	// where it is not known or the pot may not be heated. It is up to ten cycles old, or as
	// many as there are pots, and decides nothing.
	AheadC model.Ahead
	// PeakC is the warmest that the melt becomes if its heat is cut now, give or take
	// PeakWithinC: plate and wall still give it what they hold. NaN where it is not known. It
	// is up to ten cycles old, and decides nothing but when a first heat is cut.
	PeakC, PeakWithinC float64
	Dwelled            time.Duration
	// DwellStands is true of a pot in its dwell whose melt has sunk just below its cure
	// temperature: no time is counted until it is back there.
	DwellStands  bool
	Clear, Cured bool
	// Uncured is true for a pot whose cure was taken back: it is held at its set-point until
	// somebody presses the bench's button.
	Uncured bool
	// Said are the last marks that can be taken back, in the order of MayTakeBack.
	Said [6]Said
	// Noticed is true for a lift that nobody marked: the readings look like one. LooksBack
	// is true for a lifted pot that nobody has said to be back and that looks as if it were.
	Noticed, LooksBack bool
	// MaybeLifted is true while heat is held back because the pot may be off its plate.
	MaybeLifted bool
	// Pour is how long a pot that is off its plate can still be shot.
	Pour        pour.Left
	StirredEver bool
	SinceStir   time.Duration // meaningful when StirredEver
	InBandFor   time.Duration
	SinceColour time.Duration // negative when no colour was added
	// Drawn is what was drawn from the pot and has not been pushed.
	Drawn Drawn
	// Warming is how far the pot has come in its first heat.
	Warming Warming
}

// PerDegree is how finely history keeps a reading, in steps per degree Celsius;
// probes are a hundred times coarser.
const PerDegree = 1000

// PerML is how finely history keeps a volume, in steps per millilitre.
const PerML = 100

// mostML is the largest volume that an addition or a draw can have, in millilitres (E: no
// pot holds as much). A larger one, and one below zero, is not known.
const mostML = 1e5

// Round makes the input exactly what history can keep: milliseconds, thousandths of a
// degree and hundredths of a millilitre. Decisions are made on the rounded input, so that
// a kept one plays back to the same decisions, to the bit.
func (in *Input) Round() {
	in.Elapsed = in.Elapsed.Round(time.Millisecond)
	for i := range in.Pots {
		p := &in.Pots[i]
		for _, t := range [...]*reading.Temperature{&p.Melt, &p.Plate, &p.Injector, &p.Setpoint, &p.Own} {
			round(t)
		}
	}
	round(&in.Mould)
	round(&in.Room)
	c := &in.Contacts
	for _, k := range [...]*reading.Contact{&c.EStop, &c.CutOut, &c.Fan, &c.Pedal, &c.Enable, &c.Link} {
		k.Age = k.Age.Round(time.Millisecond)
	}
	for i := range in.Commands {
		in.Commands[i].C = roundC(in.Commands[i].C)
		in.Commands[i].ML = roundML(in.Commands[i].ML)
		in.Commands[i].For = in.Commands[i].For.Round(time.Millisecond)
	}
}

// round leaves a value that does not count at zero.
func round(t *reading.Temperature) {
	t.Age = t.Age.Round(time.Millisecond)
	if t.Fault != reading.None {
		t.C = 0
		return
	}
	t.C = roundC(t.C)
}

func roundML(ml float64) float64 {
	if !(ml > 0 && ml <= mostML) {
		return 0
	}
	return math.Round(ml*PerML) / PerML
}

func roundC(c float64) float64 { return math.Round(c*PerDegree) / PerDegree }
