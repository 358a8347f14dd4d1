package guard

import "time"

// Grades as in the table.
const (
	supplyExcess  = 1e-6 // E: what rounding may leave
	supplySpan    = 60   // seconds of the mean
	supplyMeanTop = 1.02 // E: whole seconds are counted, and cycles straddle them
)

// supply counts what the heaters are told to draw, second by second, to hold it
// against what the circuit can carry: the loops share the circuit, and when they
// do not, something is wrong with the program.
type supply struct {
	seconds [supplySpan]float64 // joules
	now     time.Duration
	drawnW  float64 // since the last decision
}

// book enters what has been drawn since the last decision.
func (p *supply) book(elapsed time.Duration) {
	before := int64(p.now / time.Second)
	p.now += elapsed
	second := int64(p.now / time.Second)
	for n := min(second-before, supplySpan); n > 0; n-- {
		p.seconds[(second-n+1)%supplySpan] = 0
	}
	p.seconds[second%supplySpan] += p.drawnW * elapsed.Seconds()
}

// over reports whether the power that may flow at an instant, in watts, is more than
// the circuit carries, or the last minute's mean more than it carries for long.
func (p *supply) over(mostW float64, l *Limits) bool {
	joules := 0.0
	for _, j := range p.seconds {
		joules += j
	}
	return l.CircuitW > 0 && mostW > l.CircuitW*(1+supplyExcess) ||
		l.CircuitMeanW > 0 && joules > l.CircuitMeanW*supplySpan*supplyMeanTop
}
