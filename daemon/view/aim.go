package view

import (
	"fmt"
	"math"
	"strconv"

	"meltwarden/control"
	"meltwarden/daemon/frames"
)

// aim is where a pot is to get: its cure temperature until it is cured, then its set-point.
type aim struct {
	c    float64 // degrees Celsius
	cure bool
}

// aimOf goes by what the pot waits for. One whose cure temperature is not above its
// set-point cures there.
func aimOf(p *control.PotFrame, s control.PotSettings) aim {
	if !p.Cured && !p.Uncured && s.CureC > p.SetpointC {
		return aim{s.CureC, true}
	}
	return aim{p.SetpointC, false}
}

// against is what the melt's figure is to be held against.
func (a aim) against(p *control.PotFrame) Both {
	set := against(p.SetpointC, p.BandC)
	if !a.cure {
		return set
	}
	return Both{
		C: fmt.Sprintf(texts.cureAt, trimmed(celsius.degrees(a.c)), set.C),
		F: fmt.Sprintf(texts.cureAt, trimmed(fahrenheit.degrees(a.c)), set.F),
	}
}

// against is the set-point and its band.
func against(setC, bandC float64) Both {
	return inBoth(func(u unit) string {
		return fmt.Sprintf(texts.against, trimmed(u.degrees(setC)), trimmed(u.span(bandC)), u.symbol)
	})
}

// offset is how far the melt is from where it is to get, or why it is not known.
func (a aim) offset(p *control.PotFrame) Both {
	melt := frames.MeltOrEstimate(p)
	switch {
	case !p.Probes.HasMelt():
		return guessed(p)
	case !melt.Known():
		return same(fmt.Sprintf(texts.noReading, fault(p.Melt)))
	}
	at, place, off := texts.at, texts.setpoint, float64(melt)-a.c
	if a.cure {
		at, place = texts.atCure, texts.cure
	}
	still := same("")
	if !a.cure && p.State == control.Ready && math.Abs(off) > p.BandC {
		ready := StillReady(p.BandC)
		still = Both{", " + ready.C, ", " + ready.F}
	}
	return inBoth(func(u unit) string {
		if math.Abs(u.span(off)) < 0.05 {
			return at
		}
		text := texts.above
		if off < 0 {
			text = texts.below
		}
		return fmt.Sprintf(text, strconv.FormatFloat(math.Abs(u.span(off)), 'f', 1, 64), u.symbol, place) + u.of(still)
	})
}

// StillReady says of a pot outside half a band, in degrees Celsius, that it is ready all the
// same, and how far.
func StillReady(bandC float64) Both {
	return inBoth(func(u unit) string {
		return fmt.Sprintf(texts.stillReady, trimmed(u.span(control.StillReadyC(bandC))), u.symbol)
	})
}

// level is where the melt stands on the page's scale, and the half-width of the band on
// it. Every pot has where it is to get in the middle, so that pots can be compared across.
// At -1 is a cold shop, at 1 the melt's trip temperature; the degrees nearest to the middle
// take more than half of the way, so that a band of 2 can be seen from across the shop. A
// cure temperature has no band.
func (a aim) level(p *control.PotFrame, tripC float64) (melt, band Figure) {
	off := float64(frames.Melt(p)) - a.c
	end := a.c - coldShopC
	if off > 0 {
		end = tripC - a.c
	}
	if !a.cure {
		band = bandOnScale(p.BandC)
	}
	return Figure(math.Copysign(onScale(math.Abs(off), end), off)), band
}

func bandOnScale(c float64) Figure { return Figure(min(nearShare, nearShare*c/nearC)) }

// onScale is how far out a distance is on a side of the scale that ends at a distance.
func onScale(c, end float64) float64 {
	if c <= nearC {
		return nearShare * c / nearC
	}
	return math.Min(1, nearShare+(1-nearShare)*(c-nearC)/max(end-nearC, 1))
}

// Our choice, no source: nearC degrees to either side of the middle take nearShare of
// that side; coldShopC is where the scale begins.
const (
	nearC     = 10.0
	nearShare = 0.6
	coldShopC = 20.0
)
