package zoo

import "math/rand/v2"

// Plant is a pot with its probes. It is a value: a copy goes on by itself.
type Plant struct {
	Body
	meltProbe, plateProbe probe
}

// New returns a pot. The spec must not be changed afterwards.
func New(s *Spec, start Start) Plant {
	p := Plant{Body: newBody(s, start)}
	p.meltProbe, p.plateProbe = newProbe(p.c[melt]), newProbe(p.c[plate])
	return p
}

// Step lets StepS pass with a duty, 0 to 1.
func (p *Plant) Step(duty float64) {
	k := p.of
	p.step(duty)
	p.meltProbe.step(p.c[melt], k.meltProbeA, k.meltProbeB)
	p.plateProbe.step(p.c[plate], k.plateA, k.plateB)
}

// Read takes a reading of both probes, in degrees Celsius.
func (p *Plant) Read(from *rand.Rand) (meltC, plateC float64) {
	s := p.of.spec
	return p.meltProbe.read(&s.MeltProbe, from), p.plateProbe.read(&s.PlateProbe, from)
}

// Spec returns how the pot is built.
func (p *Plant) Spec() *Spec { return p.of.spec }

// Step lets StepS pass for a pot without probes.
func (b *Body) Step(duty float64) { b.step(duty) }
