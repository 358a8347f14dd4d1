package commission

import (
	"bytes"
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"meltwarden/devices/simbench"
)

// wrongType runs a session in which the middle melt probe is of the wrong type.
func wrongType(t *testing.T, fault simbench.Fault, typed string, check func(r *rig, err error), before ...func(*rig)) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		for _, do := range before {
			do(r)
		}
		require.NoError(t, r.Inject(fault, meltOf(1)))
		check(r, r.commission(t.Context(), typed, false))
	})
}

// TestWrongTypesAreFound: with the terminals 5 °C above the room, which no session is
// told.
func TestWrongTypesAreFound(t *testing.T) {
	for fault, want := range map[simbench.Fault]string{
		simbench.TypeKOnJ: "a type K probe on an input set to type J",
		simbench.TypeJOnK: "a type J probe on an input set to type K",
	} {
		wrongType(t, fault, "60 C\ndry\n140 F\ndry\n60 C\ndry\n", func(r *rig, err error) {
			require.ErrorIs(t, err, ErrIncomplete)
			require.ErrorContains(t, err, "°C where a thermometer said 60.0 °C, as "+want+" does. If that is so of the water: ")
			d := r.record().dip("middle")
			require.Equal(t, Differs, d.Result)
			require.Equal(t, want, d.Fits)
			cleared, missing := r.record().Against(r.file)
			require.False(t, cleared.Holds())
			require.Len(t, missing, 1)
			t.Log(err)
		})
	}
}

// TestNoComparisonNoHeat: neither "none" nor an empty line is one, and a record without
// it clears nothing.
func TestNoComparisonNoHeat(t *testing.T) {
	wrongType(t, simbench.TypeKOnJ, "60 C\ndry\nnone\n\ndry\n", func(r *rig, err error) {
		require.ErrorContains(t, err, "nobody can answer any more")
		require.Contains(t, r.words(), "Not accepted: then take boiling water")
		require.Nil(t, r.record().dip("middle"))
	})
	b := benchFile(t, nil)
	r := complete(b)
	r.Melts[1].ThermometerC, r.Melts[1].ShownC = nil, nil
	cleared, missing := r.Against(b)
	require.False(t, cleared.Holds())
	require.Equal(t, []string{"melt probe middle: not compared with a thermometer or boiling water, so that a wrong thermocouple type is not excluded"}, missing)
	var out bytes.Buffer
	StatusOf(r, b).Tell(&out)
	require.Contains(t, out.String(), missing[0])
}

// TestThermometersAreAskedAgain where the answer is none.
func TestThermometersAreAskedAgain(t *testing.T) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		typed := "57\nhot\n140 C\n20 C\n42 C\n60 C.\ndry\n60 °C\nDry.\n140 F\ndry\n"
		require.NoError(t, r.commission(t.Context(), typed, false), r.said())
		for _, want := range []string{"unit missing", "does not begin with a number", "140 °C is no hot tap water", "20 °C is no hot tap water", "in water of 42 °C a wrong type would not show"} {
			require.Contains(t, r.words(), want)
		}
		require.Equal(t, 60.0, *r.record().dip("left").ThermometerC)
	})
}

// saidBy is a thermometer in the cup.
func saidBy(c float64) reference { return reference{celsius: c, within: thermometerC + classC} }

// table reads what a type gives in mV, from NIST Standard Reference Database 60: see
// the README beside it.
func table(t *testing.T) map[string]float64 {
	text, err := os.ReadFile("../../testdata/thermocouples/table.csv")
	require.NoError(t, err)
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	mV := map[string]float64{}
	for _, r := range rows[1:] {
		mV[r[0]+r[1]], err = strconv.ParseFloat(r[2], 64)
		require.NoError(t, err)
	}
	return mV
}

// between inverts the table by a straight line between two of its temperatures: less
// than 0.2 °C off for these types and steps.
func between(mV map[string]float64, letter string, low, high, v float64) float64 {
	at := func(c float64) float64 { return mV[letter+strconv.Itoa(int(c))] }
	return low + (high-low)*(v-at(low))/(at(high)-at(low))
}

// TestMixUpsAreTheTables: what a probe shows on the wrong input, with terminals at 25 °C,
// by the standard's own table.
func TestMixUpsAreTheTables(t *testing.T) {
	mV := table(t)
	kOnJ := between(mV, "J", 50, 75, mV["K75"]-mV["K25"]+mV["J25"])
	jOnK := between(mV, "K", 75, 100, mV["J75"]-mV["J25"]+mV["K25"])
	require.InDelta(t, kOnJ, mixUps[0].Shows(75, 25), 0.2)
	require.InDelta(t, jOnK, mixUps[1].Shows(75, 25), 0.2)
	t.Logf("at 75 °C, terminals at 25 °C: K on J shows %.1f, J on K %.1f", kOnJ, jOnK)
	for shown, want := range map[float64]string{
		kOnJ: "a type K probe on an input set to type J", jOnK: "a type J probe on an input set to type K",
		75: "", 75 + 3: "", 75 - 3: "",
	} {
		result, fits := suits(saidBy(75), shown, 25)
		require.Equal(t, want, fits, shown)
		require.Equal(t, want == "", result == Right, shown)
	}
	for _, shown := range []float64{75 - 30, 75 + 30} {
		result, fits := suits(saidBy(75), shown, 25)
		require.Equal(t, Differs, result)
		require.Empty(t, fits, "no mix-up fits")
	}
}

// TestWhatAccuracyIsEnough: in all water in which a comparison is accepted, with a
// thermometer that is right, no probe within class 2 (IEC 60584-1: 2.5 °C) is refused,
// and every one of the wrong type is. Beyond that, 2.75 °C are the limit of both.
func TestWhatAccuracyIsEnough(t *testing.T) {
	for cupTenths := 400; cupTenths <= 800; cupTenths++ {
		trueC := float64(cupTenths) / 10
		for _, terminalsC := range []float64{15, 22, 30} {
			said := strconv.FormatFloat(trueC, 'f', 1, 64) + " C"
			if _, err := cup(said, terminalsC); err != nil {
				continue
			}
			for _, off := range []float64{-2.74, -2.5, 0, 2.5, 2.74} {
				result, _ := suits(saidBy(trueC), trueC+off, terminalsC)
				require.Equal(t, Right, result, "%.1f with terminals at %.0f, off by %.1f", trueC, terminalsC, off)
				for _, m := range mixUps {
					result, _ := suits(saidBy(trueC), m.Shows(trueC, terminalsC)+off, terminalsC)
					require.Equal(t, Differs, result, "%v: %.1f with terminals at %.0f, off by %.1f", m, trueC, terminalsC, off)
				}
			}
		}
	}
}
