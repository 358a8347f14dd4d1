package commission

import (
	"fmt"

	"meltwarden/config"
)

// Step is a part of what a bench has to prove before it is heated, and how it is proven.
type Step struct {
	Title, How string
	Lines      []string
}

// Steps are what has to be proven of a bench, in the order in which a person is led through
// it: from the cold bench, and heat only at the end. Without a bench file, nil, no pot and no
// device has a name.
func Steps(b *config.Bench) []Step {
	protected := Step{Title: "answers", How: "On a terminal it asks what protects the bench without this program. You answer in your own words, with names and days."}
	for _, q := range questions {
		protected.Lines = append(protected.Lines, q.key+": "+q.text)
	}
	opened := Step{Title: "interlocks, opened by hand", How: "Nothing is heated. You open each one once and close it again, and its own contact has to show it."}
	for _, k := range interlocks {
		if b == nil || wired(b, k.role) {
			opened.Lines = append(opened.Lines, fmt.Sprintf("%s: %s %s", k.role, k.open, k.close))
		}
	}
	looked := Step{Title: "controllers, by their displays", How: "Nothing is heated. A controller whose own sensor is not read over the line is told a set-point colder than its plate; you type what its display shows, " +
		"and it has to take the number for the temperature that was meant."}
	dipped := Step{Title: "melt probes, in hot water", How: "Nothing is heated. You hold the tip of each melt probe in hot tap water: it has to move on its own channel and on no other, " +
		"and to read what a kitchen thermometer in the same cup reads, or what water that boils in an open pan has (steam burns). Dry every tip before it goes back: water in hot vinyl spatters."}
	silenced := Step{Title: "devices, when their line goes silent", How: fmt.Sprintf("You press the bench's own enable button, and stand at the emergency stop. With the contactor closed and a little heat the line falls silent: within %.0f s the device itself has to report its outputs off, "+
		"also while it is only read, and once more after its supply was off. A relay that sticks is not seen by this.", mustLetGo.Seconds())}
	nudged := Step{Title: "heaters, nudged", How: "You press again for each. Each heater is heated a little, at first with the contactor open: " +
		"its own plate has to warm, no other, and none before the contactor closes. Which pot stands on that plate is not seen: look."}
	if b != nil {
		for _, p := range b.Pots {
			if unheard(b, p) {
				looked.Lines = append(looked.Lines, "controller of pot "+p.Name)
			}
			if p.Probes.HasMelt() {
				dipped.Lines = append(dipped.Lines, "melt probe "+p.Name)
			}
			nudged.Lines = append(nudged.Lines, "heater "+p.Name)
		}
		for _, device := range outputDevices(b.Channels) {
			silenced.Lines = append(silenced.Lines, "device "+device)
		}
	}
	if b != nil && len(looked.Lines) == 0 {
		return []Step{protected, opened, dipped, silenced, nudged}
	}
	return []Step{protected, opened, looked, dipped, silenced, nudged}
}
