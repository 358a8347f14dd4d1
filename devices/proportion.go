package devices

// proportion turns duties into whole control ticks of on and off. What a tick
// could not give is carried over to the next. Control says 0 or 1 of what can only
// be switched, which stays what it is; whoever commissions a bench says fractions.
type proportion struct{ owed []float64 }

// whole is what is owed for a tick of on. Duties such as 0.1 do not add up to 1
// exactly.
const whole = 1 - 1e-9

// tick returns which heaters are on in this tick. A duty that is not above zero
// is off at once and owes nothing.
func (p *proportion) tick(duty []float64) []bool {
	for len(p.owed) < len(duty) {
		p.owed = append(p.owed, 0)
	}
	on := make([]bool, len(duty))
	for i, d := range duty {
		if !(d > 0 && d <= 1) {
			p.owed[i] = 0
			continue
		}
		p.owed[i] += d
		if on[i] = p.owed[i] >= whole; on[i] {
			p.owed[i]--
		}
	}
	return on
}
