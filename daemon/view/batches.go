package view

// BatchLabels are the words of the pages of batches.
type BatchLabels struct {
	Batches, NoBatches, InPots, NoPotfuls, KeepPotfuls              string
	RestAsk, RestCured, RestSaid, RestOf, ItIsThis, ItIsNew, NoRest string
	Figures, Sessions, ByThen, InThisRun                            string
	RunNumber, WhenAndPot, ShotOfRun                                string
	ShotsOfIt, NoShotsOfIt                                          string
	Correct, BatchColour, Base, Lot, MadeHow, BatchNote             string
	Keep, OwnBatches, WhyDose, BatchExport, HeatDose                string
}

var batchLabels = BatchLabels{
	Batches: "Batches", NoBatches: "No batch is kept yet: each pot of a run that is recorded begins one.",
	InPots: "What is in the pots", NoPotfuls: "Not recorded: this run was kept before batches were.",
	KeepPotfuls: "Keep batches for this run, their heat reckoned from what was recorded",
	RestAsk:     "Is it the rest of an earlier batch?", RestCured: "It was already cured: is it the rest of an earlier batch?",
	RestSaid: "Is it not the rest of that?", RestOf: "Earlier batch", ItIsThis: "It is the rest of this", ItIsNew: "No, it was made new", NoRest: "There is no earlier batch that could be it.",
	Figures: "What is known of it", Sessions: "Its sessions", ByThen: "by the end", InThisRun: "in this run",
	RunNumber: "run %d", WhenAndPot: "%s, pot %d", ShotOfRun: "run %d, shot %d",
	ShotsOfIt: "Its shots, with its heat dose at each", NoShotsOfIt: "No shot is marked.",
	Correct: "Correct what is written of it", BatchColour: "Colour", Base: "Base", Lot: "Lot", MadeHow: "Made, with its unit", BatchNote: "Note",
	Keep: "Write down", OwnBatches: "What your own batches say", WhyDose: "What equal minutes are",
	HeatDose: "heat dose", BatchExport: "The same on a terminal, or as data:",
}
