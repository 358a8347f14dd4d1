package config

import (
	"fmt"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/devices/registers"
)

// Settings joins a bench and a recipe, in the order of the bench's pots. Its
// error is a *strict.Error about the recipe. HeatersProven is always false
// here: no file can prove that heaters switch off on a silent line.
func Settings(b *Bench, r *Recipe) (control.Settings, error) {
	j := join{b, r, r.src.Again()}
	s := control.Settings{Period: Period, Circuit: b.Supply, Limits: j.limits(), Injector: b.Injector, PedalMarksShot: b.pedalMarksShot()}
	for _, c := range b.Channels {
		if c.Role == registers.Lid {
			s.Lids = append(s.Lids, c.Pot)
		}
	}
	for _, p := range b.Pots {
		if i, ok := j.colourOf(p); ok {
			s.Pots = append(s.Pots, j.pot(p, i))
		}
	}
	j.checkColours()
	j.checkLimits()
	if err := j.src.Err(); err != nil {
		return control.Settings{}, err
	}
	return s, nil
}

// pedalMarksShot reports whether a short press of the bench's pedal marks a shot.
func (b *Bench) pedalMarksShot() bool {
	return b.has(registers.Pedal, func(c registers.Channel) bool { return c.MarksShot })
}

// join is a bench and a recipe side by side, with what does not fit.
type join struct {
	bench  *Bench
	recipe *Recipe
	src    *strict.Source
}

func (j join) limits() guard.Limits {
	return guard.Limits{
		HeldLong:   j.recipe.Limits.HeldLong,
		MeltWarnC:  j.hottestC() + meltWarnAboveC,
		MeltTripC:  lower(j.bench.Ceiling.MeltTripC, j.recipe.Limits.MeltTripC),
		PlateTripC: j.bench.Ceiling.PlateTripC,
		EStop:      j.bench.wired(registers.EStop),
		CutOut:     j.bench.wired(registers.CutOut),
		Fan:        j.bench.wired(registers.Fan),
	}
}

// lower returns the lower of two limits; zero is none.
func lower(bench, recipe float64) float64 {
	if recipe == 0 {
		return bench
	}
	return min(bench, recipe)
}

// hottestC is the highest temperature the recipe asks of any melt.
func (j join) hottestC() float64 {
	hottest := 0.0
	for _, c := range j.recipe.Colours {
		hottest = max(hottest, c.SetpointC, c.CureC)
	}
	return hottest
}

// colourOf finds the colour that goes into a pot.
func (j join) colourOf(p Pot) (int, bool) {
	for i, c := range j.recipe.Colours {
		if c.Pot == p.Name {
			return i, true
		}
	}
	j.src.Complain("colours", fmt.Sprintf("pot %q of the bench has no colour", p.Name),
		"add a colour for every pot of the bench")
	return 0, false
}

func (j join) pot(p Pot, i int) control.PotSettings {
	c := j.recipe.Colours[i]
	return control.PotSettings{
		Name: p.Name, Colour: c.Name,
		HeaterW: p.HeaterW, Output: p.Output, Window: p.Window, LeastOn: p.LeastOn, LeastOff: p.LeastOff, VolumeML: c.Volume.ML,
		SetpointC: c.SetpointC, BandC: c.BandC,
		CureC: c.CureC, Dwell: c.Dwell,
		SteadyFor: j.recipe.SteadyFor, StirWithin: j.recipe.StirWithin,
		PlateLimitC: j.plateLimitC(p),
		Probes:      p.Probes, HandWithin: p.HandWithin, MostW: p.MostW,
		Controller: p.Controller,
	}
}

func (j join) plateLimitC(p Pot) float64 { return lower(p.PlateLimitC, j.recipe.Limits.PlateLimitC) }

// checkColours complains about colours for which there is no pot, and about
// targets that the limits leave no room for.
func (j join) checkColours() {
	pots := names(j.bench.Pots, func(p Pot) string { return p.Name })
	mostC := mostTargetC(j.limits().MeltTripC)
	for i, c := range j.recipe.Colours {
		path := fmt.Sprintf("colours[%d]", i+1)
		refer(j.src, path+".pot", "pot of the bench", c.Pot, pots)
		j.checkTarget(path+".setpoint", c.SetpointC, mostC)
		j.checkTarget(path+".cure.temperature", c.CureC, mostC)
	}
}

func (j join) checkTarget(path string, targetC, mostC float64) {
	if targetC > mostC {
		j.src.Complain(path, tooNearTrip(j.limits().MeltTripC), atMost(mostC))
	}
}

// mostTargetC is the highest target under a melt trip: the warning has its place
// between them.
func mostTargetC(meltTripC float64) float64 { return meltTripC - meltWarnAboveC - warnBelowTripC }

func tooNearTrip(meltTripC float64) string {
	return "too near the melt trip of " + quantity.FormatTemperature(meltTripC)
}

func plateTooLow(limitC float64, pot string, targetC float64) string {
	return fmt.Sprintf("plate limit of %s too low to bring pot %q to %s",
		quantity.FormatTemperature(limitC), pot, quantity.FormatTemperature(targetC))
}

// checkLimits complains about limits above the bench's, and about plates that
// may not become hot enough.
func (j join) checkLimits() {
	if l := j.recipe.Limits; l.MeltTripC > j.bench.Ceiling.MeltTripC {
		j.src.Complain("limits.melt-trip", "above the bench's ceiling", atMost(j.bench.Ceiling.MeltTripC))
	}
	if l := j.recipe.Limits; l.PlateLimitC > j.bench.Ceiling.PlateLimitC {
		j.src.Complain("limits.plate-limit", "above the bench's ceiling", atMost(j.bench.Ceiling.PlateLimitC))
	}
	for _, p := range j.bench.Pots {
		i, ok := j.colourOf(p)
		if !ok {
			continue
		}
		c, limitC := j.recipe.Colours[i], j.plateLimitC(p)
		if targetC := max(c.SetpointC, c.CureC); limitC < targetC+plateAboveTargetC {
			j.src.Complain(fmt.Sprintf("colours[%d]", i+1), plateTooLow(limitC, p.Name, targetC),
				fmt.Sprintf("keep %s between them", quantity.FormatTemperature(plateAboveTargetC)))
		}
		j.checkMostPower(p, i)
		if wrong, fix := p.Misfit(c.Volume.ML); wrong != "" {
			j.src.Complain(fmt.Sprintf("colours[%d].volume", i+1), wrong, fix)
		}
	}
}

// Misfit says of a volume, in mL, that it runs over the pot or leaves its probe bare, and
// what to write instead. It is "" where it does neither, or where that is not recorded.
func (p Pot) Misfit(ml float64) (wrong, fix string) {
	switch {
	case p.MostFillML > 0 && ml > p.MostFillML:
		return fmt.Sprintf("more than pot %q holds", p.Name), "write at most " + inUnit("mL")(p.MostFillML)
	case ml < p.LeastFillML:
		return fmt.Sprintf("too little to cover the probe of pot %q", p.Name), "write at least " + inUnit("mL")(p.LeastFillML)
	}
	return "", ""
}

// checkMostPower complains about more power than the plate that nobody sees of such a
// volume should have.
func (j join) checkMostPower(p Pot, i int) {
	if p.MostW <= 0 {
		return
	}
	pot := j.pot(p, i)
	pot.MostW = 0
	if mostW := mostPowerShare * pot.MostPowerW(); p.MostW > mostW {
		j.src.Complain(fmt.Sprintf("colours[%d].volume", i+1),
			fmt.Sprintf("too little for the most-power of %s of pot %q: nobody sees its plate", quantity.FormatPower(p.MostW), p.Name),
			"in the bench file write at most "+quantity.FormatPower(mostW)+" there, or nothing")
	}
}
