package view

// CauseLabels are the words of the page of causes that only a page has; what is found is
// told by daemon/causes, for the terminal as well.
type CauseLabels struct {
	Causes, OfRecipe, OfMould, CleanShot, ItsFigures, AllFigures, AllCauses string
	DotsAlt, DotOf, DotsLast                                                string
}

var causeLabels = CauseLabels{
	Causes: "Causes", OfRecipe: "Recipe", OfMould: "Mould", CleanShot: "clean", ItsFigures: "Show its figures", AllFigures: "All other figures", AllCauses: "Show everything",
	DotsAlt: "%s of %d shots, run by run: %s as triangles, clean as rings. What it says stands beside it as text.",
	DotOf:   "run %d, shot %d: %s, %s", DotsLast: "the last %d shots",
}
