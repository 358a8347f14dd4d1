package circuit

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const relay, solid = 20 * time.Second, 2 * time.Second

// switched are heaters of some watts with a window.
func switched(window time.Duration, ratedW ...float64) []Heater {
	all := smooth(ratedW...)
	for i := range all {
		all[i].Output, all[i].Window = Switched, window
	}
	return all
}

func anyHeaters(t *rapid.T, mostW float64) []Heater {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Heater {
		return Heater{
			RatedW:   rapid.Float64Range(20, mostW).Draw(t, "ratedW"),
			Output:   rapid.SampledFrom([]Output{Smooth, Hidden, Switched}).Draw(t, "output"),
			Window:   time.Duration(rapid.Float64Range(1, 60).Draw(t, "window") * float64(time.Second)),
			LeastOn:  time.Duration(rapid.Float64Range(0, 10).Draw(t, "least on") * float64(time.Second)),
			LeastOff: time.Duration(rapid.SampledFrom([]float64{0, 0.5, 20}).Draw(t, "least off") * float64(time.Second)),
		}
	}), 1, 5).Draw(t, "heaters")
}

// user shares a circuit as the bench does, and adds up. Energies are in seconds of
// full power.
type user struct {
	heaters             []Heater
	share               *Share
	windows             *Windows
	duty, told, before  []float64
	askedS, meanS, getS []float64
}

func newUser(r Rating, heaters []Heater) *user {
	n := len(heaters)
	return &user{
		heaters: heaters, share: New(r, heaters), windows: NewWindows(heaters),
		duty: make([]float64, n), told: make([]float64, n), before: make([]float64, n),
		askedS: make([]float64, n), meanS: make([]float64, n), getS: make([]float64, n),
	}
}

func (u *user) tick(asked, need []float64, elapsed time.Duration) {
	for i := range u.duty {
		u.meanS[i] += u.duty[i] * elapsed.Seconds()
		u.getS[i] += u.told[i] * elapsed.Seconds()
	}
	copy(u.before, u.told)
	copy(u.duty, asked)
	u.share.Divide(u.duty, need, elapsed)
	u.windows.Tick(u.duty, u.told, u.share.RoomW(), elapsed)
	u.windows.Told(u.duty, u.told)
	u.share.Drawn(u.toldW())
	for i := range asked {
		u.askedS[i] += asked[i] * period.Seconds()
	}
}

// toldW is what the heaters are told.
func (u *user) toldW() float64 {
	watts := 0.0
	for i, h := range u.heaters {
		watts += u.told[i] * h.RatedW
	}
	return watts
}

// mostW is what they may draw at an instant: whole heaters all of their power, those
// too, where off is true, that are told off only now.
func (u *user) mostW(off bool) float64 {
	watts := 0.0
	for i, h := range u.heaters {
		switch {
		case h.Output == Smooth:
			watts += u.told[i] * h.RatedW
		case u.told[i] > 0 || off && u.before[i] > 0:
			watts += h.RatedW
		}
	}
	return watts
}

// TestBothRulesAlways: whatever is asked and needed, and however long ticks take, the
// breaker carries what may flow at any instant, one goes off a tick before another
// comes on that did not fit beside it, no minute's mean is above the share, nobody
// gets more than it asks for in the mean, and zero is zero at once.
func TestBothRulesAlways(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rating := Rating{MaxW: rapid.Float64Range(500, 4000).Draw(t, "maxW")}
		rating.ContinuousW = rating.MaxW * rapid.Float64Range(0.1, 1).Draw(t, "share")
		u := newUser(rating, anyHeaters(t, rating.MaxW))
		asked, need := make([]float64, len(u.heaters)), make([]float64, len(u.heaters))
		var m meter
		for range rapid.IntRange(1, 12).Draw(t, "stretches") {
			for i := range asked {
				asked[i] = rapid.SampledFrom([]float64{0, 1, rapid.Float64Range(0, 1).Draw(t, "duty")}).Draw(t, "asked")
				need[i] = rapid.Float64Range(0, 1e5).Draw(t, "need")
			}
			for range rapid.IntRange(1, 300).Draw(t, "ticks") {
				elapsed := time.Duration(rapid.SampledFrom([]int{200, 200, 190, 215, 0, 600}).Draw(t, "ms")) * time.Millisecond
				m.add(u.toldW(), elapsed) // what was told flows until the next decision
				u.tick(asked, need, elapsed)
				checkTick(t, u, asked, rating.MaxW)
			}
		}
		if w := m.worstMinuteW(); w > rating.ContinuousW*(1+1e-9) {
			t.Fatalf("a minute's mean of %v W over the continuous %v W", w, rating.ContinuousW)
		}
	})
}

func checkTick(t *rapid.T, u *user, asked []float64, maxW float64) {
	began := false
	for i, h := range u.heaters {
		switch told := u.told[i]; {
		case u.duty[i] > asked[i] || u.duty[i] < 0:
			t.Fatalf("heater %d asked %v and gets %v", i, asked[i], u.duty[i])
		case asked[i] == 0 && told != 0:
			t.Fatalf("heater %d asked zero and is told %v", i, told)
		case h.Output == Switched && told != 0 && told != 1, told < 0 || told > 1:
			t.Fatalf("heater %d is told %v", i, told)
		}
		began = began || h.Output != Smooth && u.told[i] > 0 && u.before[i] == 0
	}
	if w := u.mostW(began); w > maxW {
		t.Fatalf("%v W on a circuit of %v W", w, maxW)
	}
}

// TestWhatIsAskedIsGiven where the circuit does not bind: over an hour of duties that
// change, in the mean all of it, and at no instant is it away by more than a tenth of
// a window, and a tick.
func TestWhatIsAskedIsGiven(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		window := rapid.SampledFrom([]time.Duration{time.Second, solid, relay, time.Minute}).Draw(t, "window")
		u := newUser(Rating{MaxW: 1e6, ContinuousW: 1e6}, switched(window, 1000))
		for left := 3600 * 5; left > 0; {
			duty := rapid.Float64Range(0.001, 1).Draw(t, "duty")
			ticks := min(rapid.IntRange(1, 3000).Draw(t, "ticks"), left)
			for range ticks {
				u.tick([]float64{duty}, []float64{1}, period)
				if u.duty[0] != duty {
					t.Fatalf("asked %v, gets %v", duty, u.duty[0])
				}
				if off := math.Abs(u.meanS[0] - u.getS[0]); off > 0.1*window.Seconds()+period.Seconds() {
					t.Fatalf("%v s away from %v s", off, u.meanS[0])
				}
			}
			left -= ticks
		}
	})
}

// TestWindowsLast prints how long an on and an off take, and holds them against the
// window: at a duty that holds a pot about a window, and never less than a twentieth.
func TestWindowsLast(t *testing.T) {
	for _, window := range []time.Duration{solid, relay} {
		for _, duty := range []float64{0.01, 0.05, 0.1, 0.2, 0.5, 0.8, 0.99} {
			u := newUser(Rating{MaxW: 1e6, ContinuousW: 1e6}, switched(window, 1000))
			var runs [2][]int
			n := 0
			for range 3600 * 5 {
				u.tick([]float64{duty}, []float64{1}, period)
				if n++; u.told[0] != u.before[0] {
					runs[int(u.before[0])] = append(runs[int(u.before[0])], n)
					n = 0
				}
			}
			least := func(k int) time.Duration {
				low := math.MaxInt
				for _, r := range runs[k][min(2, len(runs[k])):] {
					low = min(low, r)
				}
				return time.Duration(low) * period
			}
			fmt.Printf("window %v, duty %.2f: %4d times an hour, on for at least %v, off %v\n", window, duty, len(runs[1]), least(1), least(0))
			assert.GreaterOrEqual(t, min(least(0), least(1)), window/20)
			assert.LessOrEqual(t, len(runs[1]), int(3.5*3600/window.Seconds())+1)
		}
	}
}

// TestLeastOnAndOff: no on and no off is shorter than what is said, whatever is asked as
// long as it is not zero, and the mean is what is said to be given.
func TestLeastOnAndOff(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		window := rapid.SampledFrom([]time.Duration{solid, relay, time.Minute}).Draw(t, "window")
		ms := func(label string) time.Duration {
			return time.Duration(rapid.Int64Range(200, window.Milliseconds()/2).Draw(t, label)) * time.Millisecond
		}
		heaters := switched(window, 1000)
		h := &heaters[0]
		h.LeastOn, h.LeastOff = ms("least on"), ms("least off")
		u := newUser(Rating{MaxW: 1e6, ContinuousW: 1e6}, heaters)
		lasted := time.Hour // off before the first on
		for range rapid.IntRange(1, 20).Draw(t, "stretches") {
			duty := rapid.Float64Range(0.001, 1).Draw(t, "duty")
			for range rapid.IntRange(1, 600).Draw(t, "ticks") {
				u.tick([]float64{duty}, []float64{1}, period)
				if u.told[0] != u.before[0] {
					if least := map[float64]time.Duration{1: h.LeastOn, 0: h.LeastOff}[u.before[0]]; lasted < least {
						t.Fatalf("told %v for %v, at least %v", u.before[0], lasted, least)
					}
					lasted = 0
				}
				lasted += period
				if off, most := math.Abs(u.meanS[0]-u.getS[0]), 0.1*window.Seconds()+max(h.LeastOn, h.LeastOff).Seconds()+2*period.Seconds(); off > most {
					t.Fatalf("%v s away from what was asked, at most %v", off, most)
				}
			}
		}
	})
}

// TestNobodyStarves: where not all fit, everybody has turns, in proportion to what
// Divide left it, and what the windows say it got in the mean is what it got.
func TestNobodyStarves(t *testing.T) {
	for _, c := range []struct {
		name    string
		maxW    float64
		heaters []Heater
	}{
		{"one at a time", 1800, switched(relay, 1000, 1000, 1000)},
		{"one at a time, solid", 1800, switched(solid, 1000, 1000, 1000)},
		{"two at a time", 2400, switched(relay, 1000, 1000, 800)},
		{"a large one beside small ones", 1800, switched(relay, 1500, 400, 400)},
		{"hidden ones", 1800, []Heater{{RatedW: 1000, Output: Hidden}, {RatedW: 1000, Output: Hidden}, {RatedW: 1000, Output: Hidden}}},
		{"of every kind", 1800, []Heater{{RatedW: 1000, Output: Hidden}, {RatedW: 1000, Output: Switched, Window: relay}, {RatedW: 1000, Output: Smooth}}},
	} {
		for _, asked := range [][]float64{{1, 1, 1}, {0.5, 0.5, 0.5}, {1, 0.3, 0.3}, {0.9, 0.1, 0.1}} {
			u := newUser(Rating{MaxW: c.maxW, ContinuousW: 0.8 * c.maxW}, c.heaters)
			longest, waits := 0.0, make([]float64, 3)
			for range 3600 * 5 {
				u.tick(asked, []float64{2e4, 1e4, 1e4}, period)
				for i := range waits {
					if waits[i] += period.Seconds(); u.told[i] > 0 {
						waits[i] = 0
					}
					longest = max(longest, waits[i])
				}
			}
			fmt.Printf("%-30s asked %v: got", c.name, asked)
			for i := range waits {
				fmt.Printf(" %.2f (said %.2f)", u.getS[i]/3600, u.meanS[i]/3600)
				assert.Greater(t, u.getS[i], u.askedS[i]/6, "%s %d", c.name, i)
				assert.InDelta(t, u.meanS[i], u.getS[i], 30, "%s %d", c.name, i)
			}
			fmt.Printf("; %.0f W of %.0f W, waited at most %.0f s\n", (u.getS[0]*c.heaters[0].RatedW+u.getS[1]*c.heaters[1].RatedW+u.getS[2]*c.heaters[2].RatedW)/3600, 0.8*c.maxW, longest)
			assert.LessOrEqual(t, longest, 90.0)
		}
	}
}

// TestNeedDecides who waits.
func TestNeedDecides(t *testing.T) {
	u := newUser(supply(15, 120), switched(relay, 1000, 1000, 1000))
	for range 3600 * 5 {
		u.tick([]float64{1, 1, 1}, []float64{3e4, 2e4, 1e4}, period)
	}
	for i, want := range []float64{3.0 / 6, 2.0 / 6, 1.0 / 6} {
		assert.InDelta(t, want, u.getS[i]/3600, 0.03)
	}
}

// TestAnOffCutsAWindowShort, and a rise begins one.
func TestAnOffCutsAWindowShort(t *testing.T) {
	u := newUser(Rating{MaxW: 1e4, ContinuousW: 1e4}, switched(relay, 1000))
	run := func(duty float64, ticks int) {
		for range ticks {
			u.tick([]float64{duty}, []float64{1}, period)
		}
	}
	run(1, 5)
	require.Equal(t, 1.0, u.told[0])
	run(0, 1)
	require.Zero(t, u.told[0])
	run(0.05, 20)
	run(1, 15)
	require.Equal(t, 1.0, u.told[0], "within 3 s")
}

// TestHiddenOnesAreToldFractions where all of them fit fully on, and take turns where
// they do not; one that was told off a moment ago may come back beside others.
func TestHiddenOnesAreToldFractions(t *testing.T) {
	hidden := []Heater{{RatedW: 1000, Output: Hidden}, {RatedW: 800, Output: Hidden}}
	u := newUser(Rating{MaxW: 1800, ContinuousW: 1800}, hidden)
	asked, need := []float64{0.3, 0.6}, []float64{1, 1}
	for _, second := range []float64{0.6, 0, 0.6} {
		asked[1] = second
		u.tick(asked, need, period)
		assert.Equal(t, asked, u.told)
	}
	u = newUser(Rating{MaxW: 1799, ContinuousW: 1799}, hidden)
	for range 100 {
		u.tick(asked, need, period)
		assert.Zero(t, u.told[0]*u.told[1])
	}
	assert.Greater(t, min(u.getS[0], u.getS[1]), 3.0)
}

// TestSmoothOnesMakeRoom for what is on, and have the rest.
func TestSmoothOnesMakeRoom(t *testing.T) {
	u := newUser(Rating{MaxW: 1800, ContinuousW: 1800}, []Heater{{RatedW: 1000, Output: Switched, Window: solid}, {RatedW: 1000, Output: Smooth}})
	for range 3600 {
		u.tick([]float64{0.5, 1}, []float64{1, 1}, period)
		want := 1.0
		if u.told[0]+u.before[0] > 0 {
			want = 0.8
		}
		require.InDelta(t, want, u.told[1], 1.0/steps)
		require.Equal(t, u.told[1], u.duty[1])
	}
	assert.InDelta(t, 360, u.getS[0], 1)
}

// TestWhatIsNoDutyIsOff: it is no wish for heat.
func TestWhatIsNoDutyIsOff(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 1.5} {
		w := NewWindows(switched(solid, 1000))
		duty, told := []float64{1}, []float64{0}
		for range 2 {
			w.Tick(duty, told, 2000, period)
			w.Told(duty, told)
		}
		require.Equal(t, 1.0, told[0])
		duty[0] = bad
		w.Tick(duty, told, 2000, period)
		assert.Zero(t, told[0])
		assert.Zero(t, duty[0])
	}
}

// TestManyHeatersCostLittle: what fits is found among all sums of forty-eight heaters
// without going through each choice of them.
func TestManyHeatersCostLittle(t *testing.T) {
	heaters := make([]Heater, 48)
	duty, need := make([]float64, len(heaters)), make([]float64, len(heaters))
	for i := range heaters {
		heaters[i] = Heater{RatedW: 501 + float64(i), Output: Switched, Window: 2 * time.Second}
		duty[i] = 1
	}
	s := New(Rating{MaxW: 1800, ContinuousW: 1800}, heaters)
	s.Divide(duty, need, period)
	sum := 0.0
	for i := range duty {
		sum += duty[i] * heaters[i].RatedW
	}
	assert.InDelta(t, 548+547+546, sum, 48*548.0/steps, "no four fit, and of three these are the most")
}
