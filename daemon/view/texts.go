package view

import (
	"fmt"

	"meltwarden/control"
)

// NotKnown is what a word is while nothing is known.
const NotKnown = "not known"

const (
	dash     = "––"
	notKnown = NotKnown
)

// Texts returns the labels of the page.
func Texts() Labels { return texts.Labels }

// ClearFrom says from which temperature, in degrees Celsius, a melt can be called
// clear.
func ClearFrom(c float64) Both {
	return inBoth(func(u unit) string { return fmt.Sprintf(texts.clearFrom, u.whole(Figure(c)), u.symbol) })
}

// Labels are the page's own words; all that changes with a frame is in
// BenchWords and PotWords. Those with a verb of fmt in them say what it takes.
type Labels struct {
	Simulated, NotLive, LastReading, NoReadingYet       string
	Unheard                                             string
	NotSent, NotSentOff                                 string
	Stir, Clear, Colour, Cured, Lift, Return, MoreMarks string
	Silence, AllOff, SoundOn, SoundIsOn, TestSound      string
	Unit, Theme                                         string
	Melt, Plate, Target, Heater, Pot                    string
	Conditions, CautionShort, Caution                   string
	Pots, Otherwise                                     string
	TrendLabels
	MarkLabels
	PastLabels
	AlarmLabels
	CauseLabels
	WhyLabels
	EstimateLabels
	RecipeLabels
	BatchLabels
	KeepingLabels
	PhoneLabels
	ReferenceLabels
	PlanLabels
	TryLabels
	PageLabels
	SerialLabels
	TakeBackLabels
	InterlockLabels
	ChecksLabels
	BenchLabels
}

// MarkLabels are the words for what is marked, typed and judged.
type MarkLabels struct {
	Draw, Shot, MouldField, Optional                         string
	Amounts, AddedWhat, Amount, AmountLike                   string
	MarkAddition, MarkDraw                                   string
	NewSetpoint, Set, SetpointHere, ClearWhy                 string
	TryOut, TryOutWhy                                        string
	HandField, HandHere, HandWhy, NotSeen, Estimate          string
	NoteField, KeepNote, AtBench                             string
	HowIsIt, NotJudged, Concerns, Cavity, Day                string
	NotAShot, WasAShot, TakenBack, TakeBack, MouldOfShot     string
	NoteOfShot                                               string
	KeepMould, More, Still, StillSince, Follow, WithoutStore string
}

// PastLabels are the words of the pages of past runs and recipes.
type PastLabels struct {
	Pages, Bench, PastRuns, Recipes                           string
	OtherUnitC, OtherUnitF                                    string
	Trouble, TroubleHelp, NotFromHere, NotFromHereHelp        string
	NoPage, NoPageHelp                                        string
	NoRuns, NoneFound, ShowAll, Find, Since, Until            string
	FindRecipe, FindMould, FindLot, MoreFilters               string
	PhotoAlt, Photo, AddPhoto, PhotosHere                     string
	Verdict, State, Any, OnlySpoiled, Show                    string
	Spoiled, AllClean, SomeClean, NoShot, Shots, ShotCount    string
	PlotAlt, PlotHelp, WholeRun, Around, Earlier, Later       string
	Closer, Wider, NothingRecorded, Pictures, Picture, Zoom   string
	Deviations, NoDeviations, NoShots, InBand, OutOfBand, Off string
	Quantity, OwnTarget, Deviation, Slope, Held, SinceStir    string
	Drawn, Spread, DrawToPush, MouldTemp, Room                string
	SayHowItIs, Events, WithStirs, NoEvents                   string
	Export, ExportCSV, ExportJSON, RunNote                    string
	NoRecipes, Version, Made, FromRun, Runs                   string
	Typed, Differences, FirstVersion, NoDifferences, NotRead  string
	RunsWithIt, NoRunWithIt, RecipeOf                         string
}

// texts is the one place for wording.
var texts = struct {
	Labels
	notYet, notYetPot, shootNow, stirAgain     string
	potTripped, benchTripped                   string
	waitsFor, goodFor, against, above, below   string
	readyIn, allReadyIn, thereIn, within       string
	pourIn, pourSeen, pourAssumed, pourOfPot   string
	stillAbove                                 string
	tooCold, noticed, looksBack                string
	at, atCure, cureAt, setpoint, cure         string
	noReading, tooOld, plateHeater, stirred    string
	noProbe, refused                           string
	bench, pot, active, latched, activeLatched string
	power, powerOf, aside, mould, room         string
	fewSeconds, aboutSeconds, aboutMinutes     string
	allOff, justNow, minutesAgo, hoursAgo      string
	stillReady, lessThan                       string
	stands, waitsForReset, standsAndWaits      string
	aboutHours                                 string
	clearFrom, potEnable, predictedIn          string
	actTell, actInhibit, actHeater, actAll     string
	ends, trying, tryOut, tuned                string
	inInjector, coasts                         string
	dwellStands, withWayBack, onceBack         string
	lacksDwell                                 string
	lacks                                      map[control.Wait]string
}{
	Labels: Labels{
		Simulated: "Simulated bench – invented scenario",
		NotLive:   "NOT LIVE", LastReading: "last reading", NoReadingYet: "NOT LIVE – no reading yet",
		Unheard:    "NOT LIVE: a part of this page did not arrive, and what it shows is old. Load it again. Take the bench for hot.",
		NotSent:    "Not sent:",
		NotSentOff: "ALL OFF was not sent. Use the emergency stop at the bench.",
		Stir:       "Stirred", Clear: "Melt is clear", Colour: "Colour added",
		Cured: "Already cured", Lift: "Lifted off", Return: "Back on plate", MoreMarks: "More marks",
		Silence: "Silence", AllOff: "ALL OFF",
		SoundOn: "Switch sound on", SoundIsOn: "Sound is on", TestSound: "Test sound",
		Unit: "°C / °F", Theme: "Dark / light",
		Melt: "melt", Plate: "plate", Target: "target", Heater: "heater", Pot: "Pot",
		Conditions: "What the guard has found", Pots: "Pots", Otherwise: "; set aside, because the pot behaves otherwise",
		CautionShort: "Hot vinyl burns. This program is not the protection.",
		Caution: "ALL OFF is not the emergency stop. Hot vinyl sticks to skin: gauntlets, face shield, nothing wet near the pots. Its fumes are harmful: " +
			"extraction on. Never leave it alone. This program only warns and controls; the cut-out with its own sensor, the fuse, " +
			"the earth and the emergency stop have to protect you: have them checked. Local codes and licensed practice come first.",
		TrendLabels: trendLabels, MarkLabels: markLabels, PastLabels: pastLabels, AlarmLabels: alarmLabels, CauseLabels: causeLabels, WhyLabels: whyLabels,
		EstimateLabels:  estimateLabels,
		RecipeLabels:    recipeLabels,
		BatchLabels:     batchLabels,
		KeepingLabels:   keepingLabels,
		PhoneLabels:     phoneLabels,
		PlanLabels:      planLabels,
		TryLabels:       tryLabels,
		PageLabels:      pageLabels,
		SerialLabels:    serialLabels,
		ReferenceLabels: referenceLabels,
		TakeBackLabels:  takeBackLabels, InterlockLabels: interlockLabels, ChecksLabels: checksLabels, BenchLabels: benchLabels,
	},
	actTell: "nothing: you are told", actInhibit: "this heater waits", actHeater: "this heater off", actAll: "every heater off, contactor open",
	ends:        "ends %s",
	trying:      "trial: swing %d of %d, %s left",
	tryOut:      "; answers otherwise than expected: try it out while nobody pours",
	tuned:       ", tried out",
	coasts:      "with the heat off now it still rises to ≈ %s %s (%s to %s)",
	dwellStands: "dwell stands still until it is back at cure",
	withWayBack: "%s with the way back", onceBack: "once back %s", lacksDwell: "%s %s below its cure temperature, its dwell stands still",
	inInjector:  "in the injector for %s: %s",
	predictedIn: "%s %s in %d min",
	stillReady:  "just outside its band; still ready up to %s %s",
	allOff:      "ALL OFF was pressed %s, heaters told zero", justNow: "just now", minutesAgo: "%d min ago", hoursAgo: "%d h %d min ago",
	potEnable:  "%s waits for another press of the enable button",
	potTripped: "%s tripped, reset at the bench", benchTripped: "Tripped, reset at the bench",
	notYet: "Not yet", notYetPot: "Not yet: %s", shootNow: "Yes: ready to pour",
	stirAgain: "%s until %s wants a stir",
	readyIn:   "can be ready in %s", allReadyIn: ", all ready in %s", thereIn: ", there in %s", within: "%d ± %d %s", lessThan: "less than %d %s",
	pourIn: "cold in ≈ %d s", pourSeen: "%d to %d s, by how it cools", pourAssumed: "%d to %d s, assumed: it has hardly cooled yet",
	stillAbove: "still too hot to shoot; ", pourOfPot: "%s: %s", tooCold: "too cold to shoot by now",
	noticed:   "looks lifted; nobody has marked it",
	looksBack: "looks as if it is back: mark it and press the enable button",
	waitsFor:  "waits for %s", goodFor: "%s until the next stir",
	against: "set %s ± %s %s", cureAt: "cure at %s, %s", at: "at its set-point", atCure: "at its cure temperature", above: "%s %s above %s", below: "%s %s below %s",
	setpoint: "set-point", cure: "cure",
	noReading: "no good reading: %s", tooOld: "too old",
	noProbe: "no probe, and no estimate yet", refused: "heat is refused here",
	plateHeater: "plate %s %s, heater %.0f %%", stirred: ", stirred %s ago",
	stands: "stands", waitsForReset: "its cause is gone; waits for a reset", standsAndWaits: "stands, and then waits for a reset",
	bench: "bench", pot: "pot %d", active: "active", latched: "latched", activeLatched: "active, latched",
	power: "heaters %.0f W", powerOf: "heaters %.0f W, %.0f %% of the circuit's %.0f W", aside: "warnings set aside: %d", mould: "mould %s %s", room: "room %s %s",
	fewSeconds: "a few seconds", aboutSeconds: "about %d s", aboutMinutes: "about %d min",
	aboutHours: "about %d h %d min",
	clearFrom:  "from %s %s",
	lacks: map[control.Wait]string{
		control.WaitEnable:  "heat is not enabled; that is done at the bench",
		control.WaitReading: "no good reading from %s",
		control.WaitHeat:    "%s %s below its cure temperature",
		control.WaitDwell:   "%s in its cure dwell",
		control.WaitClear:   "look at %s; press Melt is clear once it is",
		control.WaitCool:    "%s %s above its band",
		control.WaitWarm:    "%s %s below its band",
		control.WaitSteady:  "%s must stay in its band",
		control.WaitStir:    "stir %s",
		control.WaitReturn:  "%s is off its plate",
		control.WaitHand:    "measure the melt of %s by hand, and type it in",
		control.WaitOthers:  "%s waits for the other pots",
		control.WaitRefused: "heat is refused here; this bench is only watched",
	},
}

var markLabels = MarkLabels{
	Draw: "Drawn", Shot: "Shot", MouldField: "Mould for the next shots", Optional: "may stay empty",
	Amounts: "Amounts", AddedWhat: "What was added", Amount: "How much, with its unit", AmountLike: "such as 20 mL",
	MarkAddition: "Mark the addition", MarkDraw: "Mark the draw",
	NewSetpoint: "New set-point, with its unit", Set: "Change set-point",
	TryOut: "Try out", TryOutWhy: "only once it has been held for some minutes, and while nobody pours: plate and melt swing a little for 10 to 20 minutes, so that the program learns how they answer; any mark but a stir ends it",
	SetpointHere: "A set-point is changed on the bench's own computer only.",
	HandField:    "Melt read by hand", HandHere: "What was read by hand is typed on the bench's own computer only.",
	HandWhy: "Heat goes by this for some minutes: stir, hold a dry thermometer in the middle of the melt until it rests, type what it shows, and press its unit.",
	NotSeen: "What is not known of this pot", Estimate: "estimate, no reading",
	ClearWhy:  "Below this temperature the melt is no thin liquid yet, so nobody can call it clear.",
	NoteField: "Note for this run", KeepNote: "Write down", AtBench: "At the bench",
	HowIsIt: "how is it?", NotJudged: "not judged",
	Concerns: "Where? Tick one colour, or the two that meet; none is the whole bait",
	Cavity:   "Cavity", Day: "Seen on day (0 is at demould)",
	NotAShot: "Not a shot", WasAShot: "It was a shot", TakenBack: "taken back, so it counts nowhere", TakeBack: "take back",
	MouldOfShot: "mould", NoteOfShot: "Note about this shot", KeepMould: "Write down", More: "more",
	Still: "Hold this page still, to type", StillSince: "These figures are old: the page is held still since", Follow: "Follow the bench again",
	WithoutStore: "Nothing is kept here: this program has no data folder that it can use. Start it with --data and the name of a folder.",
}

var pastLabels = PastLabels{
	Pages: "Pages", Bench: "Bench", PastRuns: "Past runs", Recipes: "Recipes",
	OtherUnitC: "Show °C", OtherUnitF: "Show °F",
	Trouble: "This can not be shown now", TroubleHelp: "This page only. Look at the bench page, and at the bench, for the heaters.",
	NoPage: "There is no page at this address", NoPageHelp: "What the bench does stands on its own page, and every page there is under All pages: both are in the line above.",
	NotFromHere: "Only on the bench's own computer", NotFromHereHelp: "Nothing was changed. What can be done from here stands under All pages; ALL OFF is below.",
	NoRuns:    "No run is kept yet. Start the program with a recipe: the run is recorded from its first cycle, and stands here a second later.",
	NoneFound: "No run passes this filter.", ShowAll: "Show every run",
	Find: "Text in name, note, mould or fault", Since: "Since", Until: "Until",
	MoreFilters: "More to filter by",
	FindRecipe:  "Recipe", FindMould: "Mould", FindLot: "Base or lot", Verdict: "Verdict", State: "State", Any: "any",
	OnlySpoiled: "only spoiled", Show: "Show",
	Spoiled: "spoiled", AllClean: "clean", SomeClean: "clean %d of %d, the others not judged",
	NoShot: "no shot", Shots: "Shots", ShotCount: "shots: %d, clean: %d",
	PlotAlt:  "Temperatures of %s from %s to %s of the run: melt, plate, set-point and band of each pot, what its heater got, and what was marked. The figures of every shot stand below as text.",
	PlotHelp: "Drag across the picture to look closer; Escape lets go.",
	WholeRun: "Whole run", Around: "Around shot %d", Earlier: "Earlier", Later: "Later", Closer: "Closer", Wider: "Wider",
	NothingRecorded: "Nothing has been recorded of this run yet.", Pictures: "The picture as a file", Picture: "Run in pictures", Zoom: "Stretch of time",
	Deviations: "Changed at the bench", NoDeviations: "Nothing: the run was made as the recipe says.",
	NoShots: "No shot was marked.", InBand: "Every pot was in its own band.", OutOfBand: "outside its band", Off: "Furthest off:",
	Quantity: "At the draw, or else at the push", OwnTarget: "own target", Deviation: "deviation", Slope: "slope", Held: "held since cured",
	SinceStir: "since stir", Drawn: "drawn", Spread: "spread", DrawToPush: "draw to push", MouldTemp: "mould temperature", Room: "room",
	SayHowItIs: "How is it? Mould, note and photo", Events: "What happened", WithStirs: "The same with every stir (%d)", NoEvents: "Nothing was marked.",
	Export: "Every cycle as a table or as data, on a terminal:", ExportCSV: "meltwarden export %d", ExportJSON: "meltwarden export %d --as json",
	RunNote:   "Note about this run",
	NoRecipes: "No recipe is kept yet. A recipe is kept with the first run that is made with it.",
	Version:   "version %d", Made: "kept since %s", FromRun: "made from run %d", Runs: "runs: %d",
	Typed: "As typed", Differences: "What differs from version %d", FirstVersion: "This is its first version.",
	NoDifferences: "Nothing that counts: only the layout.", NotRead: "The differences can not be told:",
	PhotoAlt: "Photo %d of shot %d", Photo: "Photo, in JPEG or PNG", AddPhoto: "Attach",
	PhotosHere: "Photos are attached on the bench's own computer. Nothing but the picture is kept: no place, no time, no camera.",
	RunsWithIt: "Runs made with it", NoRunWithIt: "None yet.", RecipeOf: "recipe, version %d",
}
