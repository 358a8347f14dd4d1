package control_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/control"
	"meltwarden/control/call"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

// walk collects the states and waits that a pot goes through, each change once.
type walk struct {
	states []control.PotState
	waits  []control.Wait
}

func (w *walk) see(p *control.PotFrame) {
	if n := len(w.states); n == 0 || w.states[n-1] != p.State {
		w.states = append(w.states, p.State)
	}
	if n := len(w.waits); n == 0 || w.waits[n-1] != p.Wait {
		w.waits = append(w.waits, p.Wait)
	}
}

func TestFromColdToReady(t *testing.T) {
	r := newRig(demoSettings(), 21)
	walks := make([]walk, 3)
	overC, untold := 0.0, 0
	calls := map[uint64]call.Sound{}
	see := func(f *control.Frame) {
		for i := range f.Pots {
			walks[i].see(&f.Pots[i])
			overC = math.Max(overC, r.bodies[i].melt-(172+1)) // of the cure target
			if p := &f.Pots[i]; p.Wait == control.WaitHeat && p.MeltC < 130 && p.AskedDuty < 0.05 {
				untold++
			}
		}
		calls[f.Call.Seq] = f.Call.Sound
		assert.LessOrEqual(t, f.PowerW, 2400.0+1e-9)
	}
	r.evening(time.Minute, see)
	assert.Equal(t, control.HeatBlocked, r.f.Heat)
	see(r.press())
	readyAt := time.Duration(0)
	r.evening(time.Hour, func(f *control.Frame) {
		see(f)
		if f.Ready && readyAt == 0 {
			readyAt = f.Time
		}
	})
	fmt.Printf("three pots from 21 °C: all ready after %v, at most %.2f °C over the cure target\n", readyAt, overC)
	require.NotZero(t, readyAt)
	assert.Less(t, overC, 1.0)
	assert.Less(t, untold, 5, "cycles in which a pot that the others keep back did not say so")
	for i, w := range walks {
		assert.Equal(t, []control.PotState{
			control.Off, control.Heating, control.Curing, control.Cooling, control.Holding, control.Ready,
		}, w.states, "pot %d", i)
		// Those that are early wait for the others on their way up, some of them twice.
		waits := slices.Compact(slices.DeleteFunc(w.waits, func(w control.Wait) bool { return w == control.WaitOthers }))
		assert.Equal(t, []control.Wait{
			control.WaitEnable, control.WaitHeat, control.WaitDwell, control.WaitClear,
			control.WaitCool, control.WaitSteady, control.WaitNothing,
		}, waits, "pot %d", i)
	}
	ready := 0
	for _, sound := range calls {
		if sound == call.Ready {
			ready++
		}
	}
	assert.Equal(t, 1, ready, "ready is called once in an hour of holding")
}

// TestCured: common practice, no source: a pot is cured only after 90 s at its
// cure temperature, and when its maker has seen that it is clear.
func TestCured(t *testing.T) {
	r := newRig(demoSettings(), 21)
	r.press()
	dwelled, last := time.Duration(0), time.Duration(0)
	for i := range int(time.Hour / period) {
		var there []control.Command
		if i%300 == 0 {
			there = all(control.Stir, 1) // somebody is at the bench
		}
		f := r.step(there...)
		p := &f.Pots[1]
		require.False(t, p.Cured, "without the tick")
		require.GreaterOrEqual(t, p.Dwelled, dwelled, "a dwell is never taken back")
		if p.Dwelled > dwelled {
			require.GreaterOrEqual(t, p.MeltC, 172.0)
		}
		dwelled = p.Dwelled
		if p.Wait == control.WaitClear && last == 0 {
			last = f.Time
		}
	}
	assert.Equal(t, 90*time.Second, dwelled)
	assert.Equal(t, control.Curing, r.f.Pots[1].State, "it waits, hot, for the tick")
	assert.InDelta(t, 173, r.bodies[1].melt, 1)
	f := r.step(control.Command{Kind: control.TickClear, Pot: 1})
	assert.True(t, f.Pots[1].Cured)
	assert.False(t, f.Pots[0].Cured, "each pot has its own tick")
}

// TestTheTickAloneCuresNothing: clear, and never hot.
func TestTheTickAloneCuresNothing(t *testing.T) {
	r := newRig(demoSettings(), 21)
	r.step(all(control.TickClear, 3)...)
	r.run(time.Minute)
	assert.False(t, r.f.Pots[0].Cured)
}

// scripted returns a bench of one pot whose melt and plate read as told.
func scripted(melt, plate *float64) *rig { return scriptedOn(demoSettings(), melt, plate) }

func scriptedOn(s control.Settings, melt, plate *float64) *rig {
	s.Pots = s.Pots[:1]
	r := newRig(s, 21)
	r.script = func(in *control.Input) {
		in.Pots[0] = control.PotReadings{Melt: r.read(*melt), Plate: r.read(*plate)}
	}
	return r
}

// TestShortDipKeepsTheDwell: a stir lets the reading dip.
func TestShortDipKeepsTheDwell(t *testing.T) {
	melt, plate := 174.0, 190.0
	r := scripted(&melt, &plate)
	began := r.press().Pots[0].Dwelled // a dwell is time at heat, whoever gave it
	r.run(time.Minute)
	dwelled := r.f.Pots[0].Dwelled
	assert.InDelta(t, 60, (dwelled - began).Seconds(), 1)
	melt = 168
	r.run(10 * time.Second)
	stopped := r.f.Pots[0].Dwelled
	assert.Less(t, stopped-dwelled, 2*time.Second, "it stops, but for the filter")
	melt = 174
	r.run(31 * time.Second)
	assert.Equal(t, 90*time.Second, r.f.Pots[0].Dwelled)
	assert.Equal(t, control.WaitClear, r.f.Pots[0].Wait)
}

// TestADwellThatStandsStillSaysSo, and takes the way back to the cure temperature into what
// is left; where the melt does not come back nobody knows how long that is.
func TestADwellThatStandsStillSaysSo(t *testing.T) {
	melt, plate := 174.0, 190.0
	r := scripted(&melt, &plate)
	r.press()
	r.run(30 * time.Second)
	before := r.f.Pots[0]
	require.False(t, before.DwellStands)
	require.Equal(t, 90*time.Second-before.Dwelled, before.WaitLeft)
	melt = 171.4
	p := r.run(20 * time.Second).Pots[0]
	assert.Equal(t, control.Curing, p.State)
	assert.Equal(t, control.WaitDwell, p.Wait)
	assert.True(t, p.DwellStands)
	require.Greater(t, p.WaitLeft, 90*time.Second-p.Dwelled)
	for range 130 { // a plate whose heat does not get into its melt
		plate += 0.1
		p = r.run(time.Second).Pots[0]
	}
	assert.True(t, p.DwellStands)
	assert.Negative(t, p.WaitLeft, "it does not rise")
	assert.Negative(t, p.ReadyIn, "so nobody knows when it is ready")
	melt = 174
	for range 15 * time.Second / period {
		if p = r.step().Pots[0]; p.MeltC >= 172.3 {
			require.False(t, p.DwellStands, "at %.2f °C", p.MeltC)
		}
		if p.MeltC >= 172 {
			require.Equal(t, 90*time.Second-p.Dwelled, p.WaitLeft, "at %.2f °C", p.MeltC)
		}
	}
	assert.Greater(t, p.MeltC, 173.0)
}

// TestNeverIsNotTold as two hours: a plate limit that does not let the melt come back.
func TestNeverIsNotTold(t *testing.T) {
	for _, limitC := range []float64{178, 182, 186, 190} {
		melt, plate := 174.0, 190.0
		s := demoSettings()
		s.Pots[0].PlateLimitC = limitC
		r := scriptedOn(s, &melt, &plate)
		r.press()
		r.run(30 * time.Second)
		melt, plate = 171.4, limitC
		r.run(10 * time.Second)
		stood := 0
		for range 20 * time.Second / period {
			p := r.step().Pots[0]
			if p.DwellStands {
				stood++
				assert.Negative(t, p.ReadyIn, "the model finds no way with a plate of %v °C", limitC)
				require.Negative(t, p.WaitLeft, "with a plate of %v °C", limitC)
			}
		}
		assert.Greater(t, stood, 50)
	}
}

// TestADwellDoesNotStandAndGoOnByTurns where the readings waver about the cure temperature,
// and is not said to stand while it goes on.
func TestADwellDoesNotStandAndGoOnByTurns(t *testing.T) {
	const minutes = 10
	for _, offC := range []float64{-0.3, -0.15, -0.1, -0.05, 0, 0.05, 0.1} {
		melt, plate := 174.0, 190.0
		s := demoSettings()
		s.Pots[0].Dwell = time.Hour
		r := scriptedOn(s, &melt, &plate)
		r.press()
		r.run(10 * time.Second)
		melt = 172 + offC
		turns, wrong := 0, 0
		before := r.run(10 * time.Second).Pots[0]
		for range minutes * time.Minute / period {
			p := r.step().Pots[0]
			if p.DwellStands != before.DwellStands {
				turns++
			}
			if wrong++; !p.DwellStands || p.Dwelled == before.Dwelled {
				wrong = 0
			}
			require.LessOrEqual(t, wrong, 10, "it stands, and goes on for two seconds")
			before = p
		}
		fmt.Printf("a melt that is read %+.2f °C off its cure temperature: its dwell stands or goes on again %.1f times a minute\n", offC, float64(turns)/minutes)
		assert.LessOrEqual(t, turns, 3*minutes)
	}
}

// TestADwellThatIsCuredDoesNotStand when its cure is taken back: nothing was counted
// meanwhile because nothing had to be.
func TestADwellThatIsCuredDoesNotStand(t *testing.T) {
	melt, plate := 174.0, 190.0
	r := scripted(&melt, &plate)
	r.press()
	r.run(20 * time.Second)
	r.step(control.Command{Kind: control.ArrivedCured})
	r.run(time.Minute)
	require.True(t, r.f.Pots[0].Cured)
	r.step(control.Command{Kind: control.TakeBack, Mark: control.ArrivedCured})
	p := r.press().Pots[0]
	require.Equal(t, control.WaitDwell, p.Wait)
	assert.False(t, p.DwellStands)
}

// TestAMeltJustOutsideItsBandIsNotTimed: the time in band stands still there.
func TestAMeltJustOutsideItsBandIsNotTimed(t *testing.T) {
	melt, plate := 166.0, 185.0
	r := scripted(&melt, &plate)
	r.step(control.Command{Kind: control.ArrivedCured})
	r.press()
	r.run(2 * time.Second)
	require.Equal(t, control.WaitSteady, r.f.Pots[0].Wait)
	require.Positive(t, r.f.Pots[0].WaitLeft)
	melt = 168.3 // band 2, and 2.5 on the way out
	p := r.run(20 * time.Second).Pots[0]
	assert.Equal(t, control.WaitSteady, p.Wait)
	assert.Negative(t, p.WaitLeft)
}

// TestWhatNobodyWatchedIsNotDwelt: the computer slept through the dwell.
func TestWhatNobodyWatchedIsNotDwelt(t *testing.T) {
	melt, plate := 174.0, 190.0
	r := scripted(&melt, &plate)
	r.press()
	r.run(10 * time.Second)
	before := r.f.Pots[0]
	inner := r.script
	r.script = func(in *control.Input) { inner(in); in.Elapsed = time.Hour }
	r.step()
	assert.LessOrEqual(t, r.f.Pots[0].Dwelled-before.Dwelled, guard.MaxAge)
	assert.LessOrEqual(t, r.f.Pots[0].InBandFor-before.InBandFor, guard.MaxAge)
	assert.Equal(t, control.HeatTripped, r.f.Heat)
}

func TestArrivesCured(t *testing.T) {
	r := newRig(demoSettings(), 21)
	r.step(all(control.ArrivedCured, 3)...)
	r.press()
	var w walk
	over := 0.0
	r.evening(time.Hour, func(f *control.Frame) {
		w.see(&f.Pots[2])
		over = math.Max(over, r.bodies[2].melt-164)
	})
	assert.Equal(t, []control.PotState{control.Heating, control.Holding, control.Ready}, w.states)
	assert.Equal(t, []control.Wait{control.WaitWarm, control.WaitSteady, control.WaitNothing}, w.waits)
	fmt.Printf("arrived cured, heated straight to its set-point: at most %.2f °C over\n", over)
	assert.Less(t, over, 1.0)
}

func TestArrivesHot(t *testing.T) {
	r := newRig(demoSettings(), 185) // uncured, hotter than anything asked for
	r.press()
	var w walk
	r.evening(30*time.Minute, func(f *control.Frame) {
		w.see(&f.Pots[0])
		if r.bodies[0].melt > 174 {
			require.Zero(t, f.Outputs.Duty[0])
		}
	})
	assert.Equal(t, []control.PotState{control.Curing, control.Cooling, control.Holding, control.Ready}, w.states)
}

func TestLifted(t *testing.T) {
	r := readyRig()
	require.True(t, r.f.Ready)
	r.step(control.Command{Kind: control.Lift, Pot: 1})
	assert.Zero(t, r.f.Outputs.Duty[1], "in the same cycle")
	assert.Equal(t, control.Lifted, r.f.Pots[1].State)
	assert.Equal(t, control.WaitReturn, r.f.Pots[1].Wait)
	assert.False(t, r.f.Ready)
	r.evening(2*time.Minute, func(f *control.Frame) { require.Zero(t, f.Outputs.Duty[1]) })
	assert.Equal(t, control.Ready, r.f.Pots[0].State, "the others go on")
	assert.Equal(t, control.HeatEnabled, r.f.Heat)
	assert.Equal(t, []guard.Condition{{Code: guard.PotLifted, Pot: 1, Severity: guard.Note, Active: true}}, r.f.Conditions, "and nothing is alarmed about")
	r.step(control.Command{Kind: control.Return, Pot: 1})
	r.evening(time.Minute, func(f *control.Frame) { require.Zero(t, f.Outputs.Duty[1], "no mark turns a heater on") })
	assert.Equal(t, control.WaitEnable, r.f.Pots[1].Wait)
	r.press()
	assert.NotEqual(t, control.Lifted, r.f.Pots[1].State)
	r.evening(10*time.Minute, nil)
	assert.True(t, r.f.Ready)
}

// TestOnlyALiftAtTheBenchIsSomebodySeeingToTheProbe: one marked elsewhere takes heat away,
// and lets no press heat on a reading that can not be true.
func TestOnlyALiftAtTheBenchIsSomebodySeeingToTheProbe(t *testing.T) {
	mark := func(k control.CommandKind, afar bool) control.Command {
		return control.Command{Kind: k, Pot: 1, Afar: afar}
	}
	for name, c := range map[string]struct {
		lifts []control.Command
		ends  bool
	}{
		"at the bench":                {[]control.Command{mark(control.Lift, false)}, true},
		"elsewhere":                   {[]control.Command{mark(control.Lift, true)}, false},
		"elsewhere, then here":        {[]control.Command{mark(control.Lift, true), mark(control.Lift, false)}, true},
		"here and back, elsewhere":    {[]control.Command{mark(control.Lift, false), mark(control.Return, false), mark(control.Lift, true)}, false},
		"here, and back before it is": {[]control.Command{mark(control.Lift, false), mark(control.Return, true)}, false},
	} {
		r := readyRig()
		r.script = func(in *control.Input) { in.Pots[1].Melt.C = 31 }
		r.run(5 * time.Second)
		require.Equal(t, control.Tripped, r.f.Pots[1].State)
		r.step(c.lifts...)
		assert.Zero(t, r.run(10 * time.Second).Outputs.Duty[1])
		r.step(mark(control.Return, false))
		for range 3 {
			r.press()
		}
		assert.Equal(t, c.ends, r.run(time.Second).Outputs.Duty[1] > 0, name)
	}
}

func TestTripped(t *testing.T) {
	r := readyRig()
	r.script = func(in *control.Input) { in.Contacts.EStop = contact(false) }
	f := r.step()
	assert.Equal(t, control.HeatTripped, f.Heat)
	assert.False(t, f.Outputs.Contactor)
	assert.Equal(t, []float64{0, 0, 0}, f.Outputs.Duty)
	for _, p := range f.Pots {
		assert.Equal(t, control.Tripped, p.State)
		assert.Equal(t, control.WaitReset, p.Wait)
	}
	assert.Equal(t, call.Danger, f.Call.Sound)
	assert.True(t, f.Outputs.Buzzer)
	r.script = nil
	r.run(time.Minute)
	assert.Equal(t, control.HeatTripped, r.f.Heat)
	assert.Equal(t, control.Off, r.press().Pots[0].State)
	assert.False(t, r.f.Outputs.Contactor)
	assert.Equal(t, control.HeatEnabled, r.press().Heat)
	assert.True(t, r.f.Outputs.Contactor)
}

// TestTheButtonCountsWhenItWasLetGo (ISO 13849-1:2015, 5.2.2, from memory), and not
// where it chatters, is knocked or is stuck.
func TestTheButtonCountsWhenItWasLetGo(t *testing.T) {
	r := newRig(demoSettings(), 21)
	r.hold()
	assert.Equal(t, control.HeatBlocked, r.f.Heat, "not while it is held")
	assert.Equal(t, control.HeatBlocked, r.button(false, 600*time.Millisecond).Heat, "it may only have bounced")
	assert.Equal(t, control.HeatEnabled, r.step().Heat)

	r = newRig(demoSettings(), 21)
	r.button(false, time.Minute)
	for range 100 {
		r.button(true, period)
		r.button(false, period)
		require.Equal(t, control.HeatBlocked, r.f.Heat, "chatter")
	}
	r.button(false, time.Minute)
	r.button(true, 6*time.Second)
	assert.Equal(t, control.HeatBlocked, r.step().Heat, "stuck")
	assert.Equal(t, control.HeatEnabled, r.press().Heat, "and a press after all that")
}

// TestWeldedRelayUnseen: a relay that stays closed, and a pot that lost both
// probes: its own output ends nothing, the contactor does.
func TestWeldedRelayUnseen(t *testing.T) {
	r := readyRig()
	held := r.bodies[0].melt
	r.welded = true
	r.script = func(in *control.Input) {
		in.Pots[0].Melt.Fault, in.Pots[0].Plate.Fault = reading.Open, reading.Open
	}
	r.step()
	assert.Zero(t, r.f.Outputs.Duty[0])
	assert.True(t, r.f.Outputs.Contactor, "a lost frame is no reason to drop it")
	r.run(3 * time.Second)
	assert.False(t, r.f.Outputs.Contactor)
	assert.True(t, latchedIn(&r.f, guard.PotUnseen))
	peak := held
	for range 10 * time.Minute / period {
		r.step()
		peak = math.Max(peak, r.bodies[0].melt)
	}
	fmt.Printf("a welded relay on a pot without probes: the contactor opens after 3 s, the melt peaked %.1f °C higher\n", peak-held)
	assert.Less(t, peak, r.settings.Limits.MeltTripC)
}

// TestAllOff from the page: off, and only the bench's button heats again.
func TestAllOff(t *testing.T) {
	r := readyRig()
	f := r.step(control.Command{Kind: control.AllOff})
	assert.Equal(t, control.HeatBlocked, f.Heat)
	assert.Equal(t, []float64{0, 0, 0}, f.Outputs.Duty)
	for kind := control.CommandKind(0); kind < 20; kind++ {
		r.step(all(kind, 3)...)
		assert.Equal(t, control.HeatBlocked, r.f.Heat, "%v enables heat", kind)
	}
	r.step(control.Command{Kind: control.AllOff})
	f = r.run(time.Minute)
	assert.True(t, f.AllOff, "it is known why heat is off")
	assert.InDelta(t, 60, f.SinceAllOff.Seconds(), 1)
	assert.False(t, r.press().AllOff, "until somebody enables it")
}

// TestLeftAlone: with nobody at the bench it calls after ten minutes and switches
// off after fifteen; a mark from another computer is nobody there.
func TestLeftAlone(t *testing.T) {
	for name, c := range map[string]struct {
		do    func(r *rig)
		stays bool
	}{
		"nobody":            {func(r *rig) { r.step() }, false},
		"marks from afar":   {func(r *rig) { r.step(control.Command{Kind: control.Stir, Afar: true}) }, false},
		"silence from afar": {func(r *rig) { r.step(control.Command{Kind: control.Silence, Afar: true}) }, false},
		"marks at hand":     {func(r *rig) { r.step(control.Command{Kind: control.Draw}) }, true},
		"the pedal": {func(r *rig) {
			r.script = func(in *control.Input) { in.Contacts.Pedal = contact(true) }
			r.run(time.Second)
			r.script = nil
		}, true},
	} {
		r := readyRig()
		c.do(r)
		called, off := time.Duration(0), time.Duration(0)
		for since := r.f.Time; r.f.Time < since+16*time.Minute; {
			if r.cycle%300 == 0 {
				c.do(r)
			} else {
				r.step()
			}
			if r.f.Call.Sound == call.Act && called == 0 {
				called = r.f.Time - since
			}
			if r.f.Heat == control.HeatTripped && off == 0 {
				off = r.f.Time - since
				assert.Equal(t, call.Danger, r.f.Call.Sound, name)
				assert.False(t, r.f.Outputs.Contactor, name)
			}
		}
		assert.Equal(t, c.stays, off == 0, name)
		assert.Equal(t, c.stays, called == 0, name)
		if !c.stays {
			fmt.Printf("%s: called after %v, off after %v\n", name, called, off)
			assert.InDelta(t, (5 * time.Minute).Seconds(), (off - called).Seconds(), 1)
		}
	}
}

// TestHeldLong: noted an hour after it was cured, and nothing more.
func TestHeldLong(t *testing.T) {
	r := readyRig()
	r.evening(38*time.Minute, func(f *control.Frame) { require.Empty(t, f.Conditions) })
	r.evening(5*time.Minute, nil)
	assert.Equal(t, 3, len(r.f.Conditions))
	assert.Equal(t, guard.Condition{Code: guard.HeldLong, Pot: 0, Severity: guard.Note, Active: true}, r.f.Conditions[0])
	assert.True(t, r.f.Ready)
}

// TestSilenceFromAfar takes the sound and nothing else: what was found stays listed and
// latched, and a person at the bench has to reset it.
func TestSilenceFromAfar(t *testing.T) {
	r := readyRig()
	r.script = func(in *control.Input) { in.Contacts.EStop = contact(false) }
	r.run(time.Second)
	before := slices.Clone(r.f.Conditions)
	require.NotEmpty(t, before)
	r.step(control.Command{Kind: control.Silence, Afar: true})
	require.True(t, r.f.Call.Silenced)
	require.Equal(t, before, r.f.Conditions)
	require.Equal(t, control.HeatTripped, r.f.Heat)
}

// TestPedalSilences, and so does the command; neither clears.
func TestPedalSilences(t *testing.T) {
	for _, silence := range []func(*rig){
		func(r *rig) { r.step(control.Command{Kind: control.Silence}) },
		func(r *rig) {
			before := r.script
			r.script = func(in *control.Input) { before(in); in.Contacts.Pedal = contact(true) }
			r.step()
			r.script = before
		},
	} {
		r := readyRig()
		r.script = func(in *control.Input) { in.Contacts.EStop = contact(false) }
		r.run(time.Second)
		silence(r)
		for range 100 {
			f := r.step()
			require.False(t, f.Outputs.Buzzer)
			require.Equal(t, call.Danger, f.Call.Sound)
			require.Equal(t, control.HeatTripped, f.Heat)
		}
	}
}

// TestReadinessDoesNotFlap at the edge of the band, with 0.25 °C of noise.
func TestReadinessDoesNotFlap(t *testing.T) {
	for _, side := range []float64{-1, 1} {
		for _, off := range []float64{1.9, 2.0, 2.1, 2.4, 2.5, 2.6} {
			melt, plate := 166.0, 196.0 // so warm that it is plainly heated
			r := scripted(&melt, &plate)
			r.step(all(control.ArrivedCured, 1)...)
			r.press()
			r.evening(time.Minute, nil)
			require.True(t, r.f.Ready)
			melt = 166 + side*off
			changes, ready, calls := 0, true, r.f.Call.Seq
			r.evening(30*time.Minute, func(f *control.Frame) {
				if f.Ready != ready {
					changes, ready = changes+1, f.Ready
				}
				// A plate that stands still however it is heated would be called as well.
				if to := f.Pots[0].PlateTargetC; !math.IsNaN(to) {
					plate += (math.Max(to, melt+30) - plate) / 20
				}
			})
			fmt.Printf("%+.1f °C off in a band of 2 °C for half an hour: readiness changed %d times\n", side*off, changes)
			want := 0
			if off >= 2.4 { // noise alone reaches the way out at 2.5 °C once in half an hour
				want = 1
			}
			assert.LessOrEqual(t, changes, want)
			assert.Equal(t, calls, r.f.Call.Seq, "and is not called again")
		}
	}
}

// TestOneBadFrameIsNoNews: heat is off in that cycle, and readiness stays.
func TestOneBadFrameIsNoNews(t *testing.T) {
	for name, spoil := range map[string]func(*control.Input){
		"sentinel": func(in *control.Input) { in.Pots[0].Melt.Fault = reading.Sentinel },
		"NaN":      func(in *control.Input) { in.Pots[0].Melt.C = math.NaN() },
		"spike":    func(in *control.Input) { in.Pots[0].Melt.C = 20 },
		"plate":    func(in *control.Input) { in.Pots[0].Plate.Fault = reading.Refused },
	} {
		r := readyRig()
		before, seq := r.f.Pots[0].MeltC, r.f.Call.Seq
		r.script = spoil
		f := r.step()
		assert.Zero(t, f.Outputs.Duty[0], name)
		assert.True(t, f.Ready, name)
		r.script = nil
		f = r.step()
		assert.InDelta(t, before, f.Pots[0].MeltC, 0.2, "%s: it is not filtered in", name)
		assert.True(t, f.Ready, name)
		r.run(5 * time.Second)
		assert.Equal(t, seq, r.f.Call.Seq, name)
		assert.Empty(t, r.f.Conditions, name)
	}
}

// TestStir: a pot whose stir is too long ago is not ready, with some grace for one that was.
func TestStir(t *testing.T) {
	r := readyRig()
	r.step(all(control.Stir, 3)...)
	for r.f.Ready {
		r.step()
		require.Less(t, r.f.Pots[0].SinceStir, time.Hour)
	}
	assert.InDelta(t, 180, r.f.Pots[0].SinceStir.Seconds(), 0.5, "half as long again as asked for")
	assert.Equal(t, control.WaitStir, r.f.Pots[0].Wait)
	r.step(all(control.Stir, 3)...)
	assert.True(t, r.f.Ready)
}

// TestUnknownPotsAndKindsAreIgnored.
func TestUnknownPotsAndKindsAreIgnored(t *testing.T) {
	r, twin := readyRig(), readyRig()
	for kind := control.CommandKind(0); kind < 12; kind++ {
		if !kind.NeedsPot() {
			continue
		}
		for _, pot := range []int{-1, 3, math.MaxInt, math.MinInt} {
			r.step(control.Command{Kind: kind, Pot: pot})
			twin.step()
		}
	}
	r.step(control.Command{Kind: 0}, control.Command{Kind: 200, Pot: 1})
	twin.step()
	assert.Equal(t, text(&twin.f), text(&r.f))
}

// TestAnotherNumberOfPots: then nobody knows which is which.
func TestAnotherNumberOfPots(t *testing.T) {
	for _, n := range []int{0, 1, 2, 4, 9} {
		r := readyRig()
		r.script = func(in *control.Input) {
			in.Pots = append(slices.Clone(in.Pots), in.Pots...)
			in.Pots = append(in.Pots, in.Pots...)[:n]
		}
		f := r.step()
		assert.Equal(t, []float64{0, 0, 0}, f.Outputs.Duty, "%d pots", n)
		assert.Len(t, f.Pots, 3)
		r.run(10 * time.Second)
		assert.True(t, f.Conditions[0].Latched)
	}
	var f control.Frame
	control.NewBench(control.Settings{}).Step(&control.Input{}, &f)
	assert.False(t, f.Ready, "a bench without pots is never ready")
	assert.False(t, f.Outputs.Contactor)
}

// TestMissingReadings: nothing read, nothing heated, nothing shown.
func TestMissingReadings(t *testing.T) {
	r := newRig(demoSettings(), 21)
	r.script = func(in *control.Input) {
		for i := range in.Pots {
			in.Pots[i] = control.PotReadings{}
		}
	}
	r.step()
	r.press()
	r.run(10 * time.Second)
	for i, p := range r.f.Pots {
		assert.Zero(t, r.f.Outputs.Duty[i])
		assert.Equal(t, control.Tripped, p.State)
		for _, x := range []float64{p.MeltC, p.SlopeCPerMin, p.PlateTargetC, p.AheadC[0]} {
			assert.True(t, math.IsNaN(x))
		}
	}
	assert.True(t, r.f.Hot, "what nobody has read may be hot")
}

// TestNaNRules: an estimate outlives its last good reading by MaxAge; the
// plate's target is a number only while the loop is at work.
func TestNaNRules(t *testing.T) {
	r := readyRig()
	p := &r.f.Pots[0]
	require.Equal(t, control.Ready, p.State)
	assert.InDelta(t, p.SetpointC, p.AheadC[4], p.BandC, "what is foreseen of a pot that is held")
	assert.False(t, math.IsNaN(p.MeltC) || math.IsNaN(p.SlopeCPerMin) || math.IsNaN(p.PlateTargetC))
	r.script = func(in *control.Input) { in.Pots[0].Melt.Fault = reading.Open }
	shown := time.Duration(0)
	for r.step(); !math.IsNaN(r.f.Pots[0].MeltC); r.step() {
		assert.True(t, math.IsNaN(r.f.Pots[0].PlateTargetC), "the loop rests at once")
		assert.True(t, math.IsNaN(r.f.Pots[0].AheadC[0]), "and nothing is foreseen of what is not heated")
		shown += period
		require.Less(t, shown, time.Minute)
	}
	assert.LessOrEqual(t, shown, guard.MaxAge)
	assert.True(t, math.IsNaN(r.f.Pots[0].SlopeCPerMin))
	assert.True(t, math.IsNaN(r.f.Pots[0].PlateTargetC))
	assert.Zero(t, r.f.Pots[0].InBandFor)
}

// TestReadingsCountFromWhenTheyWereTaken: the first reading may be old, and one
// that is seen twice counts once.
func TestReadingsCountFromWhenTheyWereTaken(t *testing.T) {
	r := newRig(demoSettings(), 21)
	give := func(c float64, age time.Duration) float64 {
		r.script = func(in *control.Input) {
			in.Pots[0].Melt = reading.Temperature{C: c, Age: age, Fault: reading.None}
		}
		return r.step().Pots[0].MeltC
	}
	assert.Equal(t, 100.0, give(100, 700*time.Millisecond))
	assert.Equal(t, 100.0, give(100, 900*time.Millisecond), "the same one, a cycle older")
	// Taken 1.0 s after the first: a first-order filter of 2 s has followed by 1 - e^(-1/2).
	assert.InDelta(t, 100+10*(1-math.Exp(-0.5)), give(110, 100*time.Millisecond), 1e-9)
}

func TestAskedAndGiven(t *testing.T) {
	r := newRig(demoSettings(), 21) // 2800 W on 2400
	r.press()
	f := r.step()
	asked := 0.0
	for i, p := range f.Pots {
		assert.Equal(t, f.Outputs.Duty[i], p.Duty)
		asked += p.AskedDuty * r.settings.Pots[i].HeaterW
	}
	assert.Greater(t, asked, 2400.0)
	assert.InDelta(t, 2400, f.PowerW, 2800.0/10000, "shared in steps, downwards")
	assert.LessOrEqual(t, f.PowerW, 2400.0)
}

func TestHot(t *testing.T) {
	cold := newRig(demoSettings(), 21)
	assert.False(t, cold.step().Hot)
	warm := newRig(demoSettings(), guard.TouchC+1)
	assert.True(t, warm.step().Hot)
	warm.script = func(in *control.Input) {
		for i := range in.Pots {
			in.Pots[i].Melt.Fault, in.Pots[i].Plate.Fault = reading.Missing, reading.Missing
		}
	}
	assert.True(t, warm.run(time.Hour).Hot, "the last that was known was hot")
}

// text is a frame to the last bit: Go prints the shortest decimal that is this
// float and no other.
func text(f *control.Frame) string { return fmt.Sprintf("%+v", *f) }

// TestReplay: every input of an evening with faults in it, stepped again, comes
// to the same frames, bit for bit.
func TestReplay(t *testing.T) {
	for name, settings := range map[string]control.Settings{"smooth": demoSettings(), "switched": relaySettings()} {
		r := newRig(settings, 21)
		r.keep = true
		var frames []string
		r.seen = func(f *control.Frame) { frames = append(frames, text(f)) }
		r.press()
		r.evening(20*time.Minute, nil)
		r.script = func(in *control.Input) { in.Pots[1].Melt.C = math.NaN() }
		r.evening(5*time.Second, nil)
		r.script = func(in *control.Input) { in.Elapsed = 0; in.Contacts.EStop = contact(false) }
		r.evening(time.Second, nil)
		r.script = nil
		r.evening(time.Minute, nil)

		again := control.NewBench(settings)
		var f control.Frame
		require.Len(t, r.saved, len(frames))
		for i := range r.saved {
			again.Step(&r.saved[i], &f)
			require.Equal(t, frames[i], text(&f), "%s, cycle %d", name, i+1)
		}
		fmt.Printf("replay: %d frames the same, bit for bit\n", len(frames))
	}
}

// TestAnAmountIsRounded to what history can keep: what is no volume of a pot is not known.
func TestAnAmountIsRounded(t *testing.T) {
	for ml, kept := range map[float64]float64{
		12.3456: 12.35, 0: 0, -5: 0, 1e20: 0, math.Inf(1): 0, math.Inf(-1): 0, math.NaN(): 0,
	} {
		in := control.Input{Commands: []control.Command{{Kind: control.Draw, ML: ml}}}
		in.Round()
		assert.InDelta(t, kept, in.Commands[0].ML, 1e-12, "%v", ml)
	}
}

// TestNoMarksEmptyAPot, or fill it without end: whatever is marked, the melt stays where it
// is held.
func TestNoMarksEmptyAPot(t *testing.T) {
	for _, kind := range []control.CommandKind{control.Draw, control.ColourAdded} {
		r := readyRig()
		for range 20 {
			r.step(control.Command{Kind: kind, ML: 100, Afar: true})
		}
		hottest := 0.0
		r.evening(20*time.Minute, func(*control.Frame) { hottest = math.Max(hottest, r.bodies[0].melt) })
		assert.Less(t, hottest, r.f.Pots[0].SetpointC+2, "%v", kind)
		assert.InDelta(t, r.f.Pots[0].SetpointC, r.bodies[0].melt, 1, "%v", kind)
	}
}

// TestAnAmountFromAfarHeatsNothing: what is typed at the bench is heated before a probe
// shows its dip; the same from elsewhere only by what the probe shows.
func TestAnAmountFromAfarHeatsNothing(t *testing.T) {
	given := func(c control.Command) (duty float64) {
		r := readyRig()
		r.step(c)
		r.evening(time.Minute, func(f *control.Frame) { duty += f.Pots[0].Duty })
		return duty
	}
	added := control.Command{Kind: control.ColourAdded, Afar: true}
	none := given(added)
	added.ML = 20
	assert.Equal(t, none, given(added))
	added.Afar = false
	assert.NotEqual(t, none, given(added), "at the bench it counts")
}

// TestNoInputHeatsUnearned is the guard's first rule again, through the whole
// step, with people, noise and faults at random.
func TestNoInputHeatsUnearned(t *testing.T) {
	heated := 0
	amount := rapid.SampledFrom([]float64{0, 20, 100, 170, 200, -1, 1e300, math.NaN(), math.Inf(1)})
	rapid.Check(t, func(t *rapid.T) {
		settings := demoSettings()
		if rapid.Bool().Draw(t, "relays") {
			settings = relaySettings()
		}
		for i := range settings.Pots {
			settings.Pots[i].Probes = reading.Probes(rapid.IntRange(0, 2).Draw(t, "probes"))
		}
		r := newRig(settings, rapid.Float64Range(15, 185).Draw(t, "startC"))
		odd := func(name string) bool { return rapid.IntRange(0, 400).Draw(t, name) == 400 }
		closed, left := true, 0
		button := func() bool { // changes at random, at a person's pace or at that of chatter
			if left == 0 {
				closed, left = !closed, rapid.IntRange(1, 10).Draw(t, "button")
			}
			left--
			return closed
		}
		r.script = func(in *control.Input) {
			in.Contacts.Enable = contact(button())
			if odd("elapsed") {
				in.Elapsed = rapid.SampledFrom([]time.Duration{0, -1, time.Second, time.Hour}).Draw(t, "elapsed")
			}
			if odd("e-stop") {
				in.Contacts.EStop = reading.Contact{Closed: rapid.Bool().Draw(t, "closed"), Fault: reading.Fault(rapid.IntRange(0, 9).Draw(t, "fault"))}
			}
			for i := range in.Pots {
				for _, r := range []*reading.Temperature{&in.Pots[i].Melt, &in.Pots[i].Plate} {
					if odd("reading") {
						r.C = rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), 300, r.C}).Draw(t, "c")
						r.Age = rapid.SampledFrom([]time.Duration{0, time.Second, time.Second + 1, -1}).Draw(t, "age")
						r.Fault = reading.Fault(rapid.IntRange(0, 9).Draw(t, "fault"))
					}
				}
			}
		}
		for range 60 {
			f := r.step(control.Command{
				Kind: control.CommandKind(rapid.IntRange(0, int(control.HandReading)+1).Draw(t, "kind")), Pot: rapid.IntRange(-1, 3).Draw(t, "pot"),
				C: amount.Draw(t, "c"), ML: amount.Draw(t, "ml"), Afar: rapid.Bool().Draw(t, "afar"),
			})
			for i, duty := range f.Outputs.Duty {
				if !(duty >= 0 && duty <= 1) {
					t.Fatalf("duty %v", duty)
				}
				if duty == 0 {
					continue
				}
				heated++
				ok := f.Heat == control.HeatEnabled && f.Outputs.Contactor &&
					(f.Elapsed > 0 && f.Elapsed <= 3*period) &&
					f.Contacts.EStop.Known(time.Second) && f.Contacts.EStop.Closed &&
					(f.Pots[i].Melt.Usable(time.Second) || !f.Pots[i].Probes.HasMelt() && f.Pots[i].MeltEstimate.Known()) &&
					(f.Pots[i].Plate.Usable(time.Second) || !f.Pots[i].Probes.HasPlate() && f.Pots[i].PlateEstimate.Known()) &&
					f.Pots[i].State != control.Tripped && f.Pots[i].State != control.Lifted
				if !ok {
					t.Fatalf("pot %d is heated: %+v", i, *f)
				}
			}
		}
	})
	fmt.Printf("heat was earned in %d pot-cycles\n", heated)
	assert.Positive(t, heated)
}

// TestStepAllocatesNothing once the frame's slices have grown.
func TestStepAllocatesNothing(t *testing.T) {
	r := readyRig()
	n := testing.AllocsPerRun(1000, func() { r.bench.Step(&r.in, &r.f) })
	fmt.Printf("a step for three pots allocates %.0f times\n", n)
	assert.Zero(t, n)
}

func BenchmarkStep(b *testing.B) {
	r := readyRig()
	b.ReportAllocs()
	for b.Loop() {
		r.bench.Step(&r.in, &r.f)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1000, "µs/step")
}

// TestStepIsFast: three pots in a small part of a cycle.
func TestStepIsFast(t *testing.T) {
	least := int64(math.MaxInt64)
	for range 3 { // what else the computer does only ever adds to it
		least = min(least, testing.Benchmark(BenchmarkStep).NsPerOp())
	}
	fmt.Printf("a step for three pots takes %.2f µs of the cycle's %d\n", float64(least)/1000, period.Microseconds())
	assert.Less(t, least, int64(100_000))
}

// TestNumbersOfStep: what a step for three pots costs through a whole evening, from
// cold pots on, with all that is found out about them meanwhile. It neither grows nor
// allocates. The worst counts whatever else the machine did.
func TestNumbersOfStep(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated evening takes some seconds")
	}
	const lasts = 160 * time.Minute
	r := newRig(demoSettings(), 21)
	r.press()
	var begun time.Time
	var took []time.Duration
	r.script = func(*control.Input) { begun = time.Now() }
	r.seen = func(*control.Frame) { took = append(took, time.Since(begun)) }
	r.evening(lasts, nil)
	require.Equal(t, control.HeatEnabled, r.f.Heat)
	var sum time.Duration
	for _, d := range took {
		sum += d
	}
	part := len(took) / 4
	early, late := slices.Sorted(slices.Values(took[:part])), slices.Sorted(slices.Values(took[3*part:]))
	sorted := slices.Sorted(slices.Values(took))
	mean, most := sum/time.Duration(len(took)), sorted[len(took)-1-len(took)/1000]
	allocated := testing.AllocsPerRun(1000, func() { r.bench.Step(&r.in, &r.f) })
	fmt.Printf("%d steps for three pots: mean %v, 99.9 %% within %v, worst %v; median %v in the first quarter, %v in the last; %.0f allocations\n",
		len(took), mean, most, sorted[len(took)-1], early[part/2], late[part/2], allocated)
	assert.Less(t, mean, time.Millisecond)
	assert.Less(t, late[part/2], 2*early[part/2], "it grows")
	assert.Zero(t, allocated)
}
