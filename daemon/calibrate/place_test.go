package calibrate

import (
	"encoding/json"
	"strings"
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

// TestWhatACorrectionOutlasts: another name of its port, and another one of its bench where
// the serial number of its adapter shows that it is the same, which is said; nothing else that
// changes what its probe reads, or where that is. Of another bench no word counts.
func TestWhatACorrectionOutlasts(t *testing.T) {
	adapter := ports.Wanted{Vendor: "1a2b", Product: "3c4d", Serial: "0001"}
	onAdapter := func(b *config.Bench) { b.Lines[0].Port, b.Lines[0].Adapter = "", adapter }
	ofAKind := func(b *config.Bench) { onAdapter(b); b.Lines[0].Adapter.Serial = "" }
	inASocket := func(b *config.Bench) { ofAKind(b); b.Lines[0].Adapter.Socket = "1-1.4" }
	north := func(change func(*config.Bench)) func(*config.Bench) {
		return func(b *config.Bench) { change(b); b.Name = "north bench" }
	}
	for what, x := range map[string]struct {
		before, after func(*config.Bench)
		called        string
		ends, other   bool
	}{
		"nothing is changed":             {after: func(*config.Bench) {}},
		"another bench on that port":     {after: north(func(*config.Bench) {}), other: true},
		"the port has another name":      {after: func(b *config.Bench) { b.Lines[0].Port = "/dev/ttyUSB1" }},
		"the adapter is named":           {after: onAdapter},
		"the adapter is no longer named": {before: onAdapter, after: func(*config.Bench) {}},
		"the bench has another name":     {before: onAdapter, after: north(onAdapter), called: "the bench by the window"},
		"another bench, adapters alike":  {before: ofAKind, after: north(ofAKind), other: true},
		"another bench in that socket":   {before: inASocket, after: north(inASocket), other: true},
		"one of them names a serial":     {before: ofAKind, after: north(onAdapter), other: true},
		"bench and port are others":      {after: north(func(b *config.Bench) { b.Lines[0].Port = "/dev/ttyUSB1" }), other: true},
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
			assert.Equal(t, x.ends || x.other, s.InForce == nil)
			assert.Equal(t, x.ends, !s.Elsewhere.IsZero())
			assert.Equal(t, x.called, s.CalledThen)
			assert.Equal(t, x.other, s.OtherBench == "the bench by the window")
			if x.other {
				assert.Equal(t, `melt left is not corrected: a correction is on record of a bench called "the bench by the window", and nothing shows that it is this bench. If it is, take the points of the probe again`, s.Reminder(time.Now()))
			}
			if x.called != "" {
				assert.Contains(t, InForce([]Standing{*s})[0], `(when the bench was called "the bench by the window")`)
			}
		})
	}
}

// TestTwoBenchesInOneFolder with the same map, pots and port: what is said of the probe of one
// changes nothing of that of the other.
func TestTwoBenchesInOneFolder(t *testing.T) {
	window, north := onRecord(t), onRecord(t)
	north.bench.Name = "north bench"
	north.point(evening, "ice", 2)
	north.accept(evening)
	require.Equal(t, "north bench", inForce(t, north.all, window.bench).OtherBench)
	for what, kind := range map[string]history.CalibrationKind{"taken back": history.CalibrationTakenBack, "changed": history.ProbeChanged} {
		window.all = north.all
		window.point(evening, "ice", 1)
		window.accept(evening)
		require.Equal(t, "the bench by the window", inForce(t, window.all, north.bench).OtherBench, what)
		window.put(evening, kind, struct{}{})
		window.point(evening, "ice", -1)
		require.Equal(t, "north bench", window.standing().OtherBench, what)
		s := inForce(t, window.all, north.bench)
		require.NotNil(t, s.InForce, what)
		require.InDelta(t, -2, s.InForce.OffsetC, 1e-9, what)
		require.Len(t, s.Points, 1, what)
		require.Zero(t, s.Changed, what)
		require.Zero(t, s.TakenBack, what)
		require.Empty(t, s.OtherBench, "it has none now")
	}

	window.all = nil
	window.point(evening, "ice", 1)
	p := inForce(t, window.all, north.bench).Propose(evening.Add(time.Hour))
	require.Equal(t, "no point is on record of it; ice was taken 1 h ago, on 2026-03-07 20:00, under another name of the bench, and nothing shows that it is this bench: take it again", p.Refused)
	window.accept(evening)
	require.Equal(t, "no point is on record of it", inForce(t, window.all, north.bench).Propose(evening).Refused, "a correction was made of them")
}

// TestThePresentNameOutranks a former one, in whichever order they are on record; that the
// probe on that adapter is another one counts under both.
func TestThePresentNameOutranks(t *testing.T) {
	k := onRecord(t)
	k.bench.Lines[0] = config.Line{Name: "a", Adapter: ports.Wanted{Serial: "0001"}}
	former, present := k.bench.Name, "north bench"
	under := func(name string, highC float64) {
		k.bench.Name = name
		c, err := Fit([]Point{at("ice", highC)}, 0, inAMelt)
		require.NoError(t, err)
		k.put(evening, history.CalibrationInForce, c)
	}
	offset := func() float64 {
		k.bench.Name = present
		require.NotNil(t, k.standing().InForce)
		return k.standing().InForce.OffsetC
	}
	under(former, 1)
	require.InDelta(t, -1, offset(), 1e-9)
	under(present, 2)
	under(former, 3)
	require.InDelta(t, -2, offset(), 1e-9)
	k.bench.Name = former
	k.put(evening, history.CalibrationTakenBack, struct{}{})
	require.InDelta(t, -2, offset(), 1e-9)
	k.put(evening, history.CalibrationTakenBack, struct{}{})
	under(former, 3)
	k.bench.Name = present
	require.Nil(t, k.standing().InForce, "it was taken back here")
	under(present, 2)
	k.bench.Name = former
	k.put(evening, history.ProbeChanged, struct{}{})
	k.bench.Name = present
	require.Nil(t, k.standing().InForce, "the probe is no more")
	under(former, 3)
	require.InDelta(t, -3, offset(), 1e-9, "of the new probe")
}

// TestRecordsThatGoByAName: those of before have the name of the bench in their digest, and
// no place. They are found by it, and after the bench got another name by a run of before on its adapter.
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

	north := changed(func(b *config.Bench) {
		b.Name = "north bench"
		b.Lines[0].Adapter = ports.Wanted{Serial: "0001"}
	})
	require.Nil(t, inForce(t, all, north).InForce, "nobody knows of that name")
	run := "name: the bench by the window\nlines:\n- {name: a, adapter: {serial: \"0001\"}}\ndaemon: {token: (left out)}\n"
	require.Equal(t, b.Name, inForce(t, all, north, "{", run).CalledThen)
	require.NotNil(t, inForce(t, all, north, "{", run).InForce)
	elsewhere := "name: the bench by the window\nlines:\n- {name: a, port: /dev/ttyUSB0}\n"
	require.Nil(t, inForce(t, all, north, elsewhere).InForce, "it may be another bench, whose history is in the same folder")
	require.Equal(t, b.Name, inForce(t, all, north, elsewhere).OtherBench)
	require.NotNil(t, inForce(t, all, north, elsewhere, run).InForce)
	require.NotNil(t, inForce(t, all, north, run, elsewhere).InForce)

	taken, err := knownBy(north.Channels[0], north, nil).record("test", "melt left", history.CalibrationTakenBack, struct{}{})
	require.NoError(t, err)
	require.Nil(t, inForce(t, append(all, taken), north, run).InForce, "one that was kept under the old name is taken back under the new one")
}

// TestARenamedBench keeps over a session what was found out under its old name, and points
// too; so it does with records that go by that name, where it has run under it.
func TestARenamedBench(t *testing.T) {
	onBench(t, 8, asMeant, func(r *rig) {
		for i := range r.file.Lines {
			r.file.Lines[i].Adapter = ports.Wanted{Serial: "0001"}
		}
		require.Contains(r.t, string(r.file.Typed), "port: simulated")
		r.file.Typed = []byte(strings.ReplaceAll(string(r.file.Typed), "port: simulated", `adapter: {serial: "0001"}`))
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
			require.NotNil(r.t, placeIn(k))
		}
		old := history.Calibration{At: time.Now(), Probe: "melt left", Digest: digestNamed(r.file.Channels[0], r.file, was), Kind: history.CalibrationInForce, Record: `{"offset_c":-1.25}`}
		require.NoError(r.t, r.store.KeepCalibration(old))
		require.Nil(r.t, r.standing("left").InForce, "by a name that it never had here")
		run, err := r.store.Record(time.Now(), history.Start{Bench: string(r.file.Typed)})
		require.NoError(r.t, err)
		require.NoError(r.t, run.Close(time.Now()))
		require.NotNil(r.t, r.standing("left").InForce)
		require.Empty(r.t, r.standing("left").CalledThen, "what was accepted under the present name outranks it")
		south := north
		south.Name = "south bench"
		r.file = &south
		require.NotNil(r.t, r.standing("left").InForce)
		require.Equal(r.t, -1.25, r.standing("left").InForce.OffsetC)
		require.Equal(r.t, was, r.standing("left").CalledThen)
	})
}
