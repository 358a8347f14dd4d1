package view

// WhyLabels are the words of the pages that look into a fault, and of the report.
type WhyLabels struct {
	Why, WhyFault, BesideOther, OtherShot, ChooseShot, HoldBeside               string
	Alike, NotRecordedList, OverEachOther, OverAlt, OverRuns                    string
	OtherRun, AlignBy, AlignReady, AlignShot, OwnShot, TheirShot                string
	LayOver, NoOther, BackToRun, Report, ReportOf, ReportMade                   string
	WholeReport, NoneSpoiled, OverAllShots, RecipeTyped, DifferRuns, NoneDiffer string
	Reinspect, ReinspectOn, ReinspectWhy, StillClean, NowBled                   string
	ToReinspect, ToReinspectWhy                                                 string
}

var whyLabels = WhyLabels{
	Why: "Why?", WhyFault: "Why %s?",
	BesideOther: "This shot beside %s: %s", OtherShot: "This shot beside another one", ChooseShot: "Beside which shot?", HoldBeside: "Compare",
	Alike: "No difference that the sensors could tell", NotRecordedList: "Not recorded",
	OverEachOther: "Both melts over each other",
	OverAlt:       "The melts of run %d and, dashed, of run %d, each pot with its set-point and band. What differs at the shots stands in the table as text.",
	OverRuns:      "Another run over this one", OtherRun: "Other run", AlignBy: "What falls together", AlignReady: "ready to pour", AlignShot: "a shot",
	OwnShot: "shot of this run", TheirShot: "shot of the other", LayOver: "Lay over it",
	NoOther: "Choose another run: its melts are drawn over those of this one, dashed.", BackToRun: "The run", Report: "This in one file",
	ReportOf: "Report on %s", ReportMade: "One file that needs nothing else. What nobody measured, marked or typed is not recorded; a cause is a hypothesis.",
	WholeReport: "All of this run in one file", NoneSpoiled: "No shot was marked as spoiled.", OverAllShots: "The same over all of your shots", RecipeTyped: "The recipe, as typed",
	DifferRuns: "What differs between the two runs", NoneDiffer: "Not the recipe, and nothing was changed at the bench. Draws, shots, mould and room are not compared here.",
	Reinspect: "Looked at again?", ReinspectOn: "on day", StillClean: "still clean", NowBled: "bled by now",
	ReinspectWhy: "Colour can move over days. That is a fault of its own, and its day tells the two apart.",
	ToReinspect:  "To look at again", ToReinspectWhy: "Clean at demould, three to thirty days old, and nobody has looked since: the newest, a dozen at most.",
}
