package view

// TryLabels are the words about what to try next and what came of it.
type TryLabels struct {
	Accept, AcceptHere, NoChangeFor string
	Attempts, NoAttempts, StartWith string
	EndAttempt, EndWhy, EndHere     string
	AimMissed                       string
}

var tryLabels = TryLabels{
	Accept: "Accept as a new version", AcceptHere: "A change is accepted on the bench's own computer only.",
	NoChangeFor: "Fits, but leads to no change",
	Attempts:    "What was tried", NoAttempts: "Nothing yet. Look into a spoiled shot: its page says what to try next.",
	StartWith:  "To start with this version, on a terminal:",
	AimMissed:  "aim missed:",
	EndAttempt: "End this attempt", EndWhy: "Why", EndHere: "An attempt is ended on the bench's own computer only.",
}
