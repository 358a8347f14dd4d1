package calibrate

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// TestASession line by line: points are said, taken, proposed and put in force, and what is
// in force is in the wiring; a word that is none and a point without a place end nothing.
func TestASession(t *testing.T) {
	onBench(t, 1, asMeant, func(r *rig) {
		for i := range r.file.Pots {
			r.Err(meltOf(i), 1.5, 0.004)
		}
		before := Recorded(nil)
		err := r.calibrate(r.t.Context(), func(o *Options) {
			o.In = strings.NewReader("cold water\nboiling\nice\nboiling at 1013.25 hPa.\naccept\nend\n")
		})
		require.NoError(r.t, err, r.said())
		for _, words := range []string{
			"Not done: write how high the bench is above the sea", `Not done: "cold water" is not known`, "WATER IN HOT VINYL SPATTERS", "STEAM BURNS",
			"Waiting until melt left, melt middle, melt right come to rest", "Taken: melt left shows 1.", "ice has 0.00", "Taken: melt right shows 101.", "nothing is in force before",
			"In force from the next start of serve on: melt middle", "DRY EVERY TIP", " in half a minute)",
		} {
			require.Contains(r.t, r.said(), words)
		}
		stand, err := Load(r.store, r.file)
		require.NoError(r.t, err)
		require.Len(r.t, InForce(stand), 3)
		require.NotEqual(r.t, before, Recorded(stand))
		w := Correct(wiring(r.file), stand)
		for i, c := range w.Channels {
			require.Equal(r.t, c.Role == registers.Melt, c.Calibrated != registers.Calibrated{})
			require.Zero(r.t, r.file.Channels[i].Calibrated, "the bench file, by which its proof goes, is as it was")
			if c.Role == registers.Melt {
				shown := 1.5 + 1.004*170
				require.InDelta(r.t, 170, shown+c.Calibrated.At(shown), 0.3)
			}
		}
		require.NotContains(r.t, r.said(), "knows nothing of the weather", "its pressure was said")
		// Everything is still there when it is run again: no bath is needed.
		require.NoError(r.t, r.calibrate(r.t.Context(), nil, "ice", "boiling at 1013.25 hPa", "accept"))
		require.Contains(r.t, r.said(), "melt left: kept from")
		require.NotContains(r.t, r.said(), "Taken")
	})
}

// TestAPointThatWasTakenIsKept when the session is ended, and one that was not is not: a
// probe that still hangs in the air is in no ice.
func TestAPointThatWasTakenIsKept(t *testing.T) {
	onBench(t, 2, asMeant, func(r *rig) {
		r.hands["ICE, 0.0"] = func() { time.AfterFunc(time.Second, func() { r.DipMelt(0, 0) }) }
		ctx, end := context.WithTimeout(r.t.Context(), 4*time.Minute)
		defer end()
		require.ErrorIs(r.t, r.calibrate(ctx, nil, "ice"), ErrStopped)
		require.Len(r.t, r.standing("left").Points, 1)
		require.Empty(r.t, r.standing("middle").Points)
		r.hands["ICE, 0.0"] = func() { r.dip(0) }
		require.NoError(r.t, r.calibrate(r.t.Context(), nil, "ice"))
		require.Contains(r.t, r.said(), "melt left: kept from")
		require.Len(r.t, r.standing("middle").Points, 1)
	})
}

// TestProbesTogether: with one that was calibrated the others follow it; with none they are
// made to agree, and it is said that this is no more.
func TestProbesTogether(t *testing.T) {
	onBench(t, 3, asMeant, func(r *rig) {
		for i, c := range []float64{2, 0, -1} {
			r.Err(meltOf(i), c, 0)
		}
		require.NoError(r.t, r.calibrate(r.t.Context(), nil, "together"), r.said())
		require.Contains(r.t, r.said(), "The probes lie 2.9")
		require.Contains(r.t, r.flat(), "to agree with the others; nobody knows by how much they all are off")
		require.InDelta(r.t, 62, r.standing("right").Points[0].TrueC, 0.2, "the highest: none is lowered where nobody knows")
		for i := range r.file.Pots {
			r.PutMeltBack(i)
		}
		time.Sleep(time.Minute)
		one := func(o *Options) { o.Probes = []string{"melt left"} }
		require.NoError(r.t, r.calibrate(r.t.Context(), one, "ice"), r.said())
		require.ErrorContains(r.t, r.calibrate(r.t.Context(), one, "together"), "compared with nothing")
		require.NoError(r.t, r.calibrate(r.t.Context(), func(o *Options) { o.Again = true }, "together", "accept"), r.said())
		for i, pot := range []string{"left", "middle", "right"} {
			c := r.standing(pot).InForce
			require.NotNil(r.t, c)
			require.False(r.t, c.Relative())
			require.InDelta(r.t, []float64{-2, 0, 1}[i], c.OffsetC, 0.3, pot)
		}
		require.NoError(r.t, r.calibrate(r.t.Context(), func(o *Options) { o.Terminal = true }, "ice", "together"), r.said())
		require.Contains(r.t, r.said(), "\x1b[3A\r\x1b[K  melt left ", "lines that are written anew")
		require.Regexp(r.t, `By ice or boiling water, melt left, melt middle, melt right would lie 0\.\d\d °C apart corrected`, r.said())
		require.Greater(r.t, r.standing("middle").InForce.WithinC(60), r.standing("left").InForce.WithinC(60), "what follows knows no more than what it follows")
	})
}

// TestAWrongTypeIsFound, and nothing is corrected by it.
func TestAWrongTypeIsFound(t *testing.T) {
	for fault, want := range map[simbench.Fault]string{simbench.TypeKOnJ: "a type K probe on an input set to type J", simbench.TypeJOnK: "a type J probe on an input set to type K"} {
		onBench(t, 4, asMeant, func(r *rig) {
			require.NoError(r.t, r.Inject(fault, meltOf(1)))
			err := r.calibrate(r.t.Context(), nil, "ice", "boiling at 0 m", "accept")
			require.ErrorContains(r.t, err, "melt middle: "+want+" fits both points")
			require.Contains(r.t, r.flat(), "melt middle: REFUSED: "+want)
			require.Nil(r.t, r.standing("middle").InForce)
			require.NotNil(r.t, r.standing("left").InForce, "the others are put in force")
			require.Contains(r.t, r.flat(), "A height knows nothing of the weather: with the air's pressure at the bench in its place, as in \"boiling at 985 hPa\", the water is known within 0.3 °C.")
		})
	}
}

// TestNoWaterNearAWarmBench, and a plate that warms by itself ends it.
func TestNoWaterNearAWarmBench(t *testing.T) {
	onBench(t, 5, asMeant, func(r *rig) {
		r.Err(simbench.Place{Pot: 1, Probe: registers.Plate}, 60, 0)
		require.ErrorContains(r.t, r.calibrate(r.t.Context(), nil, "ice"), "the bench has to be cold, because water in hot vinyl spatters")
		r.Err(simbench.Place{Pot: 1, Probe: registers.Plate}, 0, 0)
		r.hands["ICE, 0.0"] = func() {
			time.AfterFunc(20*time.Second, func() { r.Err(simbench.Place{Pot: 1, Probe: registers.Plate}, 8, 0) })
		}
		require.ErrorContains(r.t, r.calibrate(r.t.Context(), nil, "ice"), "PRESS THE EMERGENCY STOP")
		require.NoError(r.t, r.Inject(simbench.OpenProbe, meltOf(0)))
		require.ErrorContains(r.t, r.calibrate(r.t.Context(), nil, "ice"), "the probe melt left can not be read")
		right := func(o *Options) { o.Probes = []string{"melt right"} }
		require.ErrorContains(r.t, r.calibrate(r.t.Context(), right, "ice"), "the probe melt left can not be read", "nobody knows whether that pot is hot")
		require.ErrorContains(r.t, r.calibrate(r.t.Context(), func(o *Options) { o.Probes = []string{"melt lift"} }, "ice"), `probe "melt lift": there is none`)
	})
}

// TestItSpeaksJSON, an object a line and nothing else.
func TestItSpeaksJSON(t *testing.T) {
	onBench(t, 6, asMeant, func(r *rig) {
		r.dip(0)
		require.NoError(r.t, r.calibrate(r.t.Context(), func(o *Options) { o.JSON = true }, "ice", "accept"))
		keys := map[string]int{}
		for line := range strings.Lines(r.said()) {
			var o map[string]any
			require.NoError(r.t, json.Unmarshal([]byte(line), &o), line)
			for k := range o {
				keys[k]++
			}
		}
		require.Equal(r.t, 3, keys["taken"])
		require.Equal(r.t, 1, keys["proposals"])
		require.Equal(r.t, 1, keys["in_force"])
		require.Greater(r.t, keys["shown_c"], 5)
	})
}

// TestWhatStands of a record, by its days: old after a year, gone with the probe or with the
// channel that it was on, and taken back.
func TestWhatStands(t *testing.T) {
	onBench(t, 7, asMeant, func(r *rig) {
		stand, err := Load(r.store, r.file)
		require.NoError(r.t, err)
		require.Equal(r.t, "Calibration: no melt probe has ever been calibrated.", Remind(stand, time.Now()))
		require.NoError(r.t, r.calibrate(r.t.Context(), nil, "ice", "accept"))
		now := time.Now()
		later := func(d time.Duration) string {
			stand, err = Load(r.store, r.file)
			require.NoError(r.t, err)
			return Remind(stand, now.Add(d))
		}
		require.Empty(r.t, later(364*24*time.Hour))
		require.Contains(r.t, later(366*24*time.Hour), "more than a year ago")

		other := *r.file
		other.Channels = append([]registers.Channel(nil), r.file.Channels...)
		other.Channels[0].Scale *= 2
		moved, err := Load(r.store, &other)
		require.NoError(r.t, err)
		require.Contains(r.t, Remind(moved, now), "melt left was calibrated on "+day(now)+", and its channel, adapter or bench is another one in the bench file since")
		require.Zero(r.t, Correct(wiring(&other), moved).Channels[0].Calibrated)
		require.NoError(r.t, Forget(r.store, &other, "test", nil, []string{"melt left"}))
		require.Nil(r.t, r.standing("left").InForce, "changed under another address, and the file is as it was")
		require.NoError(r.t, r.calibrate(r.t.Context(), nil, "ice", "accept"))
		now = time.Now()
		other.Devices = append(other.Devices[:0:0], other.Devices...)

		require.NoError(r.t, Forget(r.store, r.file, "test", []string{"melt left"}, nil))
		require.Contains(r.t, later(0), "melt left is not corrected: its correction was taken back on")
		require.ErrorContains(r.t, Forget(r.store, r.file, "test", []string{"melt left"}, nil), "no correction is in force")
		require.NoError(r.t, Forget(r.store, r.file, "test", nil, []string{"melt middle"}))
		require.Contains(r.t, later(0), "melt middle was changed on")
		require.Empty(r.t, r.standing("middle").Points)
		require.NotNil(r.t, r.standing("right").InForce)
		require.NoError(r.t, Forget(r.store, r.file, "test", []string{"all"}, nil))
		require.Empty(r.t, InForce(stand[:0]))
		require.Nil(r.t, r.standing("right").InForce)

		var out strings.Builder
		require.NoError(r.t, Tell(&out, stand, now))
		require.Contains(r.t, out.String(), "REMINDER: melt middle was changed on")
		for record, want := range map[string]string{"{": "unexpected end", `{"offset_c": 40}`: "it would be raised by 40.0 °C"} {
			require.NoError(r.t, r.store.KeepCalibration(history.Calibration{Probe: "melt left", Digest: stand[0].known.digest, Kind: history.CalibrationInForce, Record: record}))
			stand, err = Load(r.store, r.file)
			require.ErrorContains(r.t, err, want)
			require.ErrorContains(r.t, err, `take it back with --take-back "melt left", and calibrate it again`)
			require.Zero(r.t, Correct(wiring(r.file), stand).Channels[0].Calibrated)
			require.NoError(r.t, Forget(r.store, r.file, "test", []string{"melt left"}, nil))
			require.NotEmpty(r.t, later(0))
		}
	})
}
