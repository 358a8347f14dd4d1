package view

// PageLabels are the words of the index of pages, the settings, the search and the record
// of commissioning.
type PageLabels struct {
	Skip, AllPages, Reckoned, Differing                                                      string
	Settings, SettingsWhy, SettingsKept, KeepSettings                                        string
	FindNow, FindWords, FindFirst, FoundNothing, Found, FoundMore                            string
	FoundRuns, FoundShots, FoundRecipes, FoundBatches, FoundAlarms                           string
	FoundRules, FoundIn, FoundBatch, FoundWhere                                              string
	Commissioning, CommissioningWhy, CommissioningMissing, CommissioningRefused              string
	CommissioningRun, CommissioningWarnings, CommissioningOnTerminal                         string
	CommissioningSteps, NotOnRecord, CommissioningSimulated, CommissioningNoBench, BenchName string
}

var pageLabels = PageLabels{
	Skip: "To what this page shows", AllPages: "All pages", Reckoned: "The estimate", Differing: "What differs between the two shots",
	Settings: "Settings", SettingsWhy: "They are of this browser only, and kept in it. Nothing here changes the bench.",
	SettingsKept: "Kept.", KeepSettings: "Keep these settings",
	FindNow: "Search", FindWords: "Words, in any order",
	FindFirst:    "Type words from a note, a mould, a fault, a recipe, a lot or an alarm. Every word has to be there; its beginning will do.",
	FoundNothing: "Nothing has all of these words. Try fewer of them, or the beginning of one.",
	Found:        "Found: %d.", FoundMore: "And %d more: add a word.",
	FoundRuns: "Runs", FoundShots: "Shots", FoundRecipes: "Recipe versions", FoundBatches: "Batches", FoundAlarms: "Alarms there were",
	FoundRules: "What the guard looks for", FoundIn: "run %d, shot %d", FoundBatch: "batch %d: %s", FoundWhere: "What was found, by kind",
	Commissioning:        "Commissioning record",
	CommissioningWhy:     "The proof that this bench's heaters may be switched on, held against its bench file as it is now. It is made at the bench, never here, and it is no substitute for the protection, the local code or a licensed electrician.",
	CommissioningRefused: "Heat is refused until all of this is on record.",
	CommissioningMissing: "Missing, or no longer valid", CommissioningRun: "With this program ended, on the cold bench, with a person at the emergency stop, on a terminal:",
	CommissioningWarnings: "To be changed in the bench file", CommissioningOnTerminal: "The same on a terminal",
	CommissioningSteps:     "What a real bench has to prove, and how",
	NotOnRecord:            "Nothing is on record of this.",
	CommissioningSimulated: "This bench is simulated, so nothing has to be proven of it. A real one is not heated before all that stands below is on record.",
	CommissioningNoBench:   "This program was started without a bench file, so there is nothing to hold a record against. Start it with meltwarden serve --config and the name of a bench file.",
	BenchName:              "bench %s, saved %s",
}

// ChoiceWords say what is chosen. Values are in the order of the choice's own.
type ChoiceWords struct {
	Head, Why string
	Values    []string
}

var choiceWords = map[string]ChoiceWords{
	"unit":  {"Unit of temperature", "An address that names a unit shows that one.", []string{"°C", "°F"}},
	"theme": {"Light or dark", "Paper is always light.", []string{"as this computer asks", "light", "dark"}},
	"sound": {"Sounds of the bench page", "A browser gives sound only once the page was pressed or a key struck. The lamp and the buzzer at the bench do not depend on this.",
		[]string{"off until they are switched on", "on as soon as the page is touched"}},
	"keys": {"Single keys on the bench page", "One key marks what was done. Switch them off where keys are struck by accident or by a voice.", []string{"on", "off"}},
}

// Choice is a choice in words, by its name.
func Choice(name string) ChoiceWords { return choiceWords[name] }

// PageWords say what a page is for.
type PageWords struct{ Path, Name, About string }

// PageGroup are pages that belong together.
type PageGroup struct {
	Head  string
	Pages []PageWords
}

// Index lists the pages that can be gone to directly.
func Index() []PageGroup {
	return []PageGroup{
		{"Now", []PageWords{
			{"/", texts.Bench, "the pots, what they wait for, and marks"},
			{"/checks", texts.Checks, "what to look at before heat is enabled"},
			{"/alarms", texts.Alarms, "what waits for somebody, with its instruction"},
			{"/plan", texts.Plan, "when to press, and what hands do when"},
			{"/estimates", texts.Estimates, "how a melt cools and flows"},
		}},
		{"Afterwards", []PageWords{
			{"/runs", texts.PastRuns, "every run, its plot, its shots and how they came out"},
			{"/find", texts.FindNow, "words in runs, shots, recipes, batches and alarms"},
			{"/causes", texts.Causes, "what goes with a fault over all shots"},
			{"/batches", texts.Batches, "potfuls through their reheats, and their heat dose"},
			{"/recipes", texts.Recipes, "versions, what differs, and what was tried"},
		}},
		{"This bench", []PageWords{
			{"/settings", texts.Settings, "unit, theme, sounds and keys of this browser"},
			{"/phones", texts.Phones, "which phones get in"},
			{"/commissioning", texts.Commissioning, "what is proven of the bench, and what is missing"},
			{"/lines", texts.Serial, "how the devices answer, and whether the line keeps up"},
			{"/keeping", texts.Keeping, "copies, runs from elsewhere, and room"},
			{"/api", texts.API, "every address that answers a program"},
		}},
	}
}
