package commission

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/simbench"
)

// TestAPressedStopIsWaitedFor: before the first step with contacts, and again where a later
// one begins; nothing is heated, and where nobody releases it, what to do is said.
func TestAPressedStopIsWaitedFor(t *testing.T) {
	press := func(r *rig) { require.NoError(r.t, r.Inject(simbench.EStopOpened, simbench.Place{})) }
	onBench(t, nil, func(t *testing.T, r *rig) {
		press(r)
		began := time.Now()
		err := r.commission(t.Context(), answers, false)
		require.ErrorContains(t, err, "e-stop is open, and was not seen released within 10 minutes; nothing was heated. Release it, reset what it needs")
		require.ErrorContains(t, err, "its second contact does not close")
		require.InDelta(t, pressWait.Seconds(), time.Since(began).Seconds(), 10)
		require.GreaterOrEqual(t, strings.Count(r.words(), "Not seen yet. Release the emergency stop, and reset what it needs to be ready again."), 15, "it says that it waits")
		require.Zero(t, r.heatJ())
		require.Empty(t, r.record().Interlocks)

		release := func() {
			time.AfterFunc(2*time.Minute, func() {
				assert.Zero(t, r.heatJ())
				assert.NoError(t, r.Clear(simbench.EStopOpened, simbench.Place{}))
			})
		}
		r.saying["The emergency stop is pressed"] = release
		r.nobody = true
		require.ErrorContains(t, r.commission(t.Context(), "", false), "nobody pressed the enable button")
		require.Len(t, r.record().Interlocks, 3)

		press(r)
		r.nobody = false
		require.NoError(t, r.commission(t.Context(), "", false), r.said())
		require.Equal(t, 1, strings.Count(r.said(), "The emergency stop is pressed"))
	})
}
