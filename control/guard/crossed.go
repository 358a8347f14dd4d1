package guard

import "time"

// Grades as in the table.
const (
	crossedFor  = 20 * time.Second // E: twice an element's lag, twice what a plate needs to show it
	crossedC    = 3.0              // E: of the plate that is not heated
	crossedOwnC = 1.5              // E: of the plate that is; it rises by 7 °C and more
	crossedDuty = 0.8              // E: less may be needed to hold a plate where it is
)

// crossing watches one pot that is heated hard beside the others.
type crossing struct {
	heated time.Duration // how long it has been heated that hard
	fromC  float64       // its plate when that began
	others []float64     // the other plates then
	with   int           // the pot whose plate rose instead, -1 for none
}

// lookAtCrossings finds pots whose plates answer another pot's heater: the one
// that is heated does not rise, and one that is not does.
func (g *Guard) lookAtCrossings(s *Sight) {
	for i := range g.pots {
		c := &g.pots[i].crossing
		c.with = -1
		if s.pot(i).Duty < crossedDuty || !g.pots[i].plate.trend.seen {
			c.heated = 0
			continue
		}
		if c.heated == 0 {
			g.beginCrossing(i)
		}
		if c.heated += watched(s.took()); c.heated >= crossedFor {
			c.with = g.answering(i)
			if g.pots[i].plate.trend.c > c.fromC+crossedOwnC {
				g.beginCrossing(i)
			}
		}
	}
	for i := range g.pots {
		crossed := g.pots[i].crossing.with >= 0
		for j := range g.pots {
			crossed = crossed || g.pots[j].crossing.with == i
		}
		g.note(g.pots[i].found, ProbesCrossed, crossed, watched(s.took()))
	}
}

func (g *Guard) beginCrossing(i int) {
	c := &g.pots[i].crossing
	c.heated, c.fromC = 0, g.pots[i].plate.trend.c
	for j := range g.pots {
		c.others[j] = g.pots[j].plate.trend.c
	}
}

// answering returns the pot whose plate has risen in place of pot i's, -1 for none.
func (g *Guard) answering(i int) int {
	p := &g.pots[i]
	if p.plate.trend.c > p.crossing.fromC+crossedOwnC {
		return -1
	}
	for j := range g.pots {
		o := &g.pots[j]
		if j == i || !o.plate.trend.seen || o.heater.off < crossedFor {
			continue
		}
		if meltWarms(&o.melt.trend, &o.plate.trend) || o.onPlate.settling(o.probes) {
			p.crossing.others[j] = o.plate.trend.c // only what it rises after that tells anything
			continue
		}
		from := p.crossing.others[j]
		if o.heater.off < p.crossing.heated {
			from = max(from, o.heater.hadC)
		}
		if o.plate.trend.c >= from+crossedC+o.heater.afterheatC() {
			// What it does is the other heater's doing: its own may yet be stuck.
			o.heater.off, o.heater.hadC = 0, o.plate.trend.c
			return j
		}
	}
	return -1
}

// suspected reports whether pot j's rise may be another heater's doing: one that
// is heated hard, does not rise, and has not been heated for long enough to tell.
func (g *Guard) suspected(j int) bool {
	for i := range g.pots {
		c := &g.pots[i].crossing
		if i != j && c.heated > 0 && c.heated < crossedFor+time.Second && g.pots[i].plate.trend.c <= c.fromC+crossedOwnC {
			return true
		}
	}
	return false
}
