package control_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
)

func takeBack(pot int, k control.CommandKind) control.Command {
	return control.Command{Kind: control.TakeBack, Pot: pot, Mark: k, Afar: true}
}

// TestAClearTakenBackIsHeldAndNotHeated: the pot is not cured, waits for its tick at its
// set-point, and gets back to its cure temperature only by a press at the bench.
func TestAClearTakenBackIsHeldAndNotHeated(t *testing.T) {
	r := newRig(demoSettings(), 150)
	r.press()
	for i := 0; !r.f.Pots[1].Cured && i < 6000; i++ {
		r.evening(period, nil)
	}
	require.True(t, r.f.Pots[1].Cured)
	r.evening(2*time.Minute, nil)
	before := r.f.Pots[1]
	r.step(takeBack(1, control.TickClear))
	require.True(t, r.f.TookBack(1, control.TickClear))
	p := &r.f.Pots[1]
	assert.False(t, p.Cured || p.Clear || r.f.Ready)
	assert.True(t, p.Uncured)
	assert.Equal(t, control.WaitClear, p.Wait)
	assert.Equal(t, before.Dwelled, p.Dwelled, "what was dwelt stays")
	assert.LessOrEqual(t, p.TargetC, before.TargetC)
	r.run(5 * time.Minute)
	assert.False(t, r.f.TookBack(1, control.TickClear))
	assert.LessOrEqual(t, r.f.Pots[1].MeltC, r.f.Pots[1].SetpointC+1, "held, and not heated")
	r.press()
	assert.False(t, r.f.Pots[1].Uncured)
	assert.Equal(t, r.settings.Pots[1].CureC+1, r.f.Pots[1].TargetC, "by a person at the bench")
	assert.Equal(t, control.HeatEnabled, r.f.Heat)
	r.step(control.Command{Kind: control.TickClear, Pot: 1})
	assert.True(t, r.f.Pots[1].Cured, "its dwell is over")
}

// TestArrivedCuredTakenBack waits for a press, because at its set-point it never cures.
func TestArrivedCuredTakenBack(t *testing.T) {
	r := readyRig()
	r.step(control.Command{Kind: control.ArrivedCured, Pot: 1})
	r.step(takeBack(1, control.ArrivedCured))
	assert.True(t, r.f.Pots[1].Cured, "said long ago: that can not be taken back any more")

	r = newRig(demoSettings(), 160)
	r.step(control.Command{Kind: control.ArrivedCured, Pot: 1})
	r.press()
	r.run(time.Minute)
	r.step(takeBack(1, control.ArrivedCured))
	p := &r.f.Pots[1]
	assert.False(t, p.Cured)
	assert.Equal(t, control.WaitEnable, p.Wait)
	assert.Equal(t, p.SetpointC, p.TargetC)
	r.press()
	assert.Equal(t, 173.0, r.f.Pots[1].TargetC)
	assert.NotEqual(t, control.WaitEnable, r.f.Pots[1].Wait)
}

// TestWhatIsTakenBackIsAsItWas, of every other mark.
func TestWhatIsTakenBackIsAsItWas(t *testing.T) {
	r := readyRig()
	require.True(t, r.f.Ready)
	r.run(time.Minute)
	was := r.f.Pots[0].SinceStir
	r.step(control.Command{Kind: control.Stir})
	r.run(10 * time.Second)
	r.step(takeBack(0, control.Stir))
	assert.InDelta(t, (was + 10*time.Second).Seconds(), r.f.Pots[0].SinceStir.Seconds(), 1)
	r.step(takeBack(0, control.Stir))
	assert.False(t, r.f.TookBack(0, control.Stir), "once")

	r.step(control.Command{Kind: control.Stir})
	r.step(control.Command{Kind: control.ColourAdded, ML: 20})
	assert.False(t, r.f.Pots[0].Said[0].Can, "an addition makes nothing of the stir before it")
	require.False(t, r.f.Pots[0].StirredEver)
	r.step(takeBack(0, control.ColourAdded))
	assert.True(t, r.f.Pots[0].StirredEver)
	assert.Negative(t, r.f.Pots[0].SinceColour)
	assert.Less(t, r.f.Pots[0].InBandFor, time.Second, "its time in band counts anew")
	r.run(25 * time.Second)
	assert.True(t, r.f.Ready, "and then it is ready as before")

	r.step(control.Command{Kind: control.Draw, ML: 60})
	require.True(t, r.f.Pots[0].Drawn.Waits)
	r.run(5 * time.Second)
	r.step(control.Command{Kind: control.Draw})
	r.step(takeBack(0, control.Draw))
	assert.InDelta(t, 5, r.f.Pots[0].Drawn.Since.Seconds(), 1, "the draw before it waits")
	r.step(control.Command{Kind: control.Draw})
	r.step(control.Command{Kind: control.Shot})
	r.step(takeBack(0, control.Draw))
	assert.False(t, r.f.Pots[0].Drawn.Waits, "what was pushed is out")

	r.step(control.Command{Kind: control.Draw})
	r.run(control.TakeBackFor + time.Second)
	r.step(takeBack(0, control.Draw))
	assert.False(t, r.f.TookBack(0, control.Draw), "not for ever")
}

// TestAReturnTakenBack: a press does not heat a pot that is not back.
func TestAReturnTakenBack(t *testing.T) {
	r := readyRig()
	r.step(control.Command{Kind: control.Lift})
	r.run(5 * time.Second)
	r.step(control.Command{Kind: control.Return})
	require.Equal(t, control.WaitEnable, r.f.Pots[0].Wait)
	r.step(takeBack(0, control.Return))
	assert.Equal(t, control.WaitReturn, r.f.Pots[0].Wait)
	assert.True(t, r.f.Pots[0].Pour.Known, "its countdown goes on")
	r.press()
	assert.Equal(t, control.Lifted, r.f.Pots[0].State)
	assert.Zero(t, r.f.Pots[0].Duty)

	r.step(control.Command{Kind: control.Return})
	r.press()
	require.NotEqual(t, control.Lifted, r.f.Pots[0].State)
	r.step(takeBack(0, control.Return))
	assert.False(t, r.f.TookBack(0, control.Return), "once it is heated the lift is to be marked")
}

// TestALiftIsNotTakenBack, nor is anything else that took heat away or gave it.
func TestALiftIsNotTakenBack(t *testing.T) {
	kinds := []control.CommandKind{
		0, control.Lift, control.AllOff, control.Silence, control.Shot, control.Setpoint, control.HandReading, control.TryOut, control.TakeBack, 99,
	}
	r := readyRig()
	r.step(control.Command{Kind: control.Lift})
	for _, kind := range kinds {
		r.step(takeBack(0, kind))
		assert.Equal(t, control.Lifted, r.f.Pots[0].State, "%d", kind)
	}
	r.step(control.Command{Kind: control.AllOff})
	for _, kind := range kinds {
		r.step(takeBack(0, kind))
		assert.Equal(t, control.HeatBlocked, r.f.Heat, "%d", kind)
	}
}

// TestTakingBackNeverHeats: beside a bench on which nobody takes the mark back, and that
// sees the same readings, no pot is to get any warmer than it was to before, or would have
// been, whatever was marked, in sixty evenings; and no trip ends.
func TestTakingBackNeverHeats(t *testing.T) {
	from := rand.New(rand.NewPCG(7, 8))
	kinds := control.MayTakeBack()
	taken := 0
	most := map[control.CommandKind]float64{}
	for range 60 {
		r := newRig(demoSettings(), 120+60*from.Float64())
		twin := control.NewBench(r.settings)
		var other control.Frame
		var wasC [3]float64
		back, kind := control.Command{}, kinds[from.IntN(len(kinds))]
		step := func(commands ...control.Command) {
			r.step(commands...)
			in := r.in
			in.Commands = slices.DeleteFunc(slices.Clone(in.Commands), func(c control.Command) bool { return c.Kind == control.TakeBack })
			twin.Step(&in, &other)
			if r.f.TookBack(back.Pot, kind) {
				taken++
			}
			if back.Kind == 0 {
				return
			}
			for i := range r.f.Pots {
				require.LessOrEqual(t, r.f.Pots[i].TargetC, max(wasC[i], other.Pots[i].TargetC), "%v", kind)
				if r.f.Pots[i].TargetC <= other.Pots[i].TargetC {
					most[kind] = max(most[kind], r.f.Pots[i].AskedDuty-other.Pots[i].AskedDuty)
				}
			}
			require.Equal(t, other.Heat, r.f.Heat)
		}
		press := func(closed bool, d time.Duration) {
			before := r.script
			r.script = func(in *control.Input) { in.Contacts.Enable = contact(closed) }
			for range d / period {
				step()
			}
			r.script = before
		}
		if from.IntN(2) == 0 {
			step(all(control.ArrivedCured, 2)...)
		}
		press(false, 1200*time.Millisecond)
		press(true, 800*time.Millisecond)
		press(false, 800*time.Millisecond)
		for range 50 + from.IntN(250) {
			var said []control.Command
			if from.IntN(40) == 0 {
				said = append(said, control.Command{Kind: control.Stir + control.CommandKind(from.IntN(6)), Pot: from.IntN(3), ML: float64(from.IntN(3) * 10)})
			}
			step(said...)
		}
		pot := from.IntN(3)
		step(control.Command{Kind: kind, Pot: pot, ML: float64(from.IntN(3) * 20)})
		for range from.IntN(50) {
			step()
		}
		for i := range r.f.Pots {
			wasC[i] = r.f.Pots[i].TargetC
		}
		back = takeBack(pot, kind)
		step(back)
		for range 100 {
			step()
		}
	}
	fmt.Printf("marks taken back in 60 evenings: %d; the most that any pot was then asked for above what it would have been, of full power:", taken)
	for _, k := range kinds {
		assert.Zero(t, most[k], "%v", k)
		fmt.Printf(" %v %.4f", k, most[k])
	}
	fmt.Println()
	assert.Greater(t, taken, 25)
}

// TestTakenBackPlaysBack: an evening with marks taken back gives the same frames again.
func TestTakenBackPlaysBack(t *testing.T) {
	r := newRig(demoSettings(), 160)
	r.keep = true
	var seen []control.Frame
	r.seen = func(f *control.Frame) {
		kept := *f
		kept.Pots = slices.Clone(f.Pots)
		seen = append(seen, kept)
	}
	r.step(all(control.ArrivedCured, 3)...)
	r.press()
	r.evening(2*time.Minute, nil)
	for _, k := range control.MayTakeBack() {
		r.step(control.Command{Kind: k, Pot: 1, ML: 20})
		r.run(3 * time.Second)
		r.step(takeBack(1, k))
		r.run(10 * time.Second)
	}
	again := control.NewBench(r.settings)
	var f control.Frame
	for i := range r.saved {
		again.Step(&r.saved[i], &f)
		require.Equal(t, seen[i].Pots[1].State, f.Pots[1].State)
		require.Equal(t, seen[i].Pots[1].Duty, f.Pots[1].Duty)
		require.Equal(t, seen[i].Pots[1].Said, f.Pots[1].Said)
	}
}
