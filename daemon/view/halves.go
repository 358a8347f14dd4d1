package view

import (
	"fmt"
	"math"
	"strings"

	"meltwarden/config/quantity"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

// Words for pots with one probe. What is estimated has a ≈ before it and its band behind.
const (
	approx    = "≈ "
	bandText  = "%s%s ± %s"
	guessText = "estimate ± %s %s"
	handSince = ", by hand %s %s %s ago"
)

var probeNames = map[reading.Probes]string{
	reading.BothProbes: "melt and plate", reading.PlateOnly: "plate only", reading.MeltOnly: "melt only",
}

func probes(p reading.Probes) string { return probeNames[p] }

// estimates fills in what is thought of a place without a probe, and what was read by hand.
func (b *Pot) estimates(p *control.PotFrame) {
	b.Probes = probes(p.Probes)
	b.MeltEstimateC, b.MeltWithinC = frames.Estimated(p.MeltEstimate)
	b.PlateEstimateC, b.PlateWithinC = frames.Estimated(p.PlateEstimate)
	b.HandC, b.SinceHandS = frames.Unknown(), frames.Unknown()
	if p.Hand.Read {
		b.HandC, b.SinceHandS = Figure(p.Hand.C), Figure(p.Hand.Since.Seconds())
	}
}

// meltText is the melt as the tile has it.
func meltText(p *control.PotFrame, u unit) string {
	if !p.Probes.HasMelt() && p.MeltEstimate.Known() {
		return approx + u.whole(Figure(p.MeltEstimate.C))
	}
	return u.whole(frames.Melt(p))
}

func plateText(p *control.PotFrame, u unit) string {
	if e := p.PlateEstimate; !p.Probes.HasPlate() && e.Known() {
		return fmt.Sprintf(bandText, approx, u.whole(Figure(e.C)), width(e, u))
	}
	return u.whole(frames.Measured(p.Plate))
}

// width is the band of an estimate, rounded up: it is not known to a tenth.
func width(e control.Estimate, u unit) string {
	return fmt.Sprintf("%.0f", math.Ceil(u.span(e.WithinC)))
}

// guessed says how well a melt without a probe is known.
func guessed(p *control.PotFrame) Both {
	if !p.MeltEstimate.Known() {
		return same(texts.noProbe)
	}
	return inBoth(func(u unit) string { return fmt.Sprintf(guessText, width(p.MeltEstimate, u), u.symbol) })
}

func handText(p *control.PotFrame, u unit) string {
	if !p.Hand.Read {
		return ""
	}
	return fmt.Sprintf(handSince, trimmed(u.degrees(p.Hand.C)), u.symbol, clock(p.Hand.Since))
}

// HandRefused says why a hand-held reading is not taken, of so many kelvin below what was
// expected; "" where it is.
func HandRefused(v control.HandVerdict, shortC float64) string {
	return map[control.HandVerdict]string{
		control.HandNoNeed: "this pot has a melt probe: nothing is to be typed",
		control.HandUnseen: "nothing is known of this pot now to hold a reading against; see to its plate probe first",
		control.HandOdd:    "no melt is that; write what the thermometer shows, such as 168 C",
		control.HandOver:   "well above its plate, which heats it: that can not be. Dry the tip, hold it in the melt and not at the wall, and read again. If the melt really is that hot, press ALL OFF",
		control.HandFar:    "far above what was expected, so it is not believed alone. Stir, read again, and type it once more within two minutes: then it counts",
		control.HandLow:    fmt.Sprintf("%.0f °C lower than expected: stir, put the tip in the middle, not at the wall, and type it again. While the plate is too warm for that, it never counts; if it is right, wait until the plate has cooled", shortC),
	}[v]
}

// NotSeen says of a pot with one probe, or with a controller of its own, what is not known
// of it, and what follows; nothing of any other.
func NotSeen(s control.PotSettings) []string {
	if s.Controller.Is() {
		return steeredNotSeen(s)
	}
	switch s.Probes {
	case reading.PlateOnly:
		return []string{
			"Its melt has no probe. It is estimated from the plate, ≈ with its band, and is never shown as a reading.",
			fmt.Sprintf("Its melt is read with a thermometer of your own and typed on the page, on the bench's own computer: heat rests on what is typed in for %s at most. After that, and before the first, the plate is held no hotter than where the melt is to get, and the pot waits for the next.", quantity.FormatDuration(s.HandLasts())),
			"It is cured only after such a reading at its cure temperature, and ready only after one inside its band.",
			fmt.Sprintf("Its plate trips at %s. A melt that is too hot trips only once it is typed in. What is typed and not far off is believed: a thermometer that always reads 10 °C too low takes the melt 10 °C too far, and no finding tells. Once the melt was read near where it is to get, its plate is kept from going much higher; one that reads 20 °C too low may still take it over its trip.", quantity.FormatTemperature(s.PlateTripAtC())),
			"Put a hot pot back on a colder plate only after marking it as lifted: without that a plate that it warms looks like a stuck heater.",
			"When it is ready is not foretold, and a lift shows only where it is marked.",
			unwatched(s),
		}
	case reading.MeltOnly:
		return []string{
			"Its plate has no probe. It is estimated from the melt and from the heat that went in, ≈ with a wide band, and never shown as a reading.",
			fmt.Sprintf("Its heater gets %s at most in the mean, and the guard sees to that. It heats slowly; a pot that loses much may not get there.", quantity.FormatPower(s.MostPowerW())),
			"How hot its plate is nobody promises: the independent cut-out alone sees it. A plate without a pot is not found out.",
			"A heater that is stuck shows ten minutes after it was told zero, if the melt still rises, or by the melt's own trip. Below 80 °C a melt that does not rise trips after five minutes at that power.",
			"When it is ready is not foretold, and a lift shows only where it is marked.",
			unwatched(s),
		}
	}
	return nil
}

// unwatched names what the guard does not look for.
func unwatched(s control.PotSettings) string {
	var titles []string
	for _, c := range guard.Unwatched(s.Probes) {
		titles = append(titles, strings.ToLower(c.Title()[:1])+c.Title()[1:])
	}
	return "Not watched: " + strings.Join(titles, "; ") + "."
}
