package view

// PlanLabels are the words of the page of a plan, around the plan's own.
type PlanLabels struct {
	Plan, PlanRecipe, PlanAt, PlanReadyAt, PlanRoom, PlanRoomLike string
	Print, NoPlan, PlanOf, Cautions                               string
	// Of the circuit's load.
	LoadWhen, Heaters, ForLong string
}

var planLabels = PlanLabels{
	Plan: "Plan", PlanRecipe: "Recipe", PlanAt: "Heat enabled at", PlanReadyAt: "or all ready at",
	PlanRoom: "Room, with its unit", PlanRoomLike: "such as 21 C",
	Print:  "For paper: print this page with the browser.",
	NoPlan: "Nothing can be planned yet: no recipe is kept. A recipe is kept with the first run that is made with it. On a terminal: meltwarden plan FILE --config BENCH.yaml",
	PlanOf: "Plan an evening with it", Cautions: "Cautions",
	LoadWhen: "when", Heaters: "heaters", ForLong: "of what may flow for long",
}
