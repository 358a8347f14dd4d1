package loop_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/cascade"
	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
	"meltwarden/control/loop"
	"meltwarden/control/model"
	"meltwarden/control/pid"
)

// spend lets a loop heat and hold a pot, to which events then happen.
func spend(s *zoo.Spec, left *loop.Known, seed uint64, events ...zoo.Event) rig.Loop {
	plant := zoo.New(s, zoo.Start{})
	l := judge.Recalling(left)(rig.KnownOf(s))
	rig.Run(&plant, l, rig.Usual(), rand.New(rand.NewPCG(seed, 1)), []rig.Phase{
		{TargetC: judge.CureC, ForS: 1500}, {TargetC: judge.CureC, ForS: 300, Events: events},
	})
	return l
}

// quarter is a pot that fits the model.
func quarter() *zoo.Spec { return &zoo.Named()[2] }

// TestNothingIsKeptTooSoon: a pot that was not held, or not understood, leaves nothing.
func TestNothingIsKeptTooSoon(t *testing.T) {
	_, is := newLoop().Known()
	assert.False(t, is)
	_, is = warmed(t).Known()
	assert.False(t, is, "never held")
	_, is = judge.Left(spend(quarter(), nil, 1))
	assert.True(t, is)
}

// TestADrawnPotIsNotWhatWasTyped: what was found before counts, and what it has become
// does not.
func TestADrawnPotIsNotWhatWasTyped(t *testing.T) {
	draw := []zoo.Event{{Kind: zoo.Draw, Amount: 120, Told: true}}
	before, is := judge.Left(spend(quarter(), nil, 1))
	require.True(t, is)
	drawn, is := judge.Left(spend(quarter(), nil, 1, draw...))
	require.True(t, is)
	assert.InEpsilon(t, before.Model.MeltJPerK.Value, drawn.Model.MeltJPerK.Value, 0.05)
}

// TestRecallsOnlyItsOwn: another heater or limit drops what was known.
func TestRecallsOnlyItsOwn(t *testing.T) {
	k, is := judge.Left(spend(quarter(), nil, 1))
	require.True(t, is)
	p := loop.Pot{HeaterW: 1000, MeltJPerK: 520, PlateLimitC: 230}
	assert.True(t, loop.New(p, &k).Recalled())
	assert.False(t, loop.New(p, nil).Recalled())
	for _, other := range []loop.Pot{
		{HeaterW: 1100, MeltJPerK: 520, PlateLimitC: 230}, {HeaterW: 1000, MeltJPerK: 520, PlateLimitC: 225},
	} {
		assert.False(t, loop.New(other, &k).Recalled(), "%v", other)
	}
}

// TestATuningIsKept of a pot of which nothing else is, and goes by the heater and the
// plate's limit as everything does.
func TestATuningIsKept(t *testing.T) {
	found := pid.Gains{Kp: 0.04, Ti: 70, Weight: 1}
	p := loop.Pot{HeaterW: 1000, MeltJPerK: 520, PlateLimitC: 230}
	k := loop.Known{PlateLimitC: 230, Model: model.Known{Pot: model.Pot{HeaterW: 1000, MeltJPerK: 520}}}
	k.Tuning = &cascade.Tuning{Plate: found, Melt: found, MeltUltimate: 9}
	l := loop.New(p, &k)
	assert.False(t, l.Recalled())
	back, worth := l.Known()
	assert.True(t, worth)
	assert.Equal(t, k, back)
	for _, other := range []loop.Pot{
		{HeaterW: 1100, MeltJPerK: 520, PlateLimitC: 230}, {HeaterW: 1000, MeltJPerK: 520, PlateLimitC: 225},
	} {
		assert.Nil(t, loop.New(other, &k).Tuning(), "%v", other)
	}
	k.Tuning.Melt.Kp = 4.6
	assert.Nil(t, loop.New(p, &k).Tuning(), "no margin")
	k.Tuning.Melt.Kp = 0
	assert.Nil(t, loop.New(p, &k).Tuning(), "no gain")
}

// TestForgetsWhatIsNotSo: another plate, or another vessel, under the same name is found
// out within some minutes; the same pot is not.
func TestForgetsWhatIsNotSo(t *testing.T) {
	k, is := judge.Left(spend(quarter(), nil, 1))
	require.True(t, is)
	for name, change := range map[string]func(*zoo.Spec){
		"a thin plate":    func(s *zoo.Spec) { s.PlateJKW, s.ElementJKW = 0.18, 0.06 },
		"a heavier plate": func(s *zoo.Spec) { s.PlateJKW = 0.8 },
		"a glass cup":     func(s *zoo.Spec) { s.VesselJKM2, s.ContactWKM2 = 5000, 230 },
		"twice the melt":  func(s *zoo.Spec) { s.VolumeML, s.TypedShare = 2*s.VolumeML, s.TypedShare/2 },
	} {
		found := 0
		for seed := range uint64(5) {
			s := quarter()
			change(s)
			if !judge.Recalled(spend(s, &k, seed+2)) {
				found++
			}
		}
		assert.Equal(t, 5, found, "%s, of 5 evenings", name)
	}
	for seed := range uint64(5) {
		assert.True(t, judge.Recalled(spend(quarter(), &k, seed+2)))
	}
}

// TestKnownSurvivesItsStore: through JSON and back it makes the same duties, to the bit.
func TestKnownSurvivesItsStore(t *testing.T) {
	k, is := judge.Left(spend(quarter(), nil, 1))
	require.True(t, is)
	text, err := json.Marshal(control.Settings{Pots: []control.PotSettings{{Known: &k}}})
	require.NoError(t, err)
	var back control.Settings
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, k, *back.Pots[0].Known)
	text, err = json.Marshal(control.PotSettings{})
	require.NoError(t, err)
	assert.NotContains(t, string(text), "Known", "settings without it stay what they were")
}
