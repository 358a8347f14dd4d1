package judge_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
	"meltwarden/control/reading"
)

// benched is a whole bench of one pot as a loop, with today's loop alongside it, of
// which is asked that it always wants the same.
type benched struct {
	t       *testing.T
	bench   *control.Bench
	in      control.Input
	frame   control.Frame
	cycle   int
	enabled bool
	beside  rig.Loop
}

func newBenched(t *testing.T, k rig.Known, s *zoo.Spec, targetC float64) *benched {
	return &benched{t: t, beside: judge.Ours(k), bench: control.NewBench(control.Settings{
		Period:  200 * time.Millisecond,
		Circuit: circuit.Rating{MaxW: 1e5, ContinuousW: 1e5},
		Limits:  guard.Limits{MeltWarnC: 190, MeltTripC: 200, PlateTripC: 300, HeatersProven: true},
		Pots: []control.PotSettings{{
			Name: "only", HeaterW: k.RatedW, VolumeML: k.TypedML, SetpointC: targetC, BandC: 2, CureC: 160,
			Dwell: time.Minute, SteadyFor: time.Minute, StirWithin: time.Hour, PlateLimitC: s.PlateLimitC,
		}},
	})}
}

func contact(closed bool) reading.Contact {
	return reading.Contact{Closed: closed, Fault: reading.None}
}

func (b *benched) Step(v *rig.View) float64 {
	b.in.Elapsed = v.Elapsed
	b.in.Pots = []control.PotReadings{{Melt: v.Melt, Plate: v.Plate}}
	b.in.Commands = []control.Command{{Kind: control.ArrivedCured}}
	for _, m := range v.Marks {
		switch m.Kind {
		case rig.Stir:
			b.in.Commands = append(b.in.Commands, control.Command{Kind: control.Stir})
		case rig.Colour:
			b.in.Commands = append(b.in.Commands, control.Command{Kind: control.ColourAdded, ML: m.ML})
		}
	}
	b.in.Contacts = control.Contacts{
		EStop: contact(true), CutOut: contact(true), Fan: contact(true), Link: contact(true), Pedal: contact(false),
		Enable: contact(b.cycle >= 10 && b.cycle < 15),
	}
	b.bench.Step(&b.in, &b.frame)
	// The loop alongside is kept off until the bench's button has been pressed.
	b.enabled = b.enabled || b.frame.Heat == control.HeatEnabled
	judge.Block(b.beside, b.frame.Heat != control.HeatEnabled)
	b.cycle++
	require.Equal(b.t, b.frame.Outputs.Duty[0], b.beside.Step(v), "cycle %d", b.cycle)
	return b.frame.Outputs.Duty[0]
}

func (b *benched) Applied(duty, drawn, dt float64) { b.beside.Applied(duty, drawn, dt) }

// TestOursIsTheBenchs: what is judged asks for the very duties that a bench asks
// for, bit for bit, with readings that are late and lost and an announced addition,
// so small that the bench's guard takes no heat away while the melt falls.
func TestOursIsTheBenchs(t *testing.T) {
	specs := zoo.Named()
	for i := 0; i < len(specs); i += 4 {
		s := &specs[i]
		plant := zoo.New(s, zoo.Start{})
		b := newBenched(t, rig.KnownOf(s), s, judge.PourC)
		out := rig.Run(&plant, b, rig.Late(), rand.New(rand.NewPCG(1, uint64(i))), []rig.Phase{
			{TargetC: judge.PourC, ForS: 1800},
			{TargetC: judge.PourC, ForS: 600, Events: []zoo.Event{
				{Kind: zoo.Colour, Amount: 1, Told: true}, {AtS: 300, Kind: zoo.Colour, Amount: 1, Told: true, Measured: true},
			}},
		})
		assert.True(t, b.enabled && out[1].EnergyJ > 0, s.Name)
	}
}
