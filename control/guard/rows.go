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
	RiseWhileOff
	ProbesCrossed
	CircuitOver
	LeftAlone
	SessionTooLong
	PotUnseen
	MeltUnusable
	PlateUnusable
	MeltImplausible
	PlateImplausible
	MeltFrozen
	PlateFrozen
	MeltNotFollowing
	PlateNotFollowing
	MeltReversed
	PlateReversed
	HeaterDead
	MeltForecast
	FastFall
	PlateFastFall
	MeltHigh
	MeltNoisy
	PlateNoisy
	NoRise
	HeaterWeak
	ProbesDisagree
	NobodyHere
	SessionLong
	HistoryUnwritten
	PotLifted
	HeldLong
	StillHot
	HeaterUnproven
	// The last are those that came last: a history's checksums have the numbers.
	HeaterForgot
	LiftNoticed
	LiftSuspected
	SetpointChanged
	ControllerAstray
)

// DefaultHeldLong is how long a cured melt is kept hot until it is noted, where
// the limits do not say (C: at the lower end of its range a melt is held for
// hours, at the upper end it ages twice as fast for every 10 °C).
const DefaultHeldLong = time.Hour

// Grades of evidence of the times and limits here and beside the detections: C
// common practice, M from memory, E our estimate, from the simulated pots where
// it says so; none is published.
const (
	tellAfter        = 500 * time.Millisecond // C
	coolDeadbandC    = 10.0                   // C: an over-temperature is over when it is this far away
	warnDeadbandC    = 2.0                    // C: about 1 % of range
	meltMovesAtGapC  = 25.0                   // E: with the plate that much warmer the melt must move
	overshootLeadS   = 60.0                   // E: see the row
	overshootSlopeC  = 0.1                    // E, in °C a second: three times a slope's noise
	nameFastFall     = 20 * time.Second       // C has 15 s for the melt; E for our filters' and the probe's lag
	nameLift         = 20 * time.Second       // E
	heaterDeadFor    = 30 * time.Second       // E
	unusableFor      = 3 * time.Second        // C: M has 3 to 5 s
	implausibleFor   = time.Second            // E
	interlockLostFor = 500 * time.Millisecond // E
)

var table = [...]Rule{
	MissedCycle: {
		Name: "missed_cycle", Title: "The control cycle was late",
		Cause:       "The computer was busy, asleep or stopped, or its clock was set forward.",
		Detection:   "A cycle later than three periods (E), or one that took no time: heat is off while it lasts. It latches after 1.5 s of it (E).",
		Instruction: "Heaters are told zero. The computer was busy, asleep or stopped, or its clock was set: see that nothing else loads it and that it does not go to sleep, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, after: 1500 * time.Millisecond, onlyWithHeat: true,
	},
	EStopOpen: {
		Name: "e_stop_open", Title: "Emergency stop is open",
		Cause:       "Somebody pressed it, or its wire is broken.",
		Detection:   "The contact is open in one cycle, at any age.",
		Instruction: "Heaters are told zero. Make the bench safe, release the emergency stop, then press the enable button to reset. If nobody pressed it, its wire is broken: never bridge it.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	CutOutOpen: {
		Name: "cut_out_open", Title: "The independent cut-out has opened",
		Cause:       "A plate became too hot by its own sensor, or the cut-out's wire is broken.",
		Detection:   "The contact is open in one cycle, at any age.",
		Instruction: "Heaters are told zero. Find out what overheated before you reset the cut-out by hand. Reset it only when everything is cold. Never raise its setting. Then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	FanOff: {
		Name: "fan_off", Title: "The extraction fan is not running",
		Cause:       "It is switched off, stuck or without power, or its contact is.",
		Detection:   "The contact is open: heat is off while it lasts. It latches after 1 s (C).",
		Instruction: "Heaters are told zero. Leave the fumes. If it smokes, press an emergency stop outside the fumes, stay out, get help. Get the fan running from outside the fumes; then reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, after: time.Second, onlyWithHeat: true,
	},
	InterlockUnknown: {
		Name: "interlock_unknown", Title: "The interlocks can not be read",
		Cause:       "The input module or its line is dead.",
		Detection:   "A wired interlock has not been read for 1 s (E): heat is off while it lasts. It latches after 0.5 s more (E), so that a module that was plugged in again does not bring heat back.",
		Instruction: "Heaters are told zero. The program can not see the emergency stop now; the stop does not need it: press it if in doubt. Check the serial cable and the power of the input module, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, ChildOf: HeaterUnheard, after: interlockLostFor, onlyWithHeat: true,
	},
	HeaterUnheard: {
		Name: "heater_unheard", Title: "The heaters do not confirm what they are told",
		Cause:       "The heater module or its line is dead, or it refuses what it is told.",
		Detection:   "A heater or the contactor has not confirmed for 1 s (E). It latches at once: a module that comes back must not go on where it stopped.",
		Instruction: "HEAT MAY STILL BE ON. Press the emergency stop. See that every plate cools; if one does not, switch the mains off. Then check cable and power of the heater module, and reset.",
		Afterwards:  "Heaters are told zero, and confirm it again. See that every plate cools; if one does not, press the emergency stop and switch the mains off. Check cable and power of the heater module, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	HeaterForgot: {
		Name: "heater_forgot", Title: "The heaters or a line were away for a moment",
		Cause:       "Their module lost its supply for a moment, or let go by its own time-out, or somebody switched it by another way than this program; or the adapter of any line was unplugged, or its hub was reset.",
		Detection:   "The port of any line was lost. Or, asked before it is told anew, a module of heaters or contactor has something else than it confirmed before: its contactor or, on a module without one, a heater, whose duty counts as on from 1 % (E). It latches at once: heat must not come back by itself.",
		Instruction: "Heaters are told zero. If a plate goes on rising, press the emergency stop. See that plugs, cables and adapters and the supply of the heater module hold, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	MeltOverTemperature: {
		Name: "melt_over_temperature", Title: "The melt is over its trip temperature",
		Cause:       "Too much heat: a stuck relay, a limit set too high, a pot nearly empty, or a pot that came too hot.",
		Detection:   "A reading at the melt trip or above, at any age: heat is off at once. It latches after 0.5 s (C), and is over 10 °C below (C). Without a melt probe: the last that was typed in, until a lift is marked at the bench.",
		Instruction: "Heaters are told zero. Leave the pot, keep the extraction on; if it smokes, cut the power at a distance, leave, get help. Reset at the bench once it has cooled.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, after: tellAfter,
	},
	PlateOverTemperature: {
		Name: "plate_over_temperature", Title: "The plate is over its trip temperature",
		Cause:       "A stuck relay, or no pot on the plate.",
		Detection:   "A reading at the plate trip or above, at any age: heat is off at once. It latches after 0.5 s (C), and is over 10 °C below (C). Without a melt probe the plate trips 12 °C above its own limit (E), and where it is heated at 5 °C above the melt trip for a minute longer than heat rests on a melt read by hand, and none was read and believed (E); without a plate probe nothing sees it.",
		Instruction: "Heaters are told zero. If it goes on rising, press the emergency stop, then switch the heaters' mains off, not the extraction's. Reset only when it is cold and the cause is found.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, after: tellAfter,
	},
	RiseWhileOff: {
		Name: "rise_while_off", Title: "The plate goes on rising with its heater off",
		Cause:       "The heater's relay is stuck on, or something else heats the plate. It is no afterheat, which is over within half a minute.",
		Detection:   "A plate above 50 °C (C) and warmer than its melt, with its heater told zero, has risen by 3 °C and 60 °C for each part of full power that it was told before (E: 20 to 40 °C in 1080 simulated plates), or, later than 60 s (E: simulated afterheat was over in 40), by 3 °C and faster than 3 °C a minute. It latches at once, with heat blocked too. Without a plate probe: the melt, later than 10 min (E). Without a melt probe, while the pot is marked as lifted and in the 10 min after it came back (E): only above the melt trip, where no pot takes its plate.",
		Instruction: "PRESS THE EMERGENCY STOP, then switch the heaters' mains off. This plate is heated though its heater is told zero. Have relay and contactor changed by a licensed electrician before you heat again.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench,
	},
	ProbesCrossed: {
		Name: "probes_crossed", Title: "This pot's probes answer another pot's heater",
		Cause:       "Two pots' probes or heaters are plugged in crosswise.",
		Detection:   "A plate has not risen by 1.5 °C in 20 s at a duty of 0.8 and more, while another, not heated for 20 s, rose by 3 °C and more than its afterheat (E), without a warmer melt on it. All heat, because it may be that other one's stuck relay.",
		Instruction: "Heaters are told zero. If a plate goes on rising, press the emergency stop. Let the bench get cold and switch the mains off. Then put the probes where they belong; heaters only by a licensed electrician. End the program and run meltwarden commission --anew before you heat again.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	CircuitOver: {
		Name: "circuit_over", Title: "The heaters were to draw more than the circuit carries",
		Cause:       "An error in this program: it shares the circuit so that this can not be.",
		Detection:   "What all heaters together would be told is over the breaker's rating, or the mean of the last minute is 2 % over the continuous share (E). Nothing of it flows.",
		Instruction: "Heaters are told zero. This is an error in the program: keep the run's history for whoever mends it, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	LeftAlone: {
		Name: "left_alone", Title: "The hot bench was left alone",
		Cause:       "Nobody has touched the bench for a quarter of an hour.",
		Detection:   "Heat enabled, something at 50 °C or more, and for 15 min (M) no press of the enable button, none of the pedal of 0.4 to 5 s, and no mark made at the bench's own computer.",
		Instruction: "Heaters are told zero. A hot bench is never left alone: look after the pots, then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	SessionTooLong: {
		Name: "session_too_long", Title: "Heat has been enabled for three hours",
		Cause:       "A long evening, or one that nobody ended.",
		Detection:   "3 h (C) since the last press of the enable button, with heat enabled.",
		Instruction: "Heaters are told zero. Are you fit to go on? If not, let it cool and stay with it. Look at the melts' colour, then reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	PotUnseen: {
		Name: "pot_unseen", Title: "Neither probe of this pot can be trusted",
		Cause:       "Both probes are unplugged or broken, or their module is dead, or its cold junction lost.",
		Detection:   "Both readings, or the only one, are unusable, implausible or frozen for 3 s (E). With one probe left a stuck relay still shows as an over-temperature; with none only the contactor can end it. Later than the pot's own heater, so that one lost frame does not drop the contactor.",
		Instruction: "Heaters are told zero; nothing is seen of this pot. Press the emergency stop and take it for hot. If it smokes or goes on warming, its relay is stuck: switch the mains off at a distance. Then check both probes, their plugs, their module and its cold junction, and reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, ChildOf: HeaterUnheard, after: unusableFor, onlyLasting: true, onlyWithHeat: true,
	},
	MeltUnusable: {
		Name: "melt_unusable", Title: "No trustworthy melt reading",
		Cause:       "The probe is unplugged, broken or shorted, its module is dead, or noise drowns it.",
		Detection:   "No reading for 1 s (E), one with a fault, or noise of 4 °C (E). For up to 3 s (C) heat is off only while it lasts and comes back by itself, so that a lost frame costs no session; then it latches.",
		Instruction: "This heater is told zero. Check the melt probe, its plug and its cable, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, ChildOf: PotUnseen, after: unusableFor, onlyWithHeat: true,
	},
	PlateUnusable: {
		Name: "plate_unusable", Title: "No trustworthy plate reading",
		Cause:       "The probe is unplugged, broken or shorted, its module is dead, or noise drowns it.",
		Detection:   "No reading for 1 s (E), one with a fault, or noise of 4 °C (E). For up to 3 s (C) heat is off only while it lasts and comes back by itself, so that a lost frame costs no session; then it latches.",
		Instruction: "This heater is told zero. Check the plate probe, its plug and its cable, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, ChildOf: PotUnseen, after: unusableFor, onlyWithHeat: true,
	},
	MeltImplausible: {
		Name: "melt_implausible", Title: "The melt reading can not be true",
		Cause:       "A loose plug, a dead amplifier, the wrong register, or a probe that was moved.",
		Detection:   "Below -20 °C, above 400 °C, or a step of more than 30 °C a second (E): heat is off while it lasts. It latches after 1 s (E), and stays until the reading is back by a jump to within 30 °C of what it was or may have cooled to since, by 63 % in 15 min (E; shorted leads read the module's own temperature, steadily), or the pot was marked as lifted at the bench, or, where that may be so by then, both probes have read less than 50 °C for 8 min (E); of a probe that was below 50 °C also until it was unplugged and is back. A fall from 50 °C and more, also over a gap in the readings, keeps heat off like that with heat blocked as well.",
		Instruction: "This heater is told zero. Check that the probe sits in the melt, and that its leads do not touch. Pull its plug for two seconds, push it in tight. If it is right and this stays, mark the pot at the bench as lifted, and as back. Then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, after: implausibleFor, onlyWithHeat: true,
	},
	PlateImplausible: {
		Name: "plate_implausible", Title: "The plate reading can not be true",
		Cause:       "A loose plug, a dead amplifier, the wrong register, or a probe that was moved.",
		Detection:   "Below -20 °C, above 400 °C, or a step of more than 30 °C a second (E): heat is off while it lasts. It latches after 1 s (E), and stays until the reading is back by a jump to within 30 °C of what it was or may have cooled to since, by 63 % in 15 min (E; shorted leads read the module's own temperature, steadily), or the pot was marked as lifted at the bench, or, where that may be so by then, both probes have read less than 50 °C for 8 min (E); of a probe that was below 50 °C also until it was unplugged and is back. A fall from 50 °C and more, also over a gap in the readings, keeps heat off like that with heat blocked as well.",
		Instruction: "This heater is told zero. Check that the probe sits on the plate, and that its leads do not touch. Pull its plug for two seconds, push it in tight. If it is right and this stays, mark the pot at the bench as lifted, and as back. Then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, after: implausibleFor, onlyWithHeat: true,
	},
	MeltFrozen: {
		Name: "melt_frozen", Title: "The melt reading has stopped moving",
		Cause:       "The module hangs, or the leads are shorted: then it reads the module's own temperature.",
		Detection:   "Exactly the same value for 60 s, with the heater on and the plate 25 °C warmer (E). Without a plate probe: below 80 °C, at half the most power it may have (E).",
		Instruction: "This heater is told zero. The probe or its module hangs: switch the module off and on, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	PlateFrozen: {
		Name: "plate_frozen", Title: "The plate reading has stopped moving",
		Cause:       "The module hangs, or the leads are shorted: then it reads the module's own temperature.",
		Detection:   "Exactly the same value for 60 s at a duty of 0.3 and more (E).",
		Instruction: "This heater is told zero. The probe or its module hangs: switch the module off and on, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	MeltNotFollowing: {
		Name: "melt_not_following", Title: "The melt reading does not follow its plate",
		Cause:       "The probe is out of the melt or in another pot.",
		Detection:   "In a fast fall by 30 °C and more it does not level off as after a cold addition: after 16 s, 24 s with the addition marked, it still falls by 2 % of that a second, or after 40 s at all; or it has lost 55 % of what it was above 20 °C, more than by an addition of the pot's own size (E). Or for 2 min it never rose by 2 °C above its lowest with the heater on and the plate 40 °C warmer, unless it rests: above 140 °C, no more than 5 °C lower than when the 2 min began, and at a mean duty below 0.5 (E). Without a plate probe: below 80 °C it has not risen by 2 °C for the heat of 5 min at the most power it may have, which is forgotten in 20 min (E). It stays until the reading has risen by 5 °C, or the pot was marked as lifted at the bench, or the probe was unplugged and is back, or both probes have read less than 50 °C for 8 min (E).",
		Instruction: "This heater is told zero. See that the probe sits in the melt and on the right pot, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	PlateNotFollowing: {
		Name: "plate_not_following", Title: "The plate reading falls below its melt while it is heated",
		Cause:       "The probe has come off its plate. The loop would answer with full power, and only the cut-out would end it.",
		Detection:   "In a fast fall under heat it is 10 °C below the melt, or without a melt probe has fallen by 30 °C (E). It stays until the reading has risen by 5 °C, or the pot was marked as lifted at the bench, or the probe was unplugged and is back, or both probes have read less than 50 °C for 8 min (E).",
		Instruction: "This heater is told zero. Take the plate for hotter than it reads, fix its probe where it was, then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	MeltReversed: {
		Name: "melt_reversed", Title: "The melt reading falls as the pot warms",
		Cause:       "The probe's two leads are swapped.",
		Detection:   "From cold, the reading has fallen by 5 °C while its plate rose by 15 °C under heat (E): one that hangs in the air would not. Without a plate probe: under heat, and to below 12 °C (E). It stays until the probe was unplugged and is back, the pot was marked as lifted at the bench, or both its probes have read less than 50 °C for 8 min (E).",
		Instruction: "This heater is told zero. With the mains off: swap the two leads of the melt probe. Then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	PlateReversed: {
		Name: "plate_reversed", Title: "The plate reading falls as the plate is heated",
		Cause:       "The probe's two leads are swapped.",
		Detection:   "From cold, the reading has fallen by 5 °C under a duty of 0.3 and more (E). It stays until the probe was unplugged and is back, the pot was marked as lifted at the bench, or both its probes have read less than 50 °C for 8 min (E).",
		Instruction: "This heater is told zero. With the mains off: swap the two leads of the plate probe. Then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	HeaterDead: {
		Name: "heater_dead", Title: "The plate does not warm however it is heated",
		Cause:       "The heater is broken, its breaker is open, the contactor or the relay does not close, or the plate's probe is off its plate.",
		Detection:   "As no_rise, for 30 s more (E): a probe that is off its plate reads the same, so it can not wait for long. It stays until the probe was unplugged and is back, the pot was marked as lifted at the bench, or both its probes have read less than 50 °C for 8 min (E).",
		Instruction: "This heater is told zero. Take the plate for HOT: does its probe sit on it? Do not touch. Have breaker, contactor and heater checked with the mains off, by a licensed electrician. Reset when the pot is cold, or mark it at the bench as lifted first.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, after: heaterDeadFor, onlyLasting: true, onlyWithHeat: true,
	},
	SetpointChanged: {
		Name: "setpoint_changed", Title: "The controller has another set-point than it was told",
		Cause:       "Somebody turned its knob, another program wrote to it, or it keeps a limit or a programme of its own.",
		Detection:   "Of a pot that is heated by set-point: 3 s after it was told (E), the set-point that is read back differs by more than 1.2 °C (E).",
		Instruction: "This heater is told zero. Its controller rests now: set nothing at it while this program tells it what to hold, and see that no limit (or keep plate-limit below it), ramp or programme of its own is on; then press the enable button to reset.",
		Severity:    Trip, Action: HeaterOff, Clears: AtTheBench, onlyWithHeat: true,
	},
	ControllerAstray: {
		Name: "controller_astray", Title: "The controller does not see its plate",
		Cause:       "Its own sensor is broken, of another type than it is set to, or off the plate; or the plate's probe is.",
		Detection:   "Of a pot that is heated by set-point, where its process value is read: that is no measurement, or 25 °C away from the plate's probe (E), for 10 s (E).",
		Instruction: "Heaters are told zero. A controller that is blind may heat whatever it is told, so the contactor opens for all. Take the plate for HOT. With the mains off and the plate cold: see that both sensors sit on it, and that the controller is set to the type of its own. Then press the enable button to reset.",
		Severity:    Trip, Action: AllOff, Clears: AtTheBench, after: astray, onlyLasting: true, onlyWithHeat: true,
	},
	MeltForecast: {
		Name: "melt_forecast", Title: "The melt is on its way over its trip temperature",
		Cause:       "More heat in the plate than the melt should get: a wrong volume in the recipe, a pot nearly empty, a stuck relay.",
		Detection:   "Rising by more than 0.1 °C a second, it would be at the melt trip in 60 s: the lag of its probe, and a part of what the plate still gives, which in 1260 simulated pots was worth 80 s and more of the slope (E). In ordinary sessions it was 118 s away and more. Without a plate probe: in 90 s (E). Told when it lasts for 10 s (E): a stir may bring up what is warmer.",
		Instruction: "Face shield and gauntlets on. Stir with a dry rod. If it goes on rising, press the emergency stop. Lift it only if you must: both hands, onto a dry, level, heat-proof place beside the plate.",
		Severity:    Warning, Action: Inhibit, after: 10 * time.Second, needed: true,
	},
	FastFall: {
		Name: "fast_fall", Title: "The melt reading falls fast",
		Cause:       "The probe is out of the melt, or something cold was added.",
		Detection:   "Faster than 0.5 °C a second for 1 s (C: a lifted pot cools by 4 °C a minute, a bare probe by 3 °C a second): heat is off, never more of it, until the reading rises or holds for 1 s. Named after 20 s: a little cold colour levels off within 15 s (C), and was seen to have done so within 17 s in 100 simulated sessions (E).",
		Instruction: "Its heater is told zero until the reading holds. Probe out of the melt, or a cold addition? Look, and mark an addition.",
		Severity:    Warning, Action: Inhibit, Quiet: AfterColour | OffItsPlate, ChildOf: MeltNotFollowing, after: nameFastFall, inService: true,
	},
	PlateFastFall: {
		Name: "plate_fast_fall", Title: "The plate reading falls fast while it is heated",
		Cause:       "The probe has come off its plate, or a cold potful was put on it.",
		Detection:   "Faster than 1.5 °C a second for 1 s at a duty of 0.3 and more (E): heat is off, never more of it, until the reading rises or holds for 1 s. Named after 20 s (E).",
		Instruction: "Its heater is told zero until the reading holds. See that the probe sits on its plate.",
		Severity:    Warning, Action: Inhibit, Quiet: OffItsPlate, ChildOf: PlateNotFollowing, after: nameFastFall, inService: true,
	},
	MeltHigh: {
		Name: "melt_high", Title: "The melt is too warm",
		Cause:       "More heat in the plate than the melt should get, or a pot that came too hot.",
		Detection:   "A reading 5 °C over the hottest target for 2 s (E), over when it is 2 °C lower (C). Without a melt probe: the last that was typed in.",
		Instruction: "Face shield and gauntlets on. Stir with a dry rod. If it goes on rising, press the emergency stop. Lift it only if you must: both hands, onto a dry, level, heat-proof place beside the plate.",
		Severity:    Warning, after: 2 * time.Second, needed: true,
	},
	MeltNoisy: {
		Name: "melt_noisy", Title: "The melt reading is noisy",
		Cause:       "A loose plug, a cable beside a heater's, a probe that touches the pot and an earthed plate.",
		Detection:   "The short-term differences spread by 1.5 °C, six times a good module's, for 5 s (E). From 4 °C on it counts as unusable.",
		Instruction: "Control goes on with what it can make of it. With the mains off: tighten the melt probe's plug and lead its cable away from the heaters'.",
		Severity:    Warning, after: 5 * time.Second,
	},
	PlateNoisy: {
		Name: "plate_noisy", Title: "The plate reading is noisy",
		Cause:       "A loose plug, a cable beside a heater's, a probe that touches an earthed plate.",
		Detection:   "The short-term differences spread by 1.5 °C, six times a good module's, for 5 s (E). From 4 °C on it counts as unusable.",
		Instruction: "Control goes on with what it can make of it. With the mains off: tighten the plate probe's plug and lead its cable away from the heaters'.",
		Severity:    Warning, after: 5 * time.Second,
	},
	NoRise: {
		Name: "no_rise", Title: "The plate does not rise under heat",
		Cause:       "The heater is broken, its breaker is open, the contactor or the relay does not close, or the plate's probe is off its plate.",
		Detection:   "For 30 s at a smoothed duty of 0.5 and more the plate has not risen by 2 °C (E: 1260 simulated plates rose by 15 °C and more at full power), and is not 25 °C warmer than its melt or, without a melt probe, is below 80 °C (E).",
		Instruction: "Take the plate for HOT: does its probe sit on it? Do not touch. If its reading does not rise, this heater is told zero in half a minute. Then see that the plate is switched on, its breaker closed and the contactor in.",
		Severity:    Warning, ChildOf: HeaterDead, inService: true,
	},
	HeaterWeak: {
		Name: "heater_weak", Title: "The heater is weaker than it was",
		Cause:       "A part of the heater has burnt out, a phase is missing, or the mains is low.",
		Detection:   "At a duty of 0.8 and more the plate rises at less than half the best rate of this session at about the same distance from its melt (E).",
		Instruction: "The pot will take longer. If it goes on, have the heater and its wiring looked at by a licensed electrician.",
		Severity:    Warning,
	},
	ProbesDisagree: {
		Name: "probes_disagree", Title: "A cold probe of this pot does not agree with the others",
		Cause:       "A bad junction, the wrong thermocouple type set (right when cold, tens of degrees too low or too high when hot), a wrong correction, or a pot that is still warm.",
		Detection:   "Before any heat, with all probes below 40 °C, they differ by more than 3 °C (C); named is the pot of the one furthest from their mean.",
		Instruction: "Compare this pot's two probes with the others before you heat. Look for the wrong thermocouple type or a bad junction.",
		Severity:    Warning, after: 2 * time.Second, inService: true,
	},
	NobodyHere: {
		Name: "nobody_here", Title: "Nobody has touched the hot bench for ten minutes",
		Cause:       "The maker was called away.",
		Detection:   "As left_alone, for 10 min (M).",
		Instruction: "Hold the pedal for two seconds, or mark a stir on the bench's own computer. Otherwise all heaters are told zero in five minutes. The enable button does as well, but if a pot is tripped, the pedal, not the enable button.",
		Severity:    Warning, ChildOf: LeftAlone, needed: true,
	},
	SessionLong: {
		Name: "session_long", Title: "Heat has been enabled for almost three hours",
		Cause:       "A long evening, or one that nobody ended.",
		Detection:   "2 h 45 min (C) since the last press of the enable button, with heat enabled.",
		Instruction: "Pedal and stir mark say that you are here; only the enable button gives three more hours. Otherwise all heaters are told zero in a quarter of an hour. To say that you are here if a pot is tripped, the pedal, not the enable button.",
		Severity:    Warning, ChildOf: SessionTooLong, inService: true,
	},
	HistoryUnwritten: {
		Name: "history_unwritten", Title: "What happens is not being written down",
		Cause:       "The disk is full, or the data folder can not be written to.",
		Detection:   "History says so for 2 s (C).",
		Instruction: "Control goes on. Free some space on the disk, or see that the data folder can be written to; the last minutes are kept in memory until then.",
		Severity:    Warning, after: 2 * time.Second,
	},
	PotLifted: {
		Name: "pot_lifted", Title: "The pot is off its plate",
		Cause:       "It was marked as lifted.",
		Detection:   "The maker's mark.",
		Instruction: "Its heater is told zero. Put it back, mark its return, and press the enable button.",
		Severity:    Note, Action: Inhibit,
	},
	LiftNoticed: {
		Name: "lift_noticed", Title: "The pot looks as if it were off its plate",
		Cause:       "It was lifted without a mark. Or its plate or its melt does what one of a lifted pot does.",
		Detection:   "Of a melt that had been held at 140 °C and more for a minute: for 1.5 s its plate has gone by 42 % and more, and its melt by 70 % and more, of the way from what was foreseen with the pot there to what was foreseen without it, and the two ways are 1.5 °C and 0.45 °C apart (E); twice that where the melt was not at rest or the heater has been off for 20 s; and the melt falls by 1.6 °C a minute and more (E; a lifted one comes to 4, C). 15 s after the moment it was foreseen from, at the soonest (C).",
		Instruction: "Its heater is told zero. Mark the lift, or nothing. When it stands on its plate, or if it never left it, mark it as back and press the enable button.",
		Severity:    Note, Action: Inhibit,
	},
	LiftSuspected: {
		Name: "lift_suspected", Title: "The pot may be off its plate",
		Cause:       "It was lifted without a mark, or something else moves its plate and its melt alike.",
		Detection:   "As lift_noticed, with the two ways 1.0 °C and 0.25 °C apart, and a fall of 0.5 °C a minute (E): heat is off while it lasts. Named after 20 s (E): a lift is told by then.",
		Instruction: "Its heater is told zero until the readings say which. Is it lifted? Then mark it.",
		Severity:    Note, Action: Inhibit, after: nameLift,
	},
	HeldLong: {
		Name: "held_long", Title: "The melt has been kept hot for long",
		Cause:       "It ages: it yellows and loses strength, the faster the hotter.",
		Detection:   "Time since it was cured, while it is hot: 60 min where nothing else is set (C).",
		Instruction: "Use it soon, or let it cool. Look at its colour before the next shot.",
		Severity:    Note,
	},
	StillHot: {
		Name: "still_hot", Title: "The bench is still hot",
		Cause:       "Plates and melts take an hour and more to cool.",
		Detection:   "Heat is not enabled, and a plate or a melt was at 50 °C (C) or more when last seen; 40 °C (E) where a pot has one probe.",
		Instruction: "Stay until everything is below 50 °C. Spilled vinyl and pot walls may be hotter than the probes.",
		Severity:    Note, inService: true,
	},
	HeaterUnproven: {
		Name: "heater_unproven", Title: "These heaters are not proven",
		Cause:       "It is not on record that they switch off by themselves when the line goes silent.",
		Detection:   "The record, at the start.",
		Instruction: "Heat stays off: the commissioning of this bench is not complete. Put it on record with meltwarden commission.",
		Severity:    Note, Action: AllOff,
	},
}
