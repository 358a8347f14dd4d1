package assemble

import (
	"time"

	"meltwarden/config"
	"meltwarden/daemon/commission"
	"meltwarden/devices/registers"
)

// Step is a part of the session.
type Step uint8

// The steps, in their order.
const (
	TheBench Step = iota
	ItsProtection
	TheLines
	TheProbes
	TheContacts
	TheHeaters
	TheRecipe
	TheFile
	TryingOut
	steps
)

var titles = [steps]string{"the bench", "what protects it", "lines and devices", "probes", "contacts", "heaters and contactor", "recipe", "the bench file", "trying out"}

// takes is how long a step takes with everything at hand and all manuals open (E: a minute
// for each thing that has to be looked up).
func (s Step) takes(pots int) time.Duration {
	n := time.Duration(pots) * time.Minute
	return [steps]time.Duration{
		3 * time.Minute, 3 * time.Minute, 5 * time.Minute, 2*time.Minute + n, 4 * time.Minute,
		3 * time.Minute, time.Minute, time.Minute, commission.Takes(likeThis(pots)),
	}[s]
}

// likeThis is a bench of some pots, as far as it matters for the time that it takes.
func likeThis(pots int) *config.Bench {
	b := &config.Bench{Pots: make([]config.Pot, pots)}
	for _, r := range []registers.Role{registers.EStop, registers.CutOut, registers.Heater} {
		b.Channels = append(b.Channels, registers.Channel{Role: r, Device: "x"})
	}
	return b
}

// usualPots is how many pots a bench is taken to have before it is said.
const usualPots = 3

// toGo is how long the session takes from a step on.
func toGo(from Step, pots int) (all time.Duration) {
	for s := from; s < steps; s++ {
		all += s.takes(pots)
	}
	return all
}
