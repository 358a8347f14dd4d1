package view

// EstimateLabels are the words of the page of estimates, and of those on the cards of shots.
type EstimateLabels struct{ Estimates, EstimatesWhy, Reckon, TakenFor, InInjector string }

var estimateLabels = EstimateLabels{
	Estimates:    "Estimates",
	EstimatesWhy: "How a melt cools in injector and mould, from published figures of the material, each with a low and a high. Nothing here is measured, and no heat goes by it.",
	Reckon:       "Estimate", TakenFor: "What it takes for granted",
	InInjector: "lost in the injector, estimated",
}
