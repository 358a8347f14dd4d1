package calibrate

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/devices/ports"
	"meltwarden/devices/registers"
)

// aBench has one melt probe in millivolts, on one line.
func aBench() *config.Bench {
	return &config.Bench{
		Name:    "the bench by the window",
		Lines:   []config.Line{{Name: "a", Port: "/dev/ttyUSB0"}},
		Devices: []config.Device{{Name: "inputs", Line: "a", Unit: 3}},
		Channels: []registers.Channel{
			{Role: registers.Melt, Pot: "left", Device: "inputs", Function: 4, Address: 7, Type: registers.Int16, Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: 0.001, Unit: registers.Millivolt, Thermocouple: "K"},
			{Role: registers.ColdJunction, Device: "inputs", Function: 4, Address: 9, Type: registers.Int16, Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: 0.1, Unit: registers.Celsius},
		},
	}
}

// changed is a bench file after it was changed; nothing is shared with the one before.
func changed(change func(*config.Bench)) *config.Bench {
	b := aBench()
	change(b)
	return b
}

func inForce(t *testing.T, all []history.Calibration, b *config.Bench, formerly ...string) *Standing {
	t.Helper()
	stand, err := Stand(all, b, formerly...)
	require.NoError(t, err)
	require.Len(t, stand, 1)
	return &stand[0]
}

// ofNow is a correction of a bench's probe that was put in force.
func ofNow(t *testing.T, b *config.Bench) []history.Calibration {
	t.Helper()
	c, err := Fit([]Point{at("ice", 1)}, 0, inAMelt)
	require.NoError(t, err)
	k, err := knownBy(b.Channels[0], b, nil).record("test", "melt left", history.CalibrationInForce, c)
	require.NoError(t, err)
	return []history.Calibration{k}
}

// TestWhatACorrectionOutlasts: another name of its bench, or of its port, of which the first
// is said; nothing else that changes what its probe reads, or where that is.
func TestWhatACorrectionOutlasts(t *testing.T) {
	adapter := ports.Wanted{Vendor: "1a2b", Product: "3c4d", Serial: "0001"}
	onAdapter := func(b *config.Bench) { b.Lines[0].Port, b.Lines[0].Adapter = "", adapter }
	for what, x := range map[string]struct {
		before, after func(*config.Bench)
		called        string
		ends          bool
	}{
		"nothing is changed":             {after: func(*config.Bench) {}},
		"the bench has another name":     {after: func(b *config.Bench) { b.Name = "north bench" }, called: "the bench by the window"},
		"the port has another name":      {after: func(b *config.Bench) { b.Lines[0].Port = "/dev/ttyUSB1" }},
		"the adapter is named":           {after: onAdapter},
		"the adapter is no longer named": {before: onAdapter, after: func(*config.Bench) {}},
		"another bench on its adapter":   {before: onAdapter, after: func(b *config.Bench) { onAdapter(b); b.Name = "north bench" }, called: "the bench by the window"},
		"bench and port are others":      {after: func(b *config.Bench) { b.Name = "north bench"; b.Lines[0].Port = "/dev/ttyUSB1" }, ends: true},
		"another adapter": {before: onAdapter, ends: true, after: func(b *config.Bench) {
			onAdapter(b)
			b.Lines[0].Adapter.Serial = "0002"
		}},
		"another register":       {after: func(b *config.Bench) { b.Channels[0].Address = 8 }, ends: true},
		"another scale":          {after: func(b *config.Bench) { b.Channels[0].Scale = 0.002 }, ends: true},
		"another unit":           {after: func(b *config.Bench) { b.Channels[0].Unit = registers.Fahrenheit }, ends: true},
		"another type":           {after: func(b *config.Bench) { b.Channels[0].Thermocouple = "J" }, ends: true},
		"another typed word":     {after: func(b *config.Bench) { b.Channels[0].CorrectionC = -1 }, ends: true},
		"another device":         {after: func(b *config.Bench) { b.Devices[0].Unit = 4 }, ends: true},
		"another cold junction":  {after: func(b *config.Bench) { b.Channels[1].Address = 10 }, ends: true},
		"one corrected by hand":  {after: func(b *config.Bench) { b.Channels[1].CorrectionC = 2 }, ends: true},
		"a time-out of a device": {after: func(b *config.Bench) { b.Devices[0].Timeout = time.Second }},
	} {
		t.Run(what, func(t *testing.T) {
			before := aBench()
			if x.before != nil {
				x.before(before)
			}
			s := inForce(t, ofNow(t, before), changed(x.after))
			assert.Equal(t, x.ends, s.InForce == nil)
			assert.Equal(t, x.ends, !s.Elsewhere.IsZero())
			assert.Equal(t, x.called, s.CalledThen)
			if x.called != "" {
				assert.Contains(t, InForce([]Standing{*s})[0], `(when the bench was called "the bench by the window")`)
			}
		})
	}
}

// TestRecordsThatGoByAName: those of before have the name of the bench in their digest, and
// no place. They are found by it, and after the bench got another name by a run of before.
func TestRecordsThatGoByAName(t *testing.T) {
	b := aBench()
	const then = "26b750dd8ba36187c71a0e36fe4a7c6b469916096161a7c0dac26e00def40bb1" // as the program of then wrote it
	require.Equal(t, then, digestNamed(b.Channels[0], b, b.Name))
	require.Equal(t, "1daf571ddb4db01a58cbb2e3d0bc1cf00fcdbaf739851e50a938007c11c2854b", digest(b.Channels[0], b), "what is kept from here on goes by it")
	c, err := Fit([]Point{at("ice", 1)}, 0, inAMelt)
	require.NoError(t, err)
	record, err := json.Marshal(c)
	require.NoError(t, err)
	all := []history.Calibration{{At: time.Now(), Probe: "melt left", Digest: then, Kind: history.CalibrationInForce, Record: string(record)}}
	require.NotNil(t, inForce(t, all, b).InForce)
	require.Empty(t, inForce(t, all, b).CalledThen)
	require.NotNil(t, inForce(t, all, changed(func(b *config.Bench) { b.Lines[0].Port = "/dev/ttyUSB1" })).InForce)
	require.Nil(t, inForce(t, all, changed(func(b *config.Bench) { b.Channels[0].Scale = 0.002 })).InForce)

	north := changed(func(b *config.Bench) { b.Name = "north bench" })
	require.Nil(t, inForce(t, all, north).InForce, "nobody knows of that name")
	run := "name: the bench by the window\nlines:\n- {name: a, port: /dev/ttyUSB0}\ndaemon: {token: (left out)}\n"
	require.Equal(t, b.Name, inForce(t, all, north, "{", run).CalledThen)
	require.NotNil(t, inForce(t, all, north, "{", run).InForce)
	elsewhere := "name: the bench by the window\nlines:\n- {name: a, port: /dev/ttyUSB7}\n"
	require.Nil(t, inForce(t, all, north, elsewhere).InForce, "another bench, whose history is in the same folder")

	taken, err := knownBy(north.Channels[0], north, nil).record("test", "melt left", history.CalibrationTakenBack, struct{}{})
	require.NoError(t, err)
	require.Nil(t, inForce(t, append(all, taken), north, run).InForce, "one that was kept under the old name is taken back under the new one")
}

// TestARenamedBench keeps over a session what was found out under its old name, and points
// too; so it does with records that go by that name, where it has run under it.
func TestARenamedBench(t *testing.T) {
	onBench(t, 8, asMeant, func(r *rig) {
		require.NoError(r.t, r.calibrate(r.t.Context(), nil, "ice", "accept"), r.said())
		was := r.file.Name
		north := *r.file
		north.Name = "north bench"
		r.file = &north
		require.Equal(r.t, was, r.standing("left").CalledThen)
		require.NoError(r.t, r.calibrate(r.t.Context(), nil, "ice", "accept"), r.said())
		require.Contains(r.t, r.said(), "melt left: kept from")
		require.NotNil(r.t, r.standing("left").InForce)
		require.Empty(r.t, r.standing("left").CalledThen, "accepted anew")

		all, err := r.store.Calibrations()
		require.NoError(r.t, err)
		for _, k := range all {
			require.True(r.t, saysPlace(k))
		}
		old := history.Calibration{At: time.Now(), Probe: "melt left", Digest: digestNamed(r.file.Channels[0], r.file, was), Kind: history.CalibrationInForce, Record: `{"offset_c":-1.25}`}
		require.NoError(r.t, r.store.KeepCalibration(old))
		require.Nil(r.t, r.standing("left").InForce, "by a name that it never had here")
		run, err := r.store.Record(time.Now(), history.Start{Bench: string(r.file.Typed)})
		require.NoError(r.t, err)
		require.NoError(r.t, run.Close(time.Now()))
		require.NotNil(r.t, r.standing("left").InForce)
		require.Equal(r.t, -1.25, r.standing("left").InForce.OffsetC)
		require.Equal(r.t, was, r.standing("left").CalledThen)
	})
}
