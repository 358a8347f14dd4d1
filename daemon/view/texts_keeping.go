package view

// KeepingLabels are the words of the page about keeping and sharing.
type KeepingLabels struct {
	Keeping, KeepingWhy, KeepingHere            string
	TakeElsewhere, TakeWhy, WriteAll, WriteThis string
	BringIn, BringWhy, ArchiveFile              string
	MakeRoom, ThinWhy, OlderThan, OnlySay       string
	InTheFile, InTheFileWhy                     string
	IsView, IsTable, ColumnName, Means          string
}

var keepingLabels = KeepingLabels{
	Keeping: "Keeping and sharing", KeepingWhy: "All of the past is one file, %s. Copy it while nobody records, or with meltwarden backup at any time.",
	KeepingHere:   "This is done on the bench's own computer only.",
	TakeElsewhere: "Take runs elsewhere", WriteAll: "Every run that is over, as one file", WriteThis: "The whole run as a file, to bring in elsewhere",
	TakeWhy: "With recipes, bench files (without token and addresses of services), cycles, events, shots, verdicts, batches and photos. The proof that heaters may be switched on stays here.",
	BringIn: "Bring runs in", ArchiveFile: "File, up to 16 MB; a larger one with meltwarden import",
	BringWhy: "From a file that this page or export --as archive has written, or a backup. It is all or nothing; a run that is here already is left as it is, and nothing that heats goes by one that was brought.",
	MakeRoom: "Make room", OlderThan: "Runs older than", OnlySay: "Only say which",
	ThinWhy:   "Drops most cycles of old runs and keeps what their plots need; recipes, events, shots, verdicts and photos stay. Such a run can not be replayed any more: make a backup first.",
	InTheFile: "What is in the file", InTheFileWhy: "Any tool that reads SQLite can open it, also while it is written to. Read the views; NULL is what was not recorded. Change nothing there.",
	IsView: "view", IsTable: "table", ColumnName: "Column", Means: "What it is",
}
