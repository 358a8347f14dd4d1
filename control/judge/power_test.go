package judge_test

import (
	"fmt"
	"math"
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

// together is a whole bench of several pots on one circuit, with what became of it.
type together struct {
	t       *testing.T
	set     control.Settings
	bench   *control.Bench
	in      control.Input
	frame   control.Frame
	plants  []zoo.Plant
	noise   *rand.Rand
	seconds float64 // since the start
	backAt  int     // the cycle in which a pot was put back; zero for none

	minute      [300]float64 // watts of each cycle of the last minute
	over, above float64      // seconds over the breaker's rating, and over the share
	told        []float64    // in the cycle before
	pots        []apot
}

// apot is what became of one pot.
type apot struct {
	intoS    float64 // since when it is in band
	overC    float64
	underC   float64 // once it has been in band
	about, n float64
	sum      float64
	times    int // switched on in the hold
	closed   int // switched on at all
	onS      float64
	leastOnS float64
}

// togetherOn makes a bench of pots of the zoo on 15 A at 120 V. All but the
// first cold of them have been held where they are poured.
func togetherOn(t *testing.T, output circuit.Output, window time.Duration, cold int, names ...string) *together {
	named := zoo.Named()
	b := &together{
		t: t, noise: rand.New(rand.NewPCG(firstSeed, 1)), told: make([]float64, 3), pots: make([]apot, 3),
		set: control.Settings{
			Period:  200 * time.Millisecond,
			Circuit: circuit.Rating{MaxW: 1800, ContinuousW: 1440}, // NEC 210.20(A): 80 % for three hours and more
			Limits:  guard.Limits{MeltWarnC: 190, MeltTripC: 200, PlateTripC: 270, HeatersProven: true},
		},
	}
	for i, name := range names {
		for k := range named {
			if s := &named[k]; s.Name == name {
				start := zoo.Start{Cured: true}
				if i >= cold {
					start.MeltC, start.PlateC = judge.PourC, judge.PourC+20
				}
				b.plants = append(b.plants, zoo.New(s, start))
				b.set.Pots = append(b.set.Pots, control.PotSettings{
					Name: name, HeaterW: s.RatedW, Output: output, Window: window,
					VolumeML: s.TypedML(), SetpointC: judge.PourC, BandC: 2, CureC: 160, Dwell: time.Minute,
					SteadyFor: time.Minute, StirWithin: time.Hour, PlateLimitC: s.PlateLimitC,
				})
			}
		}
		b.pots[i] = apot{intoS: math.Inf(1), leastOnS: math.Inf(1)}
	}
	b.bench = control.NewBench(b.set)
	return b
}

// run lets the bench heat for a time; its last part, from holdS on, is the hold.
func (b *together) run(forS, holdS float64) {
	for n := 0; b.seconds < forS; n++ {
		b.in.Commands = b.in.Commands[:0]
		if n == 0 {
			for i := range b.plants {
				b.in.Commands = append(b.in.Commands, control.Command{Kind: control.ArrivedCured, Pot: i})
			}
		}
		if n%1500 == 0 { // somebody is there
			b.in.Commands = append(b.in.Commands, control.Command{Kind: control.Stir})
		}
		b.cycle(n)
		b.count(n, b.seconds >= holdS)
		b.seconds += b.set.Period.Seconds()
	}
	require.Equal(b.t, control.HeatEnabled, b.frame.Heat)
	for _, c := range b.frame.Conditions {
		require.NotEqual(b.t, guard.CircuitOver, c.Code)
	}
}

// cycle is one of the bench's, with the button pressed soon after the start.
func (b *together) cycle(n int) {
	b.read(n)
	b.bench.Step(&b.in, &b.frame)
}

// read is what a cycle is told.
func (b *together) read(n int) {
	if b.in.Elapsed = b.set.Period; n == 0 {
		b.in.Elapsed = 0
	}
	b.in.Contacts = control.Contacts{Link: contact(true), Pedal: contact(false), Enable: contact(b.pressed(n))}
	b.in.Pots = b.in.Pots[:0]
	for i := range b.plants {
		meltC, plateC := b.plants[i].Read(b.noise)
		b.in.Pots = append(b.in.Pots, control.PotReadings{Melt: fresh(meltC), Plate: fresh(plateC)})
	}
}

// pressed reports whether somebody holds the button in a cycle: soon after the start, and
// after a pot was put back.
func (b *together) pressed(n int) bool {
	for _, c := range b.in.Commands {
		if c.Kind == control.Return {
			b.backAt = n
		}
	}
	return n >= 10 && n < 15 || b.backAt > 0 && n >= b.backAt+10 && n < b.backAt+15
}

func fresh(c float64) reading.Temperature {
	return reading.Temperature{C: c, Age: 50 * time.Millisecond, Fault: reading.None}
}

// count lets a cycle pass for the plants, and keeps count.
func (b *together) count(n int, holds bool) {
	dt, nowW, meanW := b.set.Period.Seconds(), 0.0, 0.0
	for i := range b.plants {
		told, p, s := b.frame.Outputs.Duty[i], &b.pots[i], b.set.Pots[i]
		draws := told * s.HeaterW
		meanW += draws
		if s.Output != circuit.Smooth && told > 0 {
			draws = s.HeaterW // whatever its device does with it
		}
		nowW += draws
		p.watch(told, b.told[i], dt, holds)
		b.told[i] = told
		for range int(math.Round(dt / zoo.StepS)) {
			b.plants[i].Step(told)
		}
		off := b.plants[i].BulkC() - s.SetpointC
		if math.Abs(off) > rig.BandC {
			p.intoS = math.Inf(1)
		} else if math.IsInf(p.intoS, 1) {
			p.intoS = b.seconds
		}
		if p.overC = max(p.overC, off); !math.IsInf(p.intoS, 1) || p.underC > 0 {
			p.underC = max(p.underC, -off)
		}
		if holds {
			p.about, p.sum, p.n = p.about+off*off, p.sum+off, p.n+1
		}
	}
	b.minute[n%len(b.minute)] = meanW
	sum := 0.0
	for _, w := range b.minute {
		sum += w
	}
	if nowW > b.set.Circuit.MaxW*(1+1e-9) {
		b.over += dt
	}
	if sum/float64(len(b.minute)) > b.set.Circuit.ContinuousW*(1+1e-9) {
		b.above += dt
	}
}

func (p *apot) watch(told, before, dt float64, holds bool) {
	if told > 0 {
		p.onS += dt
	} else if before > 0 {
		p.leastOnS = min(p.leastOnS, p.onS)
		p.onS = 0
	}
	if told > 0 && before == 0 {
		p.closed++
		if holds {
			p.times++
		}
	}
}

// switching is how often the heater is switched on in the hold, and its shortest on of
// all; nobody knows that of one that is not ours to switch.
func (p *apot) switching(output circuit.Output) string {
	if output != circuit.Switched {
		return ""
	}
	return fmt.Sprintf(", on %d times an hour, never for less than %.1f s", p.times, p.leastOnS)
}

// powered is what heaters can do with a duty.
var powered = []struct {
	name   string
	output circuit.Output
	window time.Duration
}{
	{"smooth", circuit.Smooth, 0},
	{"switched, 2 s", circuit.Switched, 2 * time.Second},
	{"relay, 20 s", circuit.Switched, 20 * time.Second},
	{"hidden", circuit.Hidden, 0},
}

// TestNumbersOfPower prints three pots together on 15 A at 120 V, by what their heaters
// do with a duty. The hold's RMS is of the true melt about the set-point, and in
// brackets about its own mean.
func TestNumbersOfPower(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds")
	}
	t.Parallel()
	const holdS, forS = 60 * 60, 120 * 60
	for _, c := range powered {
		b := togetherOn(t, c.output, c.window, 3, "quarter, cast", "slow probes", "quarter, thin")
		b.run(forS, holdS)
		t.Logf("%s: %.0f s over the rating, %.0f s with a minute above the share", c.name, b.over, b.above)
		assert.Zero(t, b.over)
		assert.Zero(t, b.above)
		for i, p := range b.pots {
			rms, mean := math.Sqrt(p.about/p.n), p.sum/p.n
			t.Logf("  %-15s in band after %4.0f s, at most %.2f °C over, hold RMS %.3f (%.3f) °C%s",
				b.set.Pots[i].Name, p.intoS, p.overC, rms, math.Sqrt(rms*rms-mean*mean), p.switching(c.output))
			assert.LessOrEqual(t, rms, 0.15)
		}
	}
}

// TestNumbersOfALatePot prints how two pots that are held fare while a third one heats
// up beside them and asks for all that there is.
func TestNumbersOfALatePot(t *testing.T) {
	t.Parallel()
	for _, c := range powered {
		b := togetherOn(t, c.output, c.window, 1, "half, heavy cast", "slow probes", "quarter, thin")
		b.run(30*60, 0)
		t.Logf("%-14s late pot in band after %4.0f s; the others at most %.2f and %.2f °C too cold", c.name, b.pots[0].intoS, b.pots[1].underC, b.pots[2].underC)
		for _, p := range b.pots[1:] {
			assert.Less(t, p.underC, b.set.Pots[0].BandC)
		}
	}
}
