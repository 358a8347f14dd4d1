package view

import (
	"time"

	"meltwarden/control"
)

// Lost is a bench of which nothing is heard any more, as it was last seen that long ago:
// nothing of it is known but what its pots are called and are to get to.
func (b Bench) Lost(ago time.Duration) Bench {
	lost := unheard()
	lost.Simulated = b.Simulated
	lost.At, lost.AgeS, lost.Cycle, lost.BenchTimeS = b.At, Figure(ago.Seconds()), b.Cycle, b.BenchTimeS
	lost.Interlocks, lost.CircuitW = Interlocks(nil, false), b.CircuitW
	lost.Shown = notLiveWords(b.Shown.LastReading)
	lost.Shown.Detail = texts.LostHelp
	if b.At == nil {
		lost.Shown.Detail = texts.NoFrameHelp
	}
	for i, p := range b.Pots {
		u := unknownPot(i, control.PotSettings{Name: p.Name, Colour: p.Colour, SetpointC: float64(p.SetpointC), BandC: float64(p.BandC)})
		u.Probes = p.Probes
		lost.Pots = append(lost.Pots, u)
	}
	return lost
}
