package simbench

import "time"

// What a person does at the bench. A pot is its place in Config.Pots; a place
// that does not exist panics, as any index does.

// Stir stirs a pot, without telling anybody.
func (b *Bench) Stir(pot int) { b.do(func() { b.pots[pot].heat.Stir() }) }

// Lift takes a pot off its plate, its melt probe with it.
func (b *Bench) Lift(pot int) { b.do(func() { b.pots[pot].heat.Lift() }) }

// Return puts a pot back on its plate.
func (b *Bench) Return(pot int) { b.do(func() { b.pots[pot].heat.Return() }) }

// Add stirs cold liquid at room temperature into a pot, in millilitres, zero or more.
func (b *Bench) Add(pot int, volumeML float64) {
	b.do(func() {
		b.pots[pot].heat.Add(volumeML, b.roomC)
		b.pots[pot].heat.Stir()
	})
}

// DipMelt holds a pot's melt probe in a cup of water at cupC, in degrees Celsius, or
// in another one if it is in one already.
func (b *Bench) DipMelt(pot int, cupC float64) {
	b.do(func() { b.pots[pot].melt.probe.Dip(cupC) })
}

// Hold holds a probe in something at c, in degrees Celsius, such as a hand, until LayDown.
func (b *Bench) Hold(at Place, c float64) { b.do(func() { b.channelAt(at).probe.Dip(c) }) }

// LayDown puts a probe that was held back to where it was.
func (b *Bench) LayDown(at Place) { b.do(func() { b.channelAt(at).probe.PutBack() }) }

// LayMelt lays the tip of a pot's melt probe on its plate.
func (b *Bench) LayMelt(pot int) {
	b.do(func() { b.pots[pot].laid = true })
}

// PutMeltBack takes a pot's melt probe from cup or plate and puts it back.
func (b *Bench) PutMeltBack(pot int) {
	b.do(func() {
		b.pots[pot].laid = false
		b.pots[pot].melt.probe.PutBack()
	})
}

// Err gives a probe, with the input that it is on, another error than the one drawn for it:
// offsetC, and perC more for each degree Celsius.
func (b *Bench) Err(at Place, offsetC, perC float64) {
	b.do(func() { b.channelAt(at).probe.Err(offsetC, perC) })
}

// Draught opens or shuts the door.
func (b *Bench) Draught(on bool) { b.do(func() { b.draught = on }) }

// PressEnable presses the enable button as a person does, from now.
func (b *Bench) PressEnable() { b.HoldEnable(pressFor) }

// HoldEnable keeps the enable button closed for a span from now, however a person
// would not: a knock, a bounce, or a button that sticks. Zero lets go of it.
func (b *Bench) HoldEnable(span time.Duration) {
	b.do(func() { b.contacts.enableUntil = b.at + span })
}

// PressPedal presses the pedal as a person does, from now.
func (b *Bench) PressPedal() { b.HoldPedal(pressFor) }

// HoldPedal keeps the pedal closed for a span from now; zero lets go of it.
func (b *Bench) HoldPedal(span time.Duration) {
	b.do(func() { b.contacts.pedalUntil = b.at + span })
}

// atMeltProbeC is what the melt probe is in, or lies on.
func (p *pot) atMeltProbeC() float64 {
	if p.laid {
		return p.heat.PlateC()
	}
	return p.heat.MeltC()
}
