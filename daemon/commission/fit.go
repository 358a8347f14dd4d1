package commission

import (
	"errors"
	"slices"
	"strings"

	"meltwarden/config"
	"meltwarden/devices/registers"
)

// needed are the channels without which no bench is heated, and why.
var needed = []struct {
	role registers.Role
	why  string
}{
	{registers.Contactor, "Nothing could take the mains off the heaters: let everything that heats go through one contactor, and add it"},
	{registers.EStop, "Heat would come back by itself when the stop is released: wire its second contact (normally closed) and add it"},
	{registers.CutOut, "Heat would come back by itself when the cut-out is reset: wire its second contact (closed while it is well) and add it"},
	{registers.Enable, "A person at the bench switches heat on: wire a button (normally open) and add it"},
}

// Fit returns nil for a bench file with every channel that a heated bench needs. The
// error names each that is missing. No record clears a bench that is not fit.
func Fit(b *config.Bench) error {
	if missing := unfit(b); len(missing) > 0 {
		return errors.New(strings.Join(missing, "\n  "))
	}
	return nil
}

func unfit(b *config.Bench) []string {
	var missing []string
	for _, n := range needed {
		if !wired(b, n.role) {
			missing = append(missing, "no channel with role: "+string(n.role)+". "+n.why)
		}
	}
	return missing
}

// wired reports whether a bench file has a channel of a role.
func wired(b *config.Bench, r registers.Role) bool {
	return slices.ContainsFunc(b.Channels, func(c registers.Channel) bool { return c.Role == r })
}
