package registers

import (
	"fmt"
	"math"
)

const (
	// hottestTargetC is the most that any plate may be told, in °C: above every limit that a
	// bench may have.
	hottestTargetC = 300.0
	// coarsestTargetC is the largest step of a set-point's register, in °C (E): with larger
	// ones what is read back is too far from what was told.
	coarsestTargetC = 1.0
	// nearlyStep is what decimal scales leave of a whole step: they have no exact binary number.
	nearlyStep = 1e-6
)

// AppendTarget appends the registers for a set-point in degrees Celsius to dst: the nearest
// that the type has and that is not above it. The error says that the channel can not carry
// it; dst is then returned as it was.
func (c Channel) AppendTarget(dst []uint16, celsius float64) ([]uint16, error) {
	raw := (c.Unit.Number(celsius) - c.Offset) / c.Scale
	if c.Type == Float32 {
		raw = float64(float32(raw))
	} else {
		raw = math.Floor(raw + nearlyStep)
	}
	if !c.Type.holds(raw) {
		return dst, fmt.Errorf("%v °C does not fit into %s with scale %v and offset %v", celsius, c.Type, c.Scale, c.Offset)
	}
	return c.appendRaw(dst, raw), nil
}

// Target returns the set-point that registers stand for, in degrees Celsius.
func (c Channel) Target(regs []uint16) float64 {
	celsius, _ := c.celsius(c.raw(regs)*c.Scale+c.Offset, faulty(0))
	return celsius
}

// StepC is what one count of the channel is worth, in degrees Celsius, of a binary32 a
// hundredth.
func (c Channel) StepC() float64 {
	step := math.Abs(c.Scale)
	if c.Type == Float32 {
		step = 0.01
	}
	if c.Unit == Fahrenheit {
		step *= 5.0 / 9
	}
	return step
}

// Number is a temperature in degrees Celsius as a number of degrees of the unit.
func (u Unit) Number(celsius float64) float64 {
	if u == Fahrenheit {
		return celsius*9/5 + 32 // by definition
	}
	return celsius
}

// WithReadBack returns the channels and, for each set-point that has no setpoint-read of its
// own, one where it is written.
func WithReadBack(channels []Channel) []Channel {
	all := append([]Channel(nil), channels...)
	for _, c := range channels {
		if c.Role != Setpoint || hasReadBack(channels, c.Pot) {
			continue
		}
		c.Function, c.Role, c.RestC, c.Senses = c.ReadBack(), SetpointRead, 0, ""
		all = append(all, c)
	}
	return all
}

func hasReadBack(channels []Channel, pot string) bool {
	for _, c := range channels {
		if c.Role == SetpointRead && c.Pot == pot {
			return true
		}
	}
	return false
}

// target checks that every set-point can be written, none coarsely.
func (k *checker) target() {
	fits := func(celsius float64) bool { _, err := k.AppendTarget(nil, celsius); return err == nil }
	switch {
	case k.Scale < 0:
		k.wrong("scale", k.Scale, "a higher number must mean a higher set-point", "write a scale above 0")
	case k.StepC() > coarsestTargetC:
		k.wrong("scale", k.Scale, fmt.Sprintf("steps of more than %g °C", coarsestTargetC), "write what one count is worth, such as 0.1")
	case !fits(k.RestC) || !fits(hottestTargetC):
		k.wrong("scale", k.Scale, fmt.Sprintf("%g °C does not fit into the type", hottestTargetC), "write a larger scale or type")
	}
}

// controller checks what only a controller has.
func (k *checker) controller() {
	if k.kind != target {
		if k.RestC != 0 {
			k.wrong("rest", fmt.Sprintf("%g C", k.RestC), fmt.Sprintf("role %s is told no set-point", k.Role), "leave it out")
		}
		if k.Senses != "" {
			k.wrong("senses", k.Senses, fmt.Sprintf("role %s is told no set-point", k.Role), "leave it out")
		}
		return
	}
	if k.RestC == 0 {
		k.wrong("rest", "", "missing", "write what the controller is told while heat is off, such as 5 C")
	}
	switch k.Senses {
	case OfPlate:
	case "":
		k.wrong("senses", "", "missing: nobody can tell from the outside where the controller's own sensor sits",
			"write plate, once its sensor sits on the plate")
	default:
		k.wrong("senses", k.Senses, "only a controller that senses its plate can be told how warm that may get",
			"move its sensor to the plate, and write plate")
	}
}
