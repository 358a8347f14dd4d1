// Package checks has what has to be so before any heat: the words, in one place for plan,
// page and terminal, what is written down of what was ticked off, and whether cold probes
// agree. It is advice: nothing heats by a tick, and nothing is kept from heating by
// one that is missing. That is for the press at the bench, and for the guard.
package checks

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/config/quantity"
)

// Stands is for how long a tick stands at most: an evening at the bench, and no other (E).
// It ends with its run, too.
const Stands = 12 * time.Hour

// Check is one of them.
type Check struct {
	Key   string `json:"key"`   // as the API spells it
	Short string `json:"short"` // as it is written down
	Words string `json:"words"`
}

// The checks that the program has something to say about.
const (
	Probes = "probes"
	Stop   = "emergency-stop"
	CutOut = "cut-out"
	Sound  = "sound"
	Filled = "pots"
)

// Of lists the checks. Of a bench or recipe that is nil nothing is said; agree is how far
// cold probes may lie apart, as it is to be shown.
func Of(b *config.Bench, r *config.Recipe, agree string) []Check {
	var guard config.Protection
	if b != nil {
		guard = b.Protection
	}
	return []Check{
		{"extraction", "extraction", "Extraction at the pots runs; you see or feel that it draws."},
		{"gloves", "gloves and face shield", "Gauntlets, face shield and long sleeves are on."},
		{"nobody", "nobody else near", "No children, no pets, nobody who does not know."},
		{"extinguisher", "extinguisher", "Class B extinguisher and a lid or fire blanket in reach; the local emergency number on the wall."},
		{Stop, "emergency stop", "Emergency stop in reach, and one outside the fumes; tried today: the contactor drops." + onRecord(guard.EStop)},
		{CutOut, "cut-out", "Cut-out tried as its maker says, and reset by hand." + onRecord(guard.CutOut)},
		{"fuse", "fuse and earth", "Fuse and earth are whole, the residual-current device tried by its test button." + onRecord(guard.Fuse, guard.Earth)},
		{"dry", "all dry", "Moulds, inserts, rods, cups, colourants, flake, scent and salt dry and warm: a drop of water in hot vinyl spatters."},
		{"mould", "mould and injectors", "Mould complete with all its inserts; clamped before any push. Injectors clean, dry, and moving freely."},
		{Probes, "probes", fmt.Sprintf("Every probe dry and in its own pot, its tip covered and in the middle; cold, all agree within %s.", agree)},
		{Sound, "sound", "Sound heard over the fan: every call, where you stand when you pour."},
		{Filled, "what is in the pots", "Each pot holds what the recipe says, measured; what is the rest of an earlier batch is said. Least fill that covers the probe: " + leastFills(b, r) + "."},
	}
}

func onRecord(said ...string) string {
	said = slices.DeleteFunc(said, func(s string) bool { return s == "" })
	if len(said) == 0 {
		return ""
	}
	return " On record: " + strings.Join(said, "; ") + "."
}

// notRecorded stands for what nobody has written down.
const notRecorded = "not recorded"

// leastFills are what the bench file says of each colour's pot.
func leastFills(b *config.Bench, r *config.Recipe) string {
	if b == nil || r == nil {
		return notRecorded
	}
	var said []string
	for _, c := range r.Colours {
		least := notRecorded
		for _, pot := range b.Pots {
			if pot.Name == c.Pot && pot.LeastFillML > 0 {
				least = quantity.FormatVolume(pot.LeastFillML)
			}
		}
		said = append(said, c.Name+" "+least)
	}
	return strings.Join(said, ", ")
}

// Summary is what is written down: all, or all but which; where less than half is ticked,
// how many of them and which; or none.
func Summary(all []Check, ticked func(key string) bool) string {
	var done, missing []string
	for _, c := range all {
		if ticked(c.Key) {
			done = append(done, c.Short)
		} else {
			missing = append(missing, c.Short)
		}
	}
	switch {
	case len(missing) == 0:
		return "all"
	case len(done) == 0:
		return "none"
	case len(done) < len(missing):
		return fmt.Sprintf("%d of %d: %s", len(done), len(all), strings.Join(done, ", "))
	}
	return "all but " + strings.Join(missing, ", ")
}

// Unknown is the first of some keys that no check has, or "".
func Unknown(all []Check, keys []string) string {
	i := slices.IndexFunc(keys, func(k string) bool {
		return !slices.ContainsFunc(all, func(c Check) bool { return c.Key == k })
	})
	if i < 0 {
		return ""
	}
	return keys[i]
}
