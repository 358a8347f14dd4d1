package frames

import (
	"encoding/json"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

func numbered(n uint64) *Frame { return &Frame{Frame: control.Frame{Cycle: n}} }

func TestSubscriberGetsTheLatestFirst(t *testing.T) {
	var h Hub
	assert.Nil(t, h.Latest())
	h.Publish(numbered(1))
	ch, cancel := h.Subscribe()
	defer cancel()
	assert.Equal(t, uint64(1), (<-ch).Cycle)
	assert.Equal(t, uint64(1), h.Latest().Cycle)
}

func TestSlowReaderGetsTheNewestAndHoldsNobodyUp(t *testing.T) {
	var h Hub
	ch, cancel := h.Subscribe()
	defer cancel()
	for n := range uint64(100) {
		h.Publish(numbered(n + 1)) // would block forever if it waited
	}
	assert.Equal(t, uint64(100), (<-ch).Cycle)
	select {
	case f := <-ch:
		t.Fatalf("frame %d came twice or too late", f.Cycle)
	default:
	}
}

func TestCancelClosesOnceAndStopsTheFrames(t *testing.T) {
	var h Hub
	ch, cancel := h.Subscribe()
	cancel()
	cancel()
	h.Publish(numbered(1))
	_, open := <-ch
	assert.False(t, open)
}

func TestReadersComeAndGoWhileFramesArePublished(t *testing.T) {
	var h Hub
	var readers sync.WaitGroup
	for range 8 {
		readers.Go(func() {
			for range 50 {
				ch, cancel := h.Subscribe()
				if f := h.Latest(); f != nil {
					assert.LessOrEqual(t, f.Cycle, (<-ch).Cycle, "frames went back")
				}
				cancel()
			}
		})
	}
	for n := range uint64(2000) {
		h.Publish(numbered(n + 1))
	}
	readers.Wait()
}

func TestLive(t *testing.T) {
	at := time.Now()
	var none *Frame
	assert.False(t, none.Live(at), "nothing has come yet")
	f := &Frame{At: at}
	assert.True(t, f.Live(at.Add(LiveFor)))
	assert.False(t, f.Live(at.Add(LiveFor+1)))
}

// RFC 8259, section 6: "Numeric values that cannot be represented in the grammar
// (such as Infinity and NaN) are not permitted."
func TestFigureIsNullWhenNotKnown(t *testing.T) {
	for want, f := range map[string]Figure{
		"null": Unknown(), "168.4": 168.4, "0": 0, "-3.142": Figure(-math.Pi), "100000000000": 1e11,
	} {
		got, err := json.Marshal(f)
		require.NoError(t, err)
		assert.Equal(t, want, string(got))
	}
	for _, f := range []Figure{Figure(math.Inf(1)), Figure(math.Inf(-1))} {
		got, err := json.Marshal(f)
		require.NoError(t, err)
		assert.Equal(t, "null", string(got))
	}
}

// TestAChanceIsNeverWrittenAsZero where it is not.
func TestAChanceIsNeverWrittenAsZero(t *testing.T) {
	text, err := json.Marshal([]Chance{0.0000123, 0.2226, 1, Chance(Unknown())})
	require.NoError(t, err)
	assert.Equal(t, "[1.2e-05,0.223,1,null]", string(text))
}

func TestOnlyUsableReadingsAreMeasured(t *testing.T) {
	for name, r := range map[string]reading.Temperature{
		"not wired":    {C: 168},
		"open":         {C: 168, Fault: reading.Open},
		"stale":        {C: 168, Fault: reading.None, Age: guard.MaxAge + 1},
		"not a number": {C: math.NaN(), Fault: reading.None},
	} {
		assert.False(t, Measured(r).Known(), name)
		assert.False(t, Melt(&control.PotFrame{Melt: r, MeltC: 168}).Known(), name)
	}
	fresh := reading.Temperature{C: 168, Fault: reading.None, Age: guard.MaxAge}
	assert.Equal(t, Figure(168), Measured(fresh))
	assert.Equal(t, Figure(167.5), Melt(&control.PotFrame{Melt: fresh, MeltC: 167.5}), "the filtered value")
}

func TestAgeIsKnownOnceAValueCame(t *testing.T) {
	assert.False(t, Age(reading.Temperature{}).Known())
	assert.False(t, Age(reading.Temperature{Fault: reading.Missing}).Known())
	assert.Equal(t, Figure(90), Age(reading.Temperature{Fault: reading.Open, Age: 90 * time.Second}))
}
