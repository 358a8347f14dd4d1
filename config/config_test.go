package config_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/injector"
	"meltwarden/devices/ports"
	"meltwarden/devices/registers"
)

func TestEveryKeyOfABench(t *testing.T) {
	b, err := config.LoadBench(fixtures+"/bench-every-key.good.yaml", nil)
	require.NoError(t, err)
	assert.Equal(t, "every key", b.Name)
	assert.Equal(t, circuit.Rating{MaxW: 3680, ContinuousW: 2760}, b.Supply) // 230 V × 16 A, and three quarters
	assert.InDelta(t, 185, b.Ceiling.MeltTripC, 0)
	assert.InDelta(t, 220, b.Ceiling.PlateLimitC, 1e-9)   // 428 °F
	assert.InDelta(t, 232.22, b.Ceiling.PlateTripC, 0.01) // 450 °F
	assert.InDelta(t, 125.52, b.DoseKJ, 1e-9)             // 30 kcal/mol
	require.Len(t, b.Pots, 2)
	assert.Equal(t, circuit.Smooth, b.Pots[0].Output)
	assert.Equal(t, circuit.Switched, b.Pots[1].Output)
	assert.Equal(t, 15*time.Second, b.Pots[1].Window)
	assert.Equal(t, 2*time.Second, b.Pots[1].LeastOn)
	assert.Equal(t, 1500*time.Millisecond, b.Pots[1].LeastOff)
	assert.Equal(t, config.Relay{Life: 100000, Used: 2500, Fitted: "2026-03-14"}, b.Pots[1].Relay)
	assert.InDelta(t, 1200, b.Pots[0].HeaterW, 1e-9)
	assert.InDelta(t, 210, b.Pots[0].PlateLimitC, 1e-9) // 410 °F
	assert.InDelta(t, 100, b.Pots[0].LeastFillML, 1e-9)
	assert.InDelta(t, 2*236.5882365, b.Pots[0].MostFillML, 1e-9) // a US gallon's sixteenth, twice (testdata/measures)
	assert.Zero(t, b.Pots[1].LeastFillML+b.Pots[1].MostFillML, "not recorded")
	assert.Equal(t, []config.Line{
		{Name: "b", Port: "invented-port", Baud: 9600, Parity: config.NoParity, StopBits: 1},
		{Name: "c", Baud: 19200, Parity: config.Even, StopBits: 1, Adapter: ports.Wanted{Vendor: "0ff1", Product: "1e10", Serial: "A1", Socket: "0000:00:14.0/1.4", Interface: "if01-port0"}},
	}, b.Lines)
	assert.Equal(t, []config.Device{
		{Name: "amplifier", Line: "b", Unit: 247, Timeout: 250 * time.Millisecond, MaxGap: 4},
		{Name: "relays", Line: "b", Unit: 2, Timeout: 120 * time.Millisecond},
	}, b.Devices)
	assert.InDelta(t, 0.0254, b.Injector.BoreM, 1e-12)
	assert.InDelta(t, 60, b.Injector.PreheatC, 1e-9) // 140 °F
	assert.InDelta(t, 145, b.Injector.LowestC, 0)
	require.Len(t, b.Channels, 13)
	melt := b.Channels[0]
	assert.InDelta(t, -1.5, melt.CorrectionC, 1e-9) // −2.7 °F as a difference
	melt.CorrectionC = 0
	assert.Equal(t, registers.Channel{
		Role: registers.Melt, Pot: "one", Device: "amplifier", Function: 3, Address: 16, Type: registers.Float32,
		Words: registers.LowFirst, Bytes: registers.LowFirst, Scale: 1, Offset: -0.5, Unit: registers.Millivolt,
		Sentinels: []float64{-1, 32768}, Thermocouple: "K",
		Status: &registers.Status{Function: 3, Address: 40, Open: 1, Shorted: 6, Fault: 16},
	}, melt)
	assert.True(t, b.Channels[7].Invert)
	assert.Equal(t, uint16(0x0100), b.Channels[11].Mask)
	assert.True(t, b.Channels[7].MarksShot)
}

// TestAHeaterCountsAsFullyOn where nobody says how its device gives a fraction, and one
// that is a bit is switched.
func TestAHeaterCountsAsFullyOn(t *testing.T) {
	b, err := config.LoadBench(fixtures+"/bench-small.good.yaml", nil)
	require.NoError(t, err)
	assert.Equal(t, circuit.Switched, b.Pots[0].Output)
	assert.Equal(t, 2*time.Second, b.Pots[0].Window)
	worn, err := config.ParseBench("bench.yaml", []byte(strings.Replace(string(b.Typed), "power: 1000 W", "power: 1000 W\n      relay: {life: 100000}", 1)), nil)
	require.NoError(t, err)
	assert.Equal(t, 20*time.Second, worn.Pots[0].Window, "of a relay that wears")
	assert.Equal(t, 10*time.Second, worn.Pots[0].LeastOff)
	text := strings.NewReplacer("function: 5", "function: 6", "type: bit", "type: uint16\n    scale: 0.1\n    unit: percent").Replace(string(b.Typed))
	b, err = config.ParseBench("bench.yaml", []byte(text), nil)
	require.NoError(t, err)
	assert.Equal(t, circuit.Hidden, b.Pots[0].Output)
	assert.Zero(t, b.Pots[0].Window)
}

func TestEveryKeyOfARecipe(t *testing.T) {
	r, err := config.LoadRecipe(fixtures + "/recipe-every-key.good.yaml")
	require.NoError(t, err)
	assert.Equal(t, time.Minute, r.SteadyFor)
	assert.Equal(t, 90*time.Second, r.StirWithin)
	assert.InDelta(t, 185, r.Limits.MeltTripC, 1e-9) // 365 °F
	assert.Equal(t, 45*time.Minute, r.Limits.HeldLong)
	c := r.Colours[0]
	assert.Equal(t, "0012", c.Lot, "a lot keeps its zeros")
	assert.InDelta(t, 236.588, c.Volume.ML, 0.001) // a US cup is 8 fluid ounces
	assert.Equal(t, "8 fl oz (US)", c.Volume.Typed)
	assert.Equal(t, []config.Colourant{{"green", "12 drops"}, {"brown", "0.5 g"}, {"ochre", "1 pinch"}}, c.Colourants)
	assert.InDelta(t, 2.222, c.BandC, 0.001) // 4 °F as a difference
	assert.InDelta(t, 171, c.CureC, 0)
	assert.Equal(t, 2*time.Minute, c.Dwell)
}

func TestDemoSettings(t *testing.T) {
	s, err := config.Settings(demoBench(t), config.DemoRecipe())
	require.NoError(t, err)
	pot := func(name, colour string, watts, ml, setpoint float64) control.PotSettings {
		return control.PotSettings{
			Name: name, Colour: colour, HeaterW: watts, VolumeML: ml, SetpointC: setpoint, BandC: 2, CureC: 172,
			Dwell: 90 * time.Second, SteadyFor: 20 * time.Second, StirWithin: 2 * time.Minute, PlateLimitC: 230,
		}
	}
	assert.Equal(t, control.Settings{
		Period:  200 * time.Millisecond,
		Pots:    []control.PotSettings{pot("left", "slate", 1000, 260, 168), pot("middle", "ivory", 1000, 220, 171), pot("right", "rust", 800, 180, 165)},
		Circuit: circuit.Rating{MaxW: 2400, ContinuousW: 1920}, // NEC 210.20(A): 80 % of 120 V × 20 A for hours
		Limits:  guard.Limits{MeltWarnC: 177, MeltTripC: 190, PlateTripC: 250, EStop: true, CutOut: true, Fan: true},

		Injector: injector.Injector{BoreM: 0.025, PreheatC: 80}, PedalMarksShot: true,
	}, s)
	assert.Greater(t, s.Pots[0].HeaterW+s.Pots[1].HeaterW+s.Pots[2].HeaterW, s.Circuit.MaxW, "the demo shows the sharing of power")
}

func TestPotsComeInTheOrderOfTheBench(t *testing.T) {
	r := config.DemoRecipe()
	version := r.Fingerprint()
	r.Colours[0], r.Colours[2] = r.Colours[2], r.Colours[0]
	s, err := config.Settings(demoBench(t), r)
	require.NoError(t, err)
	assert.Equal(t, "slate", s.Pots[0].Colour)
	assert.Equal(t, version, r.Fingerprint(), "the order of colours is not content")
}

func TestARecipeLowersLimits(t *testing.T) {
	r := config.DemoRecipe()
	r.Limits = config.RecipeLimits{MeltTripC: 185, PlateLimitC: 215}
	s, err := config.Settings(demoBench(t), r)
	require.NoError(t, err)
	assert.InDelta(t, 185, s.Limits.MeltTripC, 0)
	for _, p := range s.Pots {
		assert.InDelta(t, 215, p.PlateLimitC, 0)
	}
}

func TestInterlocksAreThoseThatAreWired(t *testing.T) {
	b, err := config.LoadBench(fixtures+"/bench-every-key.good.yaml", nil)
	require.NoError(t, err)
	r, err := config.LoadRecipe(fixtures + "/recipe-small.good.yaml")
	require.NoError(t, err)
	r.Colours[0].Pot, b.Pots = "one", b.Pots[:1]
	s, err := config.Settings(b, r)
	require.NoError(t, err)
	assert.True(t, s.Limits.CutOut)
	assert.False(t, s.Limits.EStop || s.Limits.Fan)
}

// The fingerprint of the demo as another program makes it: Python 3's hashlib
// over the JSON written by its json module from a second reading of the file.
func TestFingerprintAsMadeElsewhere(t *testing.T) {
	assert.Equal(t, "5facb4ce7321", config.DemoRecipe().Fingerprint())
}

// What every recipe of the first layout was called: these versions stand in histories.
// All were printed by the program that knew no softener, swatch or pour.
func TestFirstRecipesKeepTheirFingerprint(t *testing.T) {
	for file, want := range map[string]string{
		"recipe-first-layout": "2774bfee7d3b", "recipe-small": "faba46a48e58",
		"promote-lines": "28998aaa15b1", "promote-braces": "91b848da6280",
	} {
		r, err := config.LoadRecipe(fixtures + "/" + file + ".good.yaml")
		require.NoError(t, err)
		assert.Equal(t, want, r.Fingerprint(), file)
	}
}

func TestWhatIsAimedAtInAColourAndThePush(t *testing.T) {
	r := everyKey(t)
	assert.Equal(t, config.Pour{DrawWithin: 20 * time.Second, MouldAtLeastC: 30, MouldAtMostC: 45, HeldAtMost: 40 * time.Minute}, r.Pour)
	c := r.Colours[0]
	assert.Equal(t, []string{"1", "10 %", "1 fl oz (US)", "1 pinch", ".015 hex", "#5a7d3c"},
		[]string{c.Order, c.Softener, c.Hardener, c.Flake, c.FlakeCut, c.Swatch})
	assert.Equal(t, []float64{0.4, 0.6}, []float64{c.FlakeMM, c.Opacity})
}

func TestFingerprintIsOfTheContent(t *testing.T) {
	text, err := os.ReadFile("demo/recipe.yaml")
	require.NoError(t, err)
	fingerprint := func(old, new string) string {
		require.Contains(t, string(text), old)
		r, err := config.ParseRecipe("recipe.yaml", []byte(strings.Replace(string(text), old, new, 1)))
		require.NoError(t, err)
		return r.Fingerprint()
	}
	same := config.DemoRecipe().Fingerprint()
	assert.Equal(t, same, fingerprint("# Demo", "# Another"), "comments")
	assert.Equal(t, same, fingerprint("    band: 2 C\n", ""), "a default left out")
	assert.Equal(t, same, fingerprint("168 C", "168°C"), "spelling of a unit")
	assert.Equal(t, same, fingerprint("    lot: demo lot 1\n    hardness: soft\n", "    hardness: soft\n    lot: demo lot 1\n"), "order of keys")
	for _, change := range [][2]string{
		{"slate eel", "slate worm"}, {"168 C", "168.1 C"}, {"260 mL", "261 mL"}, {"18 drops", "19 drops"},
		{"demo lot 2", "demo lot 3"}, {"dwell: 90 s", "dwell: 91 s"}, {"20 s", "21 s"},
		{"0.2 mm", "0.3 mm"}, {"4f5d68", "4f5d69"}, {"90 %", "91 %"}, {"30 s", "31 s"}, {"back", "side"}, {"15 g", "16 g"},
	} {
		assert.NotEqual(t, same, fingerprint(change[0], change[1]), change)
	}
}

func TestFilesThatCanNotBeRead(t *testing.T) {
	folder := t.TempDir()
	missing := filepath.Join(folder, "none.yaml")
	_, err := config.LoadBench(missing, nil)
	require.EqualError(t, err, missing+": no such file; check the name, or start from the demo's file")
	_, err = config.LoadRecipe(folder)
	require.EqualError(t, err, folder+": can not be read: is a directory; check name, folder and permissions")
}

func FuzzFiles(f *testing.F) {
	for _, file := range []string{"demo/bench.yaml", "demo/recipe.yaml"} {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(text)
	}
	files, err := filepath.Glob(fixtures + "/*.yaml")
	require.NoError(f, err)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if _, err := config.ParseBench("bench.yaml", text, nil); err != nil {
			require.NotEmpty(t, err.Error())
		}
		if r, err := config.ParseRecipe("recipe.yaml", text); err == nil {
			require.Len(t, r.Fingerprint(), 12)
			_, _ = config.Settings(demoBench(t), r)
		}
	})
}
