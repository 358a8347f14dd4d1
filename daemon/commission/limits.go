package commission

import "time"

// The bounds of every step. Grades of evidence: P published, C common practice
// without a source, E our estimate; each figure without a letter says what it
// rests on.
const (
	// mustLetGo is the longest silence after which heat must be off: the same two
	// seconds in which every other failure has to end with heat off.
	mustLetGo = 2 * time.Second

	proofDuty = 0.05 // E: enough to be told from off, a twentieth of the power
	// mostOn is how long a device may have any duty after one press, all trials
	// together.
	mostOn = 13 * time.Second
	// trialTakes is what a trial takes beyond its silence (E: some exchanges).
	trialTakes = 500 * time.Millisecond
	// halvings is how often the silence is halved, to a sixteenth of mustLetGo.
	halvings = 4

	coldC   = 40.0 // E: below it nothing has been heated lately
	spreadC = 5.0  // P (IEC 60584-1): two class 2 probes of one temperature may differ by so much
	tooHotC = 60.0 // E: a step is over long before
	// warmC is what may have at most what a step has warmed before: the next one adds to it
	// (E: twice what ends a nudge, as heat comes late), and ends below tooHotC.
	warmC = tooHotC - 2*nudgeRiseC
	// switchedRiseCS is how fast a plate may warm, in °C a second, whose heater can only be
	// switched on (E: all of its power on a bare thin plate, 0.3 J/K for each watt).
	switchedRiseCS = 3.5
	proofRiseC     = 2.0  // E: several times what 5 % give in the time, a part of what full power gives
	nudgeDuty      = 0.25 // E
	// nudgeOverC is how much more than its plate has a controller is told (E): what a usual one
	// gives most of its power for, and no plate gets hotter than that much for long.
	nudgeOverC = 20.0
	nudgeFor   = 60 * time.Second
	// slowFor is for how long a heater may go on that has moved a plate by seenC in nudgeFor:
	// by then it had 30 s of full power, from which a bare cast plate is 46 °C warmer and a
	// thin one 100 °C, its probe off it (E: 0.65 and 0.3 J/K for each watt).
	slowFor     = 2 * time.Minute
	nudgeMostJ  = 30e3             // E: what a heater of 1 kW has had by then; a larger one gets no more
	seenC       = 1.0              // E: several times the noise of a mean
	nudgeRiseC  = 3 * strayC       // where the nudge ends: three times what shows past the contactor
	movedC      = 3.0              // E: so much is heat, not noise or drift
	strayC      = 2.0              // E: so much is too much for a plate that nobody heats
	openFor     = 45 * time.Second // E: a heater that gets past the contactor shows, or the nudge takes longer
	alone       = 15 * time.Second // contactor closed, no duty: a stuck relay shows
	after       = 20 * time.Second // heat comes late at a probe (E: elements and probes lag by seconds)
	steadyC     = 0.5              // E: a plate that moves by less in steadyFor is at rest
	steadyFor   = 15 * time.Second
	coldAgain   = 2 * time.Hour // E: after which a nudge is no reason for a warm pot
	steadyWait  = 10 * time.Minute
	pressWait   = 10 * time.Minute
	remindEvery = 30 * time.Second
	answerWait  = 10 * time.Second // until every reading is there
	calmFor     = 2 * time.Second
	averageOver = 2 * time.Second // readings are noisy
	tellEvery   = 5 * time.Second
	// coolTellEvery is how often somebody who waits is told how far it is.
	coolTellEvery = 15 * time.Second

	// How long each takes with a practised hand (E: the virtual sessions, and a person's way).
	questionTakes  = time.Minute
	interlockTakes = time.Minute
	dipTakes       = 4 * time.Minute
	displayTakes   = time.Minute
	proofTakes     = 3 * time.Minute
	nudgeTakes     = 4 * time.Minute

	dipRiseC  = 5.0             // E: so much is hot water at a probe, not a hand near it
	dipWait   = 3 * time.Minute // E: to find the tip and the cup
	settleFor = 5 * time.Second // E: a probe in water that moves by less than steadyC in it is as warm as the water
	cupLowC   = 40.0            // C: hot tap water
	cupHighC  = 80.0            // C: the same, with some from a kettle
	// How far a probe may be from what the water has is the sum of these two.
	thermometerC = 3.0 // C: a kitchen thermometer
	// boilingC is how far boiling water may be from where it boils by height or pressure:
	// weather 0.8 °C (3 kPa), the rest for salts, depth and a height guessed (E).
	boilingC   = 1.5
	mostMixUpC = 25.0 // E: of boiling water a wrong type shows 17 °C less, or 22 more
	// apartC is by how much what a controller is told differs from its rest, and from what the
	// next one is told (E): so much is told apart on a display in whole degrees.
	apartC = 2.0
	// lowestC is what it is above at least: 3.9 °C is 39 °F, and would look the same with unit
	// and scale both wrong.
	lowestC = 5.0
	// coolerC is how much colder than its plate that has to be (E: more than the noise).
	coolerC = 1.0
	// shownC is how far off a display may be, in degrees of its own (E: one in whole degrees
	// that cuts off what is behind the point).
	shownC    = 0.95
	mostShown = 1e4 // E: no display has more digits
	classC    = 2.5 // P (IEC 60584-1): class 2 of types K and J, up to 333 °C
)
