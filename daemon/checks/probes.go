package checks

import (
	"math"

	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
)

// Probe is what one probe shows, in degrees Celsius; unknown where it has no good reading.
type Probe struct {
	Of string        `json:"of"`
	C  frames.Figure `json:"c"`
}

// Agreement is how the probes of the pots lie together before any heat.
type Agreement string

// The kinds of agreement.
const (
	Agree     Agreement = "agree"
	Disagree  Agreement = "do not agree"
	Warm      Agreement = "too warm to compare" // one of them is at guard.ColdBelowC or above
	NotRead   Agreement = "not all read"
	NotToTell Agreement = "fewer than two probes"
	Heated    Agreement = "not compared: heat has been on" // warm plates differ
)

// Compare says how probes lie together, and the largest less the smallest, in kelvins, as
// far as they are read.
func Compare(probes []Probe) (is Agreement, spreadC frames.Figure) {
	least, most, read := math.Inf(1), math.Inf(-1), 0
	for _, p := range probes {
		if p.C.Known() {
			least, most, read = min(least, float64(p.C)), max(most, float64(p.C)), read+1
		}
	}
	spreadC = frames.Unknown()
	if read > 1 {
		spreadC = frames.Figure(most - least)
	}
	switch {
	case len(probes) < 2:
		return NotToTell, spreadC
	case most >= guard.ColdBelowC:
		return Warm, spreadC
	case read < len(probes):
		return NotRead, spreadC
	case spreadC > guard.ColdAgreeC:
		return Disagree, spreadC
	}
	return Agree, spreadC
}
