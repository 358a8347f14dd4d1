package guard

import "time"

// lookAtLift takes in what is said of the pot's being off its plate, by a person or by the
// readings. Only a person ends either.
func (g *Guard) lookAtLift(p *pot, s *PotSight, elapsed time.Duration) {
	g.note(p.found, PotLifted, s.Lifted && !s.LiftNoticed, elapsed)
	g.note(p.found, LiftNoticed, s.Lifted && s.LiftNoticed, elapsed)
	g.note(p.found, LiftSuspected, s.LiftSuspected && !s.Lifted, elapsed)
}
