package commission

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// mute gives every pot a controller whose own sensor is not read.
func mute(text string) string {
	var kept []string
	for line := range strings.Lines(steered(text)) {
		if !strings.Contains(line, "role: process-value") {
			kept = append(kept, line)
		}
	}
	return strings.Join(kept, "")
}

// muteWith is mute with another scale or unit of the first set-point.
func muteWith(is, other string) func(string) string {
	return func(text string) string {
		text = mute(text)
		at := strings.Index(text, "role: setpoint, function: 6, senses: plate, rest: 5 C, pot: left")
		return text[:at] + strings.Replace(text[at:], is, other, 1)
	}
}

// atDisplays runs a session with somebody who types what the displays show, as shown has it:
// reading and set-point of a pot's controller.
func (r *rig) atDisplays(shown func(pot int) (reads, shows string)) error {
	r.mu.Lock()
	r.out.Reset()
	r.mu.Unlock()
	in, keys := io.Pipe()
	types := func(words string) { go func() { _, _ = io.WriteString(keys, words) }() }
	var reads, shows string
	for i, p := range r.file.Pots {
		r.saying["Controller of pot "+p.Name+": what does"] = func() {
			assert.Zero(r.t, r.heatJ())
			assert.False(r.t, r.Truth().Contactor)
			if reads, shows = shown(i); reads == "" {
				_ = keys.Close()
			}
		}
	}
	r.saying["Which temperature does it measure"] = func() { types(reads + "\n") }
	r.saying["And which set-point does it show?"] = func() { types(shows + "\n") }
	if len(r.record().openQuestions(r.file)) > 0 {
		types(strings.TrimSuffix(answers, cups)) // the melt probes are on record
	}
	err := Run(r.t.Context(), Options{
		Bench: r.file, Wiring: wiring(r.file), Open: r.open, Clock: r.clk, History: r.store,
		In: in, Out: r, Version: "test",
	})
	_ = in.Close() // ends who still types
	synctest.Wait()
	return err
}

// inCelsius is a display in tenths of a degree Celsius, as the simulated controllers have it.
func (r *rig) inCelsius(pot int) (reads, shows string) {
	p := r.Truth().Pots[pot]
	return fmt.Sprintf("%.1f", p.PlateC), fmt.Sprintf("%.1f", p.SetpointC)
}

// TestADisplayIsRead before anything is heated, and is on record then.
func TestADisplayIsRead(t *testing.T) {
	onBench(t, mute, func(t *testing.T, r *rig) {
		var told []float64
		require.NoError(t, r.atDisplays(func(pot int) (string, string) {
			told = append(told, r.Truth().Pots[pot].SetpointC)
			return r.inCelsius(pot)
		}), r.said())
		assertTold(t, told, 5)
		asked, judged, found := strings.Cut(r.words(), "Pot left, right: ")
		require.True(t, found, r.words())
		assert.Contains(t, judged, fmt.Sprintf("its display shows %g, in °C, where it was told %.1f °C", told[0], told[0]))
		for _, c := range told {
			assert.NotContains(t, asked, fmt.Sprintf("told %.1f", c), "who types it has to look")
		}
		assert.NotContains(t, r.words(), "Whether it takes the number")
		cleared, missing := r.record().Against(r.file)
		require.True(t, cleared.Holds(), missing)
		require.Contains(t, strings.Join(cleared.Words(), "\n"), "(its controller keeps its set-point through silence; its display shows "+fmt.Sprintf("%g, in °C, where it was told %.1f °C)", told[0], told[0]))
		for _, p := range r.Truth().Pots {
			assert.InDelta(t, 5, p.SetpointC, 0)
		}
		require.NoError(t, r.commission(t.Context(), "", false), "nothing is asked again")
		require.NotContains(t, r.said(), "what does its display show?")

		record := r.record()
		record.Displays[1].At = time.Now().Add(-yearly - time.Minute)
		_, missing = record.Against(r.file)
		require.Len(t, missing, 1)
		require.Contains(t, missing[0], "controller of pot middle: its display was read ")
		require.Contains(t, missing[0], "at least yearly")
	})
}

// assertTold holds what controllers were told against each other, their highest rest and the
// room of 21 °C in which their plates are.
func assertTold(t *testing.T, told []float64, highestRest float64) {
	t.Helper()
	for i, c := range told {
		assert.GreaterOrEqual(t, c, highestRest+apartC, told)
		assert.Less(t, c, 21.0, told)
		for _, other := range told[:i] {
			assert.GreaterOrEqual(t, math.Abs(c-other), apartC, told)
		}
	}
}

// atOnce is every controller's set-point at the bench.
func (r *rig) atOnce() (all []float64) {
	for _, p := range r.Truth().Pots {
		all = append(all, p.SetpointC)
	}
	return all
}

// TestWhatWasToldIsNotToldAgain: nothing that is said gives away what is told next, so that
// somebody who types what came before, or what another was told, does not pass.
func TestWhatWasToldIsNotToldAgain(t *testing.T) {
	onBench(t, mute, func(t *testing.T, r *rig) {
		var before []float64
		for try := range 12 {
			var told []float64
			if try == 6 {
				r.keep(anew(Digest(r.file), r.record())) // as a bench file that was changed does
				record := r.record()
				record.Melts = complete(r.file).Melts
				r.keep(record)
			}
			err := r.atDisplays(func(int) (string, string) {
				told = r.atOnce()
				return "21", "180"
			})
			require.ErrorContains(t, err, "that is nothing that it was told")
			assertTold(t, told, 5)
			for i, c := range told {
				for _, words := range []string{r.words(), err.Error()} {
					assert.NotRegexp(t, fmt.Sprintf(`\b%g(\.0)? °C`, c), words)
				}
				if before != nil {
					assert.GreaterOrEqual(t, math.Abs(c-before[i]), apartC/2, "try %d", try)
				}
			}
			before = told
		}
	})
}

// TestCrossedControllersAreNotTakenForRight, whatever their rests are.
func TestCrossedControllersAreNotTakenForRight(t *testing.T) {
	crossed := func(text string) string {
		text = strings.Replace(mute(text), "rest: 5 C, pot: left", "rest: 9 C, pot: left", 1)
		text = strings.Replace(text, "rest: 5 C, pot: middle", "rest: 7 C, pot: middle", 1)
		text = strings.Replace(text, "{name: left controller, line: bench, unit: 4}", "{name: left controller, line: bench, unit: 5}", 1)
		return strings.Replace(text, "{name: middle controller, line: bench, unit: 5}", "{name: middle controller, line: bench, unit: 4}", 1)
	}
	onBench(t, crossed, func(t *testing.T, r *rig) {
		var told []float64
		err := r.atDisplays(func(pot int) (string, string) {
			told = r.atOnce()
			return r.inCelsius(pot)
		})
		require.ErrorContains(t, err, "controller of pot left: its display shows ")
		require.ErrorContains(t, err, "that is what the controller of pot middle was told: the two are crossed")
		require.ErrorContains(t, err, "that is what the controller of pot left was told: the two are crossed")
		require.True(t, r.record().display("right").passed())
		assertTold(t, told, 9)
		require.Zero(t, r.heatJ())
	})
}

// TestNoDisplayNoHeat: nobody answers, or what is typed does not fit; each is named with what
// to do, nothing was ever heated, and no step with heat has come.
func TestNoDisplayNoHeat(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of computing under the race detector; the whole session is raced")
	}
	left := func(reads, shows string) func(r *rig, pot int) (string, string) {
		return func(r *rig, pot int) (string, string) {
			if pot == 0 {
				return reads, shows
			}
			return r.inCelsius(pot)
		}
	}
	for name, test := range map[string]struct {
		edit  func(string) string
		shown func(r *rig, pot int) (string, string)
		want  string
	}{
		"nobody":    {mute, left("", ""), "nobody can answer any more"},
		"its rest":  {mute, left("21", "5"), "controller of pot left: its display shows 5, in °C: that is its rest still, nothing has changed: the register in the bench file may not be"},
		"as it was": {mute, left("21", "180"), "that is nothing that it was told. Where it showed that before: the register in the bench file may not be"},
		"another's": {mute, func(r *rig, pot int) (string, string) {
			if pot == 0 {
				_, of := r.inCelsius(1)
				return "21", of
			}
			return r.inCelsius(pot)
		}, "that is what the controller of pot middle was told: the two are crossed"},
		"no sensor":      {mute, left("213", "70"), "its display reads 213 where the plate's probe reads "},
		"ten times":      {muteWith("scale: 0.1", "scale: 0.01"), (*rig).inCelsius, ", in °C: write scale: 0.1 in place of scale: 0.01, since it shows 10 times as much, for its set-point"},
		"a tenth":        {muteWith("scale: 0.1", "scale: 1"), (*rig).inCelsius, "write scale: 0.1 in place of scale: 1, since it shows 0.1 times as much, for its set-point"},
		"°F told for °C": {muteWith("unit: C", "unit: F"), (*rig).inCelsius, ", in °C: write unit: C in place of unit: F, since the controller counts in °C"},
		"°C told for °F": {mute, func(r *rig, pot int) (string, string) {
			_, of := r.inCelsius(pot)
			return "70", of
		}, ", in °F: write unit: F in place of unit: C, since the controller counts in °F"},
		"unit and scale, wrong": {muteWith("scale: 0.1, unit: C", "scale: 1, unit: F"), (*rig).inCelsius, "write scale: 0.1 in place of scale: 1, since it shows 0.1 times as much, and unit: C in place of unit: F"},
	} {
		t.Run(name, func(t *testing.T) {
			onBench(t, test.edit, func(t *testing.T, r *rig) {
				err := r.atDisplays(func(pot int) (string, string) { return test.shown(r, pot) })
				require.ErrorContains(t, err, test.want)
				require.Zero(t, r.heatJ())
				require.Empty(t, r.record().Proofs)
				require.NotContains(t, r.said(), "Press the bench's enable button")
				cleared, missing := r.record().Against(r.file)
				require.False(t, cleared.Holds())
				require.Contains(t, strings.Join(missing, "\n"), "controller of pot left: ")
				if name == "its rest" {
					t.Log(r.said())
				}
			})
		})
	}
}

// TestAWrongDisplayIsReadAgain, and no other.
func TestAWrongDisplayIsReadAgain(t *testing.T) {
	onBench(t, mute, func(t *testing.T, r *rig) {
		err := r.atDisplays(func(pot int) (string, string) {
			reads, shows := r.inCelsius(pot)
			if pot == 1 {
				return reads + " C\n" + reads + "\n\nsame", "21" // two of these are a number by itself
			}
			return reads, shows
		})
		require.ErrorIs(t, err, ErrIncomplete)
		require.ErrorContains(t, err, "controller of pot middle: its display shows 21, in °C: that is nothing that it was told")
		require.Contains(t, r.words(), ` C": type the number alone, such as 23.5 or 74, as the display has it`)
		require.True(t, r.record().display("right").done())
		require.NoError(t, r.atDisplays(r.inCelsius), r.said())
		require.Equal(t, 1, strings.Count(r.said(), "what does its display show?"))
		cleared, missing := r.record().Against(r.file)
		require.True(t, cleared.Holds(), missing)
	})
}

// TestALockedControllerIsSaid before anybody is asked.
func TestALockedControllerIsSaid(t *testing.T) {
	onBench(t, mute, func(t *testing.T, r *rig) {
		r.LockController(2)
		err := r.atDisplays(r.inCelsius)
		require.ErrorContains(t, err, "the controller of pot right does not send back what it was told")
		require.NotContains(t, r.said(), "what does its display show?")
		require.Zero(t, r.heatJ())
	})
}

// TestAWeldedContactorIsSeenAtTheDisplays: a controller that takes what it is told for ten times
// as much heats past it.
func TestAWeldedContactorIsSeenAtTheDisplays(t *testing.T) {
	onBench(t, muteWith("scale: 0.1", "scale: 0.01"), func(t *testing.T, r *rig) {
		require.NoError(t, r.Inject(simbench.ContactorWelded, simbench.Place{}))
		err := r.commission(t.Context(), strings.TrimSuffix(answers, cups), false)
		require.ErrorContains(t, err, "nobody can answer any more")

		in, keys := io.Pipe()
		defer keys.Close()
		err = Run(t.Context(), Options{Bench: r.file, Wiring: wiring(r.file), Open: r.open, Clock: r.clk, History: r.store, In: in, Out: r, Version: "test"})
		require.ErrorIs(t, err, errPress)
		require.ErrorContains(t, err, "Plate left has risen by 2")
		require.Empty(t, r.record().Displays)
		// It heats on to ten times its rest, which no program can stop, until it is mended.
		require.NoError(t, r.Clear(simbench.ContactorWelded, simbench.Place{}))
		time.Sleep(time.Second)
	})
}

// TestAColdRoomAsksForNoHeat: nothing is told that a controller would heat for.
func TestAColdRoomAsksForNoHeat(t *testing.T) {
	onBench(t, func(text string) string { return strings.ReplaceAll(mute(text), "rest: 5 C", "rest: 15 C") }, func(t *testing.T, r *rig) {
		err := r.atDisplays(r.inCelsius)
		require.ErrorContains(t, err, "there is no room for 4 different set-points, each 2 °C from the next, between 15 °C (no rest is higher) and the coldest plate, which is at ")
		require.ErrorContains(t, err, "so that a controller would heat: warm the room, or write a lower rest for the set-points")
		require.Zero(t, r.heatJ())
	})
}

// TestRecordsFromBeforeDisplays: where its own sensor is read they count as they did, and
// where it is not a controller's display is asked for.
func TestRecordsFromBeforeDisplays(t *testing.T) {
	heard := benchFile(t, steered)
	cleared, missing := complete(heard).Against(heard)
	require.True(t, cleared.Holds(), missing)
	text, err := json.Marshal(complete(heard))
	require.NoError(t, err)
	require.NotContains(t, string(text), "displays")

	quiet := benchFile(t, mute)
	old := complete(quiet)
	cleared, missing = old.Against(quiet)
	require.False(t, cleared.Holds())
	require.Equal(t, "controller of pot left: nobody has typed what its display shows", missing[0])
	require.Len(t, missing, 3)
	for _, p := range quiet.Pots {
		old.Displays = append(old.Displays, Display{Pot: p.Name, At: time.Now(), PlateC: 21, ToldC: 7, Reads: 70, Shows: 45})
	}
	cleared, missing = old.Against(quiet)
	require.True(t, cleared.Holds(), missing)
	require.Contains(t, old.sections()[2].Lines[0], "left: its display shows 45, in °F, where it was told 7.0 °C (2")
	require.Equal(t, Takes(heard)+3*displayTakes, Takes(quiet))
}

// TestNumbersOfDisplays: a bench file and a controller each count in whole degrees, tenths or
// hundredths, of Celsius or Fahrenheit, and the display shows tenths or whole degrees. Where
// they count alike it is right, and otherwise never; it prints how often what is named is
// what to write. Degrees Fahrenheit by their definition (NIST SP 811, appendix B.9).
func TestNumbersOfDisplays(t *testing.T) {
	fahrenheit := func(c float64) float64 { return c*1.8 + 32 }
	wrong, named := 0, 0
	for _, file := range counts() {
		for _, device := range counts() {
			for rest := 1.0; rest <= 15; rest++ {
				for n := range 12 { // what a warm room has room for
					file.RestC = rest
					meant := max(rest, lowestC) + apartC*float64(1+n)
					words, err := file.AppendTarget(nil, meant)
					require.NoError(t, err)
					if file.Unit == registers.Fahrenheit {
						require.InDelta(t, fahrenheit(meant), float64(words[0])*file.Scale, 1)
					}
					shows := float64(words[0]) * device.Scale
					for _, shown := range []float64{math.Round(10*shows) / 10, math.Round(shows), math.Floor(shows)} {
						d := Display{PlateC: 21.3, ToldC: tenths(file.Target(words)), Reads: 21, Shows: shown}
						if device.Unit == registers.Fahrenheit {
							d.Reads = 71
						}
						said := d.misfit(file, nil)
						if device.Unit == file.Unit && device.Scale == file.Scale {
							assert.Empty(t, said)
							continue
						}
						require.NotEmpty(t, said, "%v in °%s told by %v in °%s: %+v", device.Scale, device.Unit, file.Scale, file.Unit, d)
						wrong++
						if device.Scale != file.Scale == strings.Contains(said, fmt.Sprintf("write scale: %g ", device.Scale)) &&
							device.Unit != file.Unit == strings.Contains(said, "unit: "+string(device.Unit)+" in place of") {
							named++
						}
					}
				}
			}
		}
	}
	t.Logf("what to write is named rightly in %d of %d wrong files, and none of them is taken for right", named, wrong)
	assert.Greater(t, named, wrong*95/100)
}

// counts are set-points of 16 bits in whole degrees, tenths and hundredths, of both units.
func counts() (all []registers.Channel) {
	for _, unit := range []registers.Unit{registers.Celsius, registers.Fahrenheit} {
		for _, scale := range []float64{1, 0.1, 0.01} {
			all = append(all, registers.Channel{Role: registers.Setpoint, Function: 6, Type: registers.Uint16, Scale: scale, Unit: unit})
		}
	}
	return all
}
