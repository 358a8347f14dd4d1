package calibrate

import (
	"fmt"
	"math"
	"slices"

	"meltwarden/devices/thermocouple"
)

// What a mix-up is told by, in °C (E but for the class).
const (
	inputC = 1.5 // E: what an input and its terminals add to the class of a probe
	// Where nobody measures the terminals they may have anything between these.
	coldTerminalsC, warmTerminalsC, terminalStepC = 15.0, 45.0, 2.5
)

// MixUp is one that points speak for.
type MixUp struct {
	thermocouple.MixUp
	// OffC is how far the points are from what it would show, at the worst.
	OffC float64
}

// suspect reports whether a point is further from the truth than a sound probe of the right
// type on a sound input may be.
func (p Point) suspect() bool {
	return !p.Relative && math.Abs(p.TrueC-p.ShownC) > classC+inputC+p.within()
}

// suspect reports whether one of the points is, or whether they are further apart from each
// other than any sound probe takes them.
func suspect(points []Point) bool {
	s := sums(points)
	steep := s.apart() && math.Abs(s.w*s.xy-s.x*s.y) > mostPerC*s.det()
	return slices.ContainsFunc(points, Point.suspect) || steep
}

// FindType looks for what would show all of the points, where they are suspect: a probe of
// any type on an input set to any, or to the one that is given ("" is not known: a device
// that reports degrees has its own setting). The best comes first; none is returned where no
// point is suspect, and where nothing fits. Nothing is said of a mix-up that shows as little as
// types R and S do.
func FindType(points []Point, input string) (fits []MixUp) {
	points = slices.DeleteFunc(slices.Clone(points), func(p Point) bool { return p.Relative })
	if !suspect(points) {
		return nil
	}
	asItIs := 0.0 // how far the points are from a sound probe: a mix-up has to fit far better
	for _, p := range points {
		asItIs = math.Max(asItIs, math.Abs(p.TrueC-p.ShownC)-p.within())
	}
	for _, probe := range thermocouple.Types() {
		for _, set := range thermocouple.Types() {
			if input != "" && input != set.String() {
				continue
			}
			m := MixUp{MixUp: thermocouple.MixUp{Probe: probe, Input: set, Swapped: probe == set}}
			if m.OffC = m.off(points); m.OffC <= classC+inputC && m.OffC < asItIs/2 {
				fits = append(fits, m)
			}
		}
	}
	slices.SortStableFunc(fits, func(a, b MixUp) int { return compareUsual(a, b) })
	return fits
}

// off is how far the points are from what a mix-up shows, at the worst, with the terminals as
// they suit it best where nobody measured them.
func (m MixUp) off(points []Point) float64 {
	least := math.Inf(1)
	for terminalsC := coldTerminalsC; terminalsC <= warmTerminalsC; terminalsC += terminalStepC {
		worst := 0.0
		for _, p := range points {
			at := terminalsC
			if p.TerminalsC != nil {
				at = *p.TerminalsC
			}
			off := math.Max(0, math.Abs(p.ShownC-m.Shows(p.TrueC, at))-p.within())
			if worst = math.Max(worst, off); math.IsNaN(off) {
				worst = math.Inf(1)
			}
		}
		least = math.Min(least, worst)
	}
	return least
}

// likelier is by how much a mix-up has to fit better to come before one of the types that
// most benches have, in °C (E).
const likelier = 1.0

// compareUsual puts what fits better first, and of what fits about as well the types that most
// benches have (from memory: K, then J, T and N).
func compareUsual(a, b MixUp) int {
	if d := a.OffC + a.unusual() - b.OffC - b.unusual(); d < 0 {
		return -1
	} else if d > 0 {
		return 1
	}
	return 0
}

func (m MixUp) unusual() float64 {
	sum := 0.0
	for _, t := range []thermocouple.Type{m.Probe, m.Input} {
		switch t {
		case thermocouple.K:
		case thermocouple.J, thermocouple.T, thermocouple.N:
			sum += likelier / 4
		default:
			sum += likelier / 2
		}
	}
	return sum
}

// seaLevel says what else may be so where boiling water showed too low: on a hill the pressure
// that is reported is the one reduced to sea level, at which water would boil hotter.
func seaLevel(points []Point) string {
	low := func(p Point) bool { return p.Kind == Boiling && p.TrueC-p.ShownC > inputC }
	if !slices.ContainsFunc(points, low) {
		return ""
	}
	return ". Or the water did not boil at what was typed: a pressure reduced to sea level, as forecasts give it, is too high for a bench on a hill"
}

// tellType says in a sentence what a suspect probe is.
func tellType(points []Point, fits []MixUp) string {
	n := map[int]string{1: "its point", 2: "both points"}[len(points)]
	if n == "" {
		n = fmt.Sprintf("all %d points", len(points))
	}
	if len(fits) == 0 {
		return "none of the eight thermocouple types, on an input set to any of them, shows so, and no swapped wires do: see that probe, input and channel are whole, and take the points again" + seaLevel(points)
	}
	said := fits[0].String() + fmt.Sprintf(" fits %s (%.1f °C off)", n, fits[0].OffC)
	for i, m := range fits[1:min(len(fits), 3)] {
		said += map[bool]string{true: "; so does ", false: ", and "}[i == 0] + m.String()
	}
	if len(fits) > 3 {
		said += fmt.Sprintf(", and %d more", len(fits)-3)
	}
	if len(points) == 1 {
		said += ". A second point, in boiling water or ice, tells more"
	}
	return said + seaLevel(points)
}
