package view

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/devices/registers"
)

// TestAnEstimateIsNeverAReading: numbers have it in places of its own, words with a ≈ and
// its band.
func TestAnEstimateIsNeverAReading(t *testing.T) {
	s := bench()
	f := waiting3(control.WaitHand, control.WaitHeat, control.WaitNothing)
	f.Pots[0].Probes, f.Pots[0].Melt, f.Pots[0].MeltC = reading.PlateOnly, reading.Temperature{}, 0
	f.Pots[0].MeltEstimate = control.Estimate{C: 161.4, WithinC: 5.2}
	f.Pots[0].Hand = control.Hand{Read: true, C: 158.5, Since: 90 * time.Second}
	f.Pots[1].Probes, f.Pots[1].Plate = reading.MeltOnly, reading.Temperature{}
	f.Pots[1].PlateEstimate = control.Estimate{C: 190.2, WithinC: 41}
	b := Of(f, s, noon)

	plate := b.Pots[0]
	assert.False(t, plate.MeltC.Known())
	assert.Equal(t, "≈ 161", plate.Shown.Melt.C)
	assert.Equal(t, "≈ 323", plate.Shown.Melt.F)
	assert.Equal(t, "estimate ± 6 °C", plate.Shown.Off.C)
	assert.Contains(t, plate.Shown.More.C, "by hand 158.5 °C 1:30 ago")
	assert.Equal(t, Attend, plate.Shown.Tone)
	assert.Equal(t, "Not yet: measure the melt of slate by hand, and type it in", Of(waitingHand(f), s, noon).Shown.Answer.C)

	melt := b.Pots[1]
	assert.False(t, melt.PlateC.Known())
	assert.Contains(t, melt.Shown.More.C, "plate ≈ 190 ± 41 °C")

	text, err := json.Marshal(b.Pots)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"melt_estimate_c":161.4,"melt_within_c":5.2,"plate_estimate_c":null`)
	assert.Contains(t, string(text), `"probes":"melt only"`)
}

// waitingHand lets no other pot hold up the pour.
func waitingHand(f *frames.Frame) *frames.Frame {
	f.Pots[1].Wait, f.Pots[1].State = control.WaitNothing, control.Ready
	return f
}

// TestWhatIsNotSeenIsSaid: every finding that is not watched is named.
func TestWhatIsNotSeenIsSaid(t *testing.T) {
	assert.Empty(t, NotSeen(control.PotSettings{}))
	for _, probes := range []reading.Probes{reading.PlateOnly, reading.MeltOnly} {
		s := control.PotSettings{Probes: probes, HeaterW: 1000, VolumeML: 250, PlateLimitC: 230}
		text := strings.Join(NotSeen(s), " ")
		t.Log(text)
		for _, c := range guard.Unwatched(probes) {
			assert.Contains(t, text, c.Title()[1:])
		}
	}
	assert.Contains(t, strings.Join(NotSeen(control.PotSettings{Probes: reading.MeltOnly, HeaterW: 1000, VolumeML: 250}), " "), "115 W at most")
}

// TestEveryVerdictHasItsWord but the one that takes the reading.
func TestEveryVerdictHasItsWord(t *testing.T) {
	for v := control.HandTaken; v <= control.HandLow; v++ {
		assert.Equal(t, v == control.HandTaken, HandRefused(v, 22.4) == "", "%d", v)
	}
	assert.Contains(t, HandRefused(control.HandLow, 22.4), "22 °C lower than expected")
}

// TestWhatCanNotBeKnownIsSaidOnce: of a pot in millivolts once for each device, and nothing of
// one that reads both in degrees.
func TestWhatCanNotBeKnownIsSaidOnce(t *testing.T) {
	mV := registers.Channel{Pot: "left", Device: "board", Unit: registers.Millivolt}
	celsius := mV
	celsius.Unit = registers.Celsius
	other := mV
	other.Device = "module"
	left := control.PotSettings{Name: "left", HeaterW: 1000, VolumeML: 250}
	assert.Empty(t, Unknowable(left, []registers.Channel{celsius, celsius}))
	assert.Empty(t, Unknowable(control.PotSettings{Name: "right"}, []registers.Channel{mV}))
	assert.Len(t, Unknowable(left, []registers.Channel{mV, mV}), 1)
	assert.Len(t, Unknowable(left, []registers.Channel{mV, other}), 2)
	left.Probes = reading.MeltOnly
	all := Unknowable(left, []registers.Channel{mV})
	assert.Contains(t, all[0], "whether the melt scorches there")
	assert.Contains(t, all[len(all)-1], "cold junction of board")
}
