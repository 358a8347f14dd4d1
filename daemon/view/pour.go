package view

import (
	"fmt"
	"math"
	"time"

	"meltwarden/control"
	"meltwarden/control/pour"
	"meltwarden/daemon/frames"
)

// Pour is how long a melt that is off its plate can still be shot, as it is estimated;
// null for one that is on it.
type Pour struct {
	InS    Figure `json:"in_s"`
	LeastS Figure `json:"least_s"` // it is between these in 8 of 10 cases
	MostS  Figure `json:"most_s"`
	// Assumed is true while the readings have said nothing of it yet.
	Assumed bool `json:"assumed"`
	// Over is true once the melt is too cold.
	Over bool `json:"over"`
}

func pourOf(l pour.Left) Pour {
	if !l.Known {
		return noPour()
	}
	return Pour{Figure(l.In.Seconds()), Figure(l.Low.Seconds()), Figure(l.High.Seconds()), l.Assumed, l.Over}
}

func noPour() Pour {
	u := frames.Unknown()
	return Pour{InS: u, LeastS: u, MostS: u}
}

// pourWords are the time that is left, and how sure that is; empty for a pot on its plate.
func pourWords(l pour.Left, above bool) (left, how string) {
	switch {
	case !l.Known:
		return "", ""
	case l.Over:
		return texts.tooCold, ""
	}
	how = texts.pourSeen
	if l.Assumed {
		how = texts.pourAssumed
	}
	how = fmt.Sprintf(how, seconds(l.Low), seconds(l.High))
	if above {
		how = texts.stillAbove + how
	}
	return fmt.Sprintf(texts.pourIn, seconds(l.In)), how
}

// aboveBand reports whether a melt is still too hot to shoot.
func aboveBand(p *control.PotFrame) bool { return p.MeltC > p.SetpointC+p.BandC }

func seconds(d time.Duration) int { return int(math.Round(d.Seconds())) }

// pourAnswer is the bench's one line while something is off its plate, of the pot that
// gets too cold first.
func pourAnswer(f *frames.Frame, s control.Settings) (line Both, detail string) {
	left, how := "", ""
	for i := range f.Pots {
		if f.Pots[i].Pour == f.Pour {
			left, how = pourWords(f.Pour, aboveBand(&f.Pots[i]))
			left = fmt.Sprintf(texts.pourOfPot, potName(i, s), left)
			break
		}
	}
	return same(left), how
}

// liftWords are what a lifted pot waits for, beside its return.
func liftWords(p *control.PotFrame) string {
	switch {
	case p.LooksBack:
		return texts.looksBack
	case p.Noticed && p.Wait == control.WaitReturn:
		return texts.noticed
	}
	return ""
}
