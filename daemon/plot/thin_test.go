package plot

import (
	"image/color"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func melt(p *Point) float64 { return p.MeltC }

// TestPeaksSurviveThinning: in every pixel column the lowest and the highest
// value are what was recorded there, and there are at most two.
func TestPeaksSurviveThinning(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const columns = 20
		points := make([]Point, rapid.IntRange(1, 400).Draw(t, "count"))
		for i := range points {
			points[i] = Point{At: time.Duration(i) * time.Second, MeltC: rapid.Float64Range(0, 300).Draw(t, "melt")}
			if rapid.IntRange(0, 9).Draw(t, "lost") == 0 {
				points[i].MeltC = math.NaN()
			}
		}
		w := window{0, time.Duration(len(points)) * time.Second}
		want, got := spans(points, w, columns), map[int][]float64{}
		for _, stretch := range thin(points, melt, w, columns) {
			for i, s := range stretch {
				require.True(t, i == 0 || stretch[i-1].at < s.at, "in order of time")
				column := int(w.share(s.at) * columns)
				got[column] = append(got[column], s.v)
			}
		}
		require.Len(t, got, len(want))
		for column, values := range got {
			require.LessOrEqual(t, len(values), 2)
			require.Equal(t, want[column][0], min(values[0], values[len(values)-1]))
			require.Equal(t, want[column][1], max(values[0], values[len(values)-1]))
		}
	})
}

// spans are the lowest and the highest value of each column that has one.
func spans(points []Point, w window, columns int) map[int][2]float64 {
	out := map[int][2]float64{}
	for _, p := range points {
		if math.IsNaN(p.MeltC) {
			continue
		}
		column := int(w.share(p.At) * float64(columns))
		span, ok := out[column]
		if !ok {
			span = [2]float64{p.MeltC, p.MeltC}
		}
		out[column] = [2]float64{min(span[0], p.MeltC), max(span[1], p.MeltC)}
	}
	return out
}

// TestGapsStayGaps: no stretch crosses into the columns of what was not
// recorded, whether the points say so or are missing.
func TestGapsStayGaps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const count = 3600
		from := rapid.IntRange(1, count-60).Draw(t, "from")
		to := rapid.IntRange(from+10, min(count-1, from+1800)).Draw(t, "to")
		missing := rapid.Bool().Draw(t, "missing")
		columns := rapid.IntRange(5, 900).Draw(t, "columns")
		var points []Point
		for i := range count {
			p := Point{At: time.Duration(i) * time.Second, MeltC: 168}
			if i >= from && i < to {
				if p.MeltC = math.NaN(); missing {
					continue
				}
			}
			points = append(points, p)
		}
		stretches := thin(points, melt, window{0, count * time.Second}, columns)
		gap, column := time.Duration(to-from)*time.Second, count*time.Second/time.Duration(columns)
		if gap < 2*column {
			require.LessOrEqual(t, len(stretches), 2) // a column may hold both sides
			return
		}
		require.Len(t, stretches, 2)
		require.Less(t, stretches[0][len(stretches[0])-1].at, time.Duration(from)*time.Second)
		require.GreaterOrEqual(t, stretches[1][0].at, time.Duration(to)*time.Second)
	})
}

func TestAShortGapIsSeen(t *testing.T) {
	var points []Point
	for i := range 1000 {
		points = append(points, Point{At: time.Duration(i) * time.Second, MeltC: 168})
	}
	points[505].MeltC = math.NaN()
	assert.Len(t, thin(points, melt, window{0, 1000 * time.Second}, 100), 2)
}

func TestPointsThinnedBeforeAreNoGaps(t *testing.T) {
	var points []Point
	for i := range 100 {
		start := time.Duration(i) * time.Minute
		points = append(points, Point{At: start, MeltC: 100}, Point{At: start + 200*time.Millisecond, MeltC: 101})
	}
	assert.Len(t, thin(points, melt, window{0, 100 * time.Minute}, 50), 1)
}

func TestALineReachesTheEdgesOfAZoom(t *testing.T) {
	points := []Point{{At: 0, MeltC: 100}, {At: time.Minute, MeltC: 160}, {At: 2 * time.Minute, MeltC: 100}}
	w := window{30 * time.Second, 90 * time.Second}
	assert.Equal(t, [][]sample{{{w.from, 130}, {time.Minute, 160}, {w.to, 130}}}, thin(visible(points, w), melt, w, 10))
}

// TestDutyIsNeitherLostNorMadeUp: the columns add up to the duty that was recorded.
func TestDutyIsNeitherLostNorMadeUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := make([]Point, rapid.IntRange(2, 200).Draw(t, "count"))
		want, seen := 0.0, time.Duration(0)
		for i := range points {
			points[i] = Point{At: time.Duration(i) * time.Second, Duty: rapid.Float64Range(0, 1).Draw(t, "duty")}
			if rapid.IntRange(0, 9).Draw(t, "lost") == 0 {
				points[i].Duty = math.NaN()
			} else if i+1 < len(points) {
				want += points[i].Duty
				seen += time.Second
			}
		}
		w := window{0, points[len(points)-1].At}
		got, covered := 0.0, time.Duration(0)
		for _, p := range powers(points, w, rapid.IntRange(1, 500).Draw(t, "columns")) {
			got += p.sum
			covered += p.seen
		}
		require.InDelta(t, want, got, 1e-6)
		require.Equal(t, seen, covered)
	})
}

// TestTicksAreRound holds in either unit: multiples of 1, 2 or 5 and their tens.
func TestTicksAreRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-50, 400).Draw(t, "low")
		high := low + rapid.Float64Range(2, 600).Draw(t, "span")
		most := rapid.IntRange(2, 12).Draw(t, "most")
		ticks := temperatureTicks(fahrenheit.of(low), fahrenheit.of(high), most)
		require.LessOrEqual(t, len(ticks), most+1)
		for i := 1; i < len(ticks); i++ {
			step := ticks[i] - ticks[i-1]
			leading := step / math.Pow(10, math.Floor(math.Log10(step)+1e-9))
			require.Contains(t, []float64{1, 2, 5}, math.Round(leading*1e6)/1e6)
			require.InDelta(t, 0, math.Remainder(ticks[i], step), 1e-6)
		}
	})
}

func TestTimesAreRound(t *testing.T) {
	ticks, step := timeTicks(window{7 * time.Minute, 144 * time.Minute}, 20)
	assert.Equal(t, 10*time.Minute, step)
	assert.Equal(t, 10*time.Minute, ticks[0])
	assert.Equal(t, "2:20", clock(ticks[len(ticks)-1], step))
	_, step = timeTicks(window{0, 1000 * time.Hour}, 5)
	assert.Zero(t, step%(24*time.Hour))
}

func TestNamesMoveApartInsideThePanel(t *testing.T) {
	names := []lineName{{y: 100}, {y: 99}, {y: 98}}
	moveApart(names, 0, 100, 12)
	assert.Equal(t, []float64{76, 88, 100}, []float64{names[0].y, names[1].y, names[2].y})
}

// contrast is the ratio of luminances, 1 to 21, by the formula of WCAG 2.
func contrast(a, b color.NRGBA) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func luminance(c color.NRGBA) float64 {
	linear := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}
