package commission

import (
	"testing"

	"github.com/stretchr/testify/require"

	"meltwarden/devices/simbench"
)

// inThePan is a cup that boils for the middle probe, 250 m above the sea: 99.14 °C.
func inThePan(r *rig) {
	r.dip = func(pot int) { r.DipMelt(pot, map[bool]float64{true: 99.14, false: cupC}[pot == 1]) }
}

// TestBoilingWaterIsAThermometer, for those who have none.
func TestBoilingWaterIsAThermometer(t *testing.T) {
	const typed = "60 C\ndry\nboiling at 250 m\ndry\n60 C\ndry\n"
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		inThePan(r)
		require.NoError(t, r.commission(t.Context(), typed, false), r.said())
		d := r.record().dip("middle")
		require.Equal(t, "boiling at 250 m", d.Boiling)
		require.InDelta(t, 99.1, *d.ThermometerC, 0.05)
		require.Regexp(t, `melt probe middle is on its own channel and no other, shows \d+\.\d °C where water boils at 99\.1 °C \(boiling at 250 m\)`, r.words())
	})
	for fault, want := range map[simbench.Fault]string{simbench.TypeKOnJ: "a type K probe on an input set to type J", simbench.TypeJOnK: "a type J probe on an input set to type K"} {
		wrongType(t, fault, typed, func(r *rig, err error) {
			require.ErrorContains(t, err, "°C where water boils at 99.1 °C (boiling at 250 m), as "+want+" does")
			require.Equal(t, Differs, r.record().dip("middle").Result)
		}, inThePan)
	}
}

// TestABoilingCupIsNoTapWater: what is typed must be so of the water that the tip is in.
func TestABoilingCupIsNoTapWater(t *testing.T) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		require.NoError(t, r.commission(t.Context(), "boiling at 250 m\n60 C\ndry\n60 C\ndry\n60 C\ndry\n", false), r.said())
		require.Contains(t, r.words(), "which is no boiling water")
	})
}
