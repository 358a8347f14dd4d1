package judge

import (
	"math/rand/v2"

	"meltwarden/control/judge/reference"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
)

// Contender is a loop under its name.
type Contender struct {
	Name string
	Make Maker
}

// A step test: a cured pot is held some degrees below what an evening heats to until
// it rests, then keeps the duty of its last ten minutes, and then gets a quarter more,
// which takes it about as far above as it was below. A pot loses heat by the fourth
// power of its temperature too, so a step from the room would be another pot's.
const (
	restC     = PourC - 10
	heldS     = 40 * minuteS
	dutyOfS   = 10 * minuteS
	restS     = 10 * minuteS
	answerS   = 150 * minuteS // five times the slowest pot's time constant or more
	stepShare = 0.25
	stepSeed  = 1 // of the readings; nothing is judged with it
)

// References are the textbooks' loops, each tuned by a step test on this very pot.
func (p *Pot) References() []Contender {
	test := p.stepTest()
	tuned := func(name string, make func() reference.Loop) Contender {
		return Contender{name, func(rig.Known) rig.Loop { return &plain{seen: newSeen(), loop: make()} }}
	}
	return []Contender{
		tuned("thermostat", func() reference.Loop { return &reference.Thermostat{} }),
		tuned("PID, Ziegler-Nichols", reference.ZieglerNichols(test)),
		tuned("PID, SIMC", reference.SIMCPID(test)),
		tuned("cascade PI-PI, SIMC", reference.Cascade(test)),
	}
}

// stepTest records one, with the hand stirring as it does and the readings filtered as
// the loops see them.
func (p *Pot) stepTest() reference.StepTest {
	s := p.Spec
	from := rand.New(rand.NewPCG(stepSeed, stream(s.Name)))
	plant := zoo.New(&s, zoo.Start{MeltC: restC, PlateC: restC, Cured: true})
	held := rig.Run(&plant, FromCascade(rig.KnownOf(&s)), rig.Usual(), from,
		[]rig.Phase{{TargetC: restC, ForS: heldS - dutyOfS}, {TargetC: restC, ForS: dutyOfS}})
	r := &recorder{seen: newSeen(), duty: held[1].EnergyJ / dutyOfS / s.TrueW()}
	r.test.DutyStep = stepShare * r.duty
	rig.Run(&plant, r, rig.Usual(), from, []rig.Phase{{TargetC: restC, ForS: restS + answerS}})
	return r.test
}

// recorder is a loop that steps its duty and writes down what comes of it.
type recorder struct {
	seen
	duty float64
	test reference.StepTest
}

// Step is a cycle. The sample before the first one with the step is the rest.
func (r *recorder) Step(v *rig.View) float64 {
	m := r.take(v)
	if r.now.Seconds() < restS {
		return r.duty
	}
	t := &r.test
	t.T = append(t.T, r.now.Seconds()-restS)
	t.MeltC, t.PlateC = append(t.MeltC, m.MeltC), append(t.PlateC, m.PlateC)
	return r.duty + t.DutyStep
}

// Applied is nothing to a recorder.
func (r *recorder) Applied(_, _, _ float64) {}
