package control

import (
	"math"
	"time"

	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

// DrawnFor is how long what was drawn counts as what is pushed (E: an injector that waited
// longer has been emptied back or has set).
const DrawnFor = 5 * time.Minute

// Drawn is what was drawn from a pot and has not been pushed. It decides nothing about heat.
type Drawn struct {
	// Waits is true from a draw until the next push, for DrawnFor at the most.
	Waits bool
	// Since is how long ago it was drawn; C is what the melt was then and TubeC the injector,
	// in degrees Celsius, NaN where that is not known.
	Since    time.Duration
	C, TubeC float64
}

// draw marks that liquid is drawn now.
func (p *pot) draw() {
	p.drawn = Drawn{Waits: true, C: math.NaN(), TubeC: math.NaN()}
	switch {
	case p.half.melt.Known():
		p.drawn.C = p.half.melt.C
	case p.melt.Valid() && p.set.Probes.HasMelt():
		p.drawn.C = p.melt.C()
	}
}

// passes counts on, and takes the injector's first reading after the draw.
func (d *Drawn) passes(tube reading.Temperature, elapsed time.Duration) {
	if !d.Waits {
		return
	}
	if d.Since += elapsed; d.Since > DrawnFor {
		*d = Drawn{}
	}
	if math.IsNaN(d.TubeC) && d.Since <= tubeWithin && tube.Usable(guard.MaxAge) {
		d.TubeC = tube.C
	}
}

// tubeWithin is how soon after a draw a reading of the injector is still what it was before
// it took up heat (E).
const tubeWithin = time.Second
