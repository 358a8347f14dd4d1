package view

// RecipeLabels are the words of the pages on which a recipe version is changed, scaled
// and compared.
type RecipeLabels struct {
	ChangeRecipe, ScaleRecipe, DownloadRecipe              string
	NewVersionWhy, RecipeHere                              string
	WholeRecipe, OneColour, ColourantName, ColourantAmount string
	NewColourant, LeftOutWhy, PickSwatch                   string
	WholeText, WholeTextWhy                                string
	LookFirst, KeepVersion, WouldDiffer, WouldNotDiffer    string
	NotKept, NotThisBench                                  string
	Contrast                                               string
	EveryColour, Times, Potful, PotfulNow                  string
	ShotCountField, PerShot, PerShotOf, Like               string
	Stays, StaysWhy, OneOfThree, WorkOut, Scaled           string
	ScaledFrom, ScaledTo, Look, What                       string
}

var recipeLabels = RecipeLabels{
	ChangeRecipe: "Change this recipe", ScaleRecipe: "Make more or less of it", DownloadRecipe: "Download the file",
	NewVersionWhy: "This version stays as it is: what is changed is kept as a new version made from it. Nothing is changed at the bench by that.",
	RecipeHere:    "A recipe is changed on the bench's own computer only.",
	WholeRecipe:   "The whole recipe", OneColour: "Colour %s",
	ColourantName: "Colourant %d", ColourantAmount: "How much", NewColourant: "One more colourant",
	LeftOutWhy: "A value that is emptied is left out. A colourant is left out by emptying both of its fields. Comments and layout stay as they were typed.",
	PickSwatch: "or pick it",
	WholeText:  "The whole text", WholeTextWhy: "What the fields above do not reach: comments, a new flake with cut and size, one more colour, which colour comes first.",
	LookFirst: "Show what would differ", KeepVersion: "Keep as a new version",
	WouldDiffer: "What would differ", WouldNotDiffer: "Nothing that counts would differ: a version goes by its content, not by its layout.",
	NotKept: "Not kept. What to write instead:", NotThisBench: "It does not fit this bench as it is:",
	Contrast:    "Contrast of neighbours",
	EveryColour: "Every colour", Times: "Times", Potful: "New potful", PotfulNow: "now %s",
	ShotCountField: "Shots", PerShot: "One takes, of each colour", PerShotOf: "of %s", Like: "such as %s", Stays: "Stays in the pot",
	StaysWhy:   "Where nothing is typed, as much stays as covers the probe.",
	OneOfThree: "Fill in one of the three: a number of times, new potfuls, or shots and what one takes, with units (300 mL, 1 US cup).",
	WorkOut:    "Work it out", Scaled: "What goes into the pots",
	What: "What", ScaledFrom: "as typed", ScaledTo: "scaled", Look: "Look at",
}
