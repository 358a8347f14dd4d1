package view

import (
	"fmt"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/devices/registers"
)

// Unknowable is what can not be known of a pot by the way it is read, in a few words, and what
// follows; nothing of one that reads melt and plate in degrees.
func Unknowable(p control.PotSettings, channels []registers.Channel) []string {
	all := NotSeen(p)
	if short, is := unknowableOf[p.Probes]; is {
		all = append([]string{short}, all...)
	}
	return append(all, inMillivolts(p, channels)...)
}

var unknowableOf = map[reading.Probes]string{
	reading.PlateOnly: "Not known: how hot its melt is between two readings by hand, and so whether it is cured.",
	reading.MeltOnly:  "Not known: how hot its plate is, and so whether the melt scorches there. Its power is kept low for that.",
}

// inMillivolts says of each device that reads a probe of the pot in millivolts what nobody can
// know of its cold junction. How far a probe is off is printed by NumbersOfMillivolts.
func inMillivolts(p control.PotSettings, channels []registers.Channel) (told []string) {
	said := map[string]bool{}
	for _, c := range channels {
		if c.Pot != p.Name || c.Unit != registers.Millivolt || said[c.Device] {
			continue
		}
		said[c.Device] = true
		told = append(told, fmt.Sprintf("Not known: whether the cold junction of %s reads right. An error of it moves every probe of that device alike (a hot melt by 0.7 to 1.0 °C for each degree, by type), so that they agree all the same. Calibration in ice and boiling water shows it. One that is lost, leaps by 3 °C, or is below 1 or above 85 °C ends all heat that rests on it.", c.Device))
	}
	return told
}
