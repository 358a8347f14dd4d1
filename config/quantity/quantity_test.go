package quantity_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config/quantity"
)

func TestTemperature(t *testing.T) {
	for typed, want := range map[string]float64{
		"165 C": 165, "165 °C": 165, "165C": 165, " 165.5 C ": 165.5, "-4 C": -4,
		// Fixed points of the Fahrenheit scale: ice 32 °F, steam 212 °F, and the
		// crossing of both scales at −40 (NIST SP 811, appendix B.8).
		"32 F": 0, "212 °F": 100, "-40F": -40,
		// A sterilisation reference quoted in both scales: 250 °F is 121.11 °C.
		"250 F": 121.11,
	} {
		got, err := quantity.Temperature(typed)
		require.NoError(t, err, typed)
		assert.InDelta(t, want, got, 0.005, typed)
	}
}

// A band typed in Fahrenheit is a difference: 9 F of it are 5 K, not −12.8 °C
// (NIST SP 811, appendix B.8).
func TestDifferenceHasNoZeroPoint(t *testing.T) {
	for typed, want := range map[string]float64{"2 C": 2, "9 F": 5, "4 F": 2.2222, "-1.8 °F": -1, "0 F": 0} {
		got, err := quantity.Difference(typed)
		require.NoError(t, err, typed)
		assert.InDelta(t, want, got, 0.0001, typed)
	}
}

func TestOtherQuantities(t *testing.T) {
	power, err := quantity.Power("1.2 kW")
	require.NoError(t, err)
	assert.InDelta(t, 1200, power, 1e-9)
	volts, err := quantity.Voltage("120V")
	require.NoError(t, err)
	assert.InDelta(t, 120, volts, 0)
	amperes, err := quantity.Current("15 A")
	require.NoError(t, err)
	assert.InDelta(t, 15, amperes, 0)
	height, err := quantity.Height("1000 ft")
	require.NoError(t, err)
	assert.InDelta(t, 304.8, height, 1e-9)
	for typed, want := range map[string]float64{"985 hPa": 98.5, "1013.25 mbar": 101.325, "95 kPa": 95} {
		kPa, err := quantity.Pressure(typed)
		require.NoError(t, err)
		assert.InDelta(t, want, kPa, 1e-9)
	}
	for typed, want := range map[string]float64{"150 kJ/mol": 150, "117500 J/mol": 117.5, "25 kcal/mol": 104.6} {
		kJ, err := quantity.MolarEnergy(typed)
		require.NoError(t, err)
		assert.InDelta(t, want, kJ, 1e-9)
	}
	for typed, want := range map[string]time.Duration{
		"90 s": 90 * time.Second, "2 min": 2 * time.Minute, "1.5 h": 90 * time.Minute, "250 ms": 250 * time.Millisecond,
	} {
		got, err := quantity.Duration(typed)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	for _, typed := range []string{"80 %", "80%", "0.8"} {
		got, err := quantity.Fraction(typed)
		require.NoError(t, err)
		assert.InDelta(t, 0.8, got, 1e-12)
	}
}

func TestFaultsNameTheFix(t *testing.T) {
	power := func(typed string) error { _, err := quantity.Power(typed); return err }
	temperature := func(typed string) error { _, err := quantity.Temperature(typed); return err }
	duration := func(typed string) error { _, err := quantity.Duration(typed); return err }
	fraction := func(typed string) error { _, err := quantity.Fraction(typed); return err }
	volume := func(typed string) error { _, err := quantity.ParseVolume(typed); return err }
	for _, c := range []struct {
		parse       func(string) error
		typed, want string
	}{
		{power, "1000", `unit missing; write "1000 W"`},
		{power, "1 KW", `unit "KW" unknown; write "1 kW"`},
		{power, "1,000 W", "comma in the number; write a decimal point, and no mark between thousands"},
		{power, "W", "does not begin with a number; write digits, a point where needed, then the unit"},
		{power, "", "does not begin with a number; write digits, a point where needed, then the unit"},
		{power, "Inf W", "does not begin with a number; write digits, a point where needed, then the unit"},
		{power, "0x10 W", `unit "x10 W" unknown; write "0 W" or "0 kW"`},
		{temperature, "330", `unit missing; write "330 C" or "330 F", whichever it is`},
		{temperature, "440 K", `unit "K" unknown; write "440 C" or "440 F"`},
		{duration, "90", `unit missing; write "90 s"`},
		{duration, "99999999999 h", `far too long; write a time such as "90 s"`},
		{fraction, "80", `more than the whole; write "80 %" if a percentage is meant`},
		{fraction, "-1 %", "not a share of a whole; write 0 % to 100 %"},
		{volume, "1 cup", `cups differ; write "1 US cup" (236.6 mL) or "1 metric cup" (250 mL)`},
		{volume, "1/2 US cup", "written as a fraction; write it with a decimal point: 0.5 for 1/2"},
	} {
		assert.EqualError(t, c.parse(c.typed), c.want, c.typed)
	}
}

func TestOtherScale(t *testing.T) {
	typed, c, err := quantity.OtherScale("325 C")
	require.NoError(t, err)
	assert.Equal(t, "325 F", typed)
	assert.InDelta(t, 162.78, c, 0.005) // hand calculation: (325 − 32) / 1.8
	_, _, err = quantity.OtherScale("325")
	assert.Error(t, err)
}

// The table follows from 231 cubic inches to the US gallon, except for the
// metric cup; it names the source of each row.
func TestVolumesMatchThePublishedMeasures(t *testing.T) {
	published := map[string]float64{}
	f, err := os.Open("../../testdata/measures/measures.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, row := range rows {
		if v, err := strconv.ParseFloat(row[1], 64); err == nil {
			published[row[0]] = v
		}
	}
	for typed, measure := range map[string]string{
		"1 US cup": "US cup", "1 metric cup": "metric cup",
		"1 fl oz (US)": "US fluid ounce", "16 US cups": "US gallon", "128 US fl oz": "US gallon",
	} {
		require.Contains(t, published, measure)
		v, err := quantity.ParseVolume(typed)
		require.NoError(t, err, typed)
		assert.InDelta(t, published[measure], v.ML, 1e-9, typed)
		assert.Equal(t, typed, v.Typed)
	}
	v, err := quantity.ParseVolume("0.25 L")
	require.NoError(t, err)
	assert.InDelta(t, 250, v.ML, 1e-9)
}

// A drop has no fixed volume, so amounts stay as they were typed.
func TestAmountStaysAsTyped(t *testing.T) {
	for _, typed := range []string{"12 drops", "1 drop", "0.5 g", "3mL", "2 pinches"} {
		got, err := quantity.Amount(typed)
		require.NoError(t, err)
		assert.Equal(t, typed, got)
	}
	_, err := quantity.Amount("12")
	assert.EqualError(t, err, `unit missing; write "12 drops"`)
}

func TestAdditiveStaysAsTyped(t *testing.T) {
	for _, text := range []string{"10 %", "12.5%", "25 mL", "1 fl oz (US)", "0.5 US cup", "20 g", "9 drops"} {
		got, err := quantity.Additive(" " + text)
		require.NoError(t, err, text)
		assert.Equal(t, text, got)
	}
	for text, want := range map[string]string{
		"10":    `unit missing; write "10 %"`,
		"100 %": "hard to believe; check number and unit: above 0, and a share below 100 %",
		"0 mL":  "hard to believe; check number and unit: above 0, and a share below 100 %",
		"some":  "does not begin with a number; write digits, a point where needed, then the unit",
	} {
		_, err := quantity.Additive(text)
		assert.EqualError(t, err, want, text)
	}
}

func TestWhatIsWrittenReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e12, 1e12).Draw(t, "value")
		c, err := quantity.Temperature(quantity.FormatTemperature(v))
		require.NoError(t, err)
		require.InDelta(t, v, c, 0.0502)
		w, err := quantity.Power(quantity.FormatPower(v))
		require.NoError(t, err)
		require.InDelta(t, v, w, 0.0502)
		d := time.Duration(rapid.Int64Range(-1e17, 1e17).Draw(t, "duration"))
		got, err := quantity.Duration(quantity.FormatDuration(d))
		require.NoError(t, err)
		require.InDelta(t, float64(d), float64(got), float64(time.Millisecond))
	})
}

func FuzzParsers(f *testing.F) {
	for _, seed := range []string{"165 C", "330°F", "1,5 kW", "-.5 %", "1e999 W", "½ US cup", "9999999999999999999 h", "\x00", "+"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		for _, parse := range []func(string) (float64, error){
			quantity.Temperature, quantity.Difference, quantity.Power, quantity.Voltage, quantity.Current, quantity.Fraction,
		} {
			v, err := parse(typed)
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%q gives %v, %v", typed, v, err)
			}
		}
		_, _ = quantity.Duration(typed)
		_, _ = quantity.ParseVolume(typed)
		_, _ = quantity.Amount(typed)
		_, _, _ = quantity.OtherScale(typed)
	})
}

func TestDaysAreDays(t *testing.T) {
	for typed, want := range map[string]time.Duration{"365 days": 8760 * time.Hour, "1 day": 24 * time.Hour, "30d": 720 * time.Hour, "0.5 days": 12 * time.Hour} {
		got, err := quantity.Days(typed)
		require.NoError(t, err, typed)
		assert.Equal(t, want, got, typed)
	}
	for typed, want := range map[string]string{
		"365": `unit missing; write "365 days"`, "12 h": `unit "h" unknown; write "12 days"`, "1e9 days": "unknown", "99999999 days": "far too long",
	} {
		_, err := quantity.Days(typed)
		assert.ErrorContains(t, err, want, typed)
	}
	assert.Equal(t, "365 days", quantity.FormatDays(8760*time.Hour))
}
