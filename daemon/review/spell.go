package review

import (
	"fmt"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// ReinspectionWords name a bait that is worth another look, and the day.
func ReinspectionWords(r history.Reinspection) string {
	return fmt.Sprintf("run %d, shot %d: day %d", r.Run, r.Shot, r.Day)
}

// Spell spells a figure of a shot by its kind.
func (u Unit) Spell(k cause.Kind, f frames.Figure) string {
	switch k {
	case cause.Difference:
		return u.difference(f, "%+.1f")
	case cause.Rate:
		return u.difference(f, "%+.1f") + perMinute(f)
	case cause.Temperature:
		return u.temperature(f)
	case cause.Seconds:
		return figure(f, "%.0f s")
	case cause.Minutes:
		return figure(f, "%.1f min")
	}
	return figure(f, "%.0f")
}

// Apart spells how far apart two figures of a kind are, without a side; in a unit of
// temperature that is a distance, also where the figures are temperatures.
func (u Unit) Apart(k cause.Kind, by frames.Figure) string {
	if by < 0 {
		by = -by
	}
	switch k {
	case cause.Difference, cause.Temperature:
		return u.difference(by, "%.1f")
	case cause.Rate:
		return u.difference(by, "%.1f") + perMinute(by)
	case cause.Count:
		return figure(by, "%.2g")
	}
	return u.Spell(k, by)
}
