package history

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history/cycles"
)

// TestWhatHappensLiveCountsFromTheStart of the program: a run that goes on gives what
// happened in its present part, in that part's time, and numbers its shots through.
func TestWhatHappensLiveCountsFromTheStart(t *testing.T) {
	s := open(t, t.TempDir())
	happens := func(r *Recorder, e *evening, kinds ...Kind) {
		for _, kind := range kinds {
			k := e.next()
			k.Events = []Event{{Kind: kind, Pot: WholeBench}}
			r.queue <- k
		}
		for range 10 {
			r.queue <- e.next()
		}
	}
	kept := func(after int64, most, want int) Happened {
		var h Happened
		require.Eventually(t, func() bool {
			var err error
			h, err = s.LiveEvents(after, most)
			return err == nil && len(h.Events) == want
		}, time.Minute, time.Millisecond)
		return h
	}
	first, err := s.Record(noon, start())
	require.NoError(t, err)
	happens(first, newEvening(start().Settings), ShotPushed, Stirred)
	before := kept(0, 100, 2)
	require.Eventually(t, func() bool { return len(first.queue) == 0 }, time.Minute, time.Millisecond)

	second, err := s.Record(noon.Add(time.Minute), start()) // as after a program that was killed
	require.NoError(t, err)
	require.Equal(t, first.Run(), second.Run())
	happens(second, newEvening(start().Settings), Alarm, AlarmOver, ShotPushed, ShotPushed, Note)
	h := kept(before.Last, 100, 4)
	assert.NotEqual(t, before.Part, h.Part)
	assert.Equal(t, []int{0, 2, 3, 0}, []int{h.Events[0].Shot, h.Events[1].Shot, h.Events[2].Shot, h.Events[3].Shot})
	assert.Equal(t, 400*time.Millisecond, h.Events[1].At, "bench time, as in the trend")
	assert.Empty(t, kept(h.Last, 100, 0).Events)
	newest := kept(0, 2, 2)
	assert.Equal(t, 2, newest.LeftOut)
	assert.Equal(t, Note, newest.Events[1].Kind)

	last, err := s.LastEvents(second.Run(), 2, Alarm, AlarmOver, Stirred)
	require.NoError(t, err)
	require.Len(t, last, 2)
	assert.Equal(t, []Kind{AlarmOver, Alarm}, []Kind{last[0].Kind, last[1].Kind})

	var times []time.Duration
	require.NoError(t, s.LiveBetween(300*time.Millisecond, 900*time.Millisecond, func(c *cycles.Record) error {
		times = append(times, c.Kept.Time)
		return nil
	}))
	assert.Equal(t, []time.Duration{400 * time.Millisecond, 600 * time.Millisecond, 800 * time.Millisecond}, times)
	require.NoError(t, second.Close(noon.Add(time.Hour)))
	require.NoError(t, first.Close(noon.Add(time.Hour)))
}
