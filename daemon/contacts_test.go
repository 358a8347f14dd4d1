package daemon

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/devices/simbench"
)

// TestEveryContactOverTheLine: each interlock ends all heat within two seconds, opens the
// contactor, and is heard and seen at the bench; with it closed again one press resets and
// another one heats. What lamp and buzzer are told is what their coils have.
func TestEveryContactOverTheLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := start(t, proven)
		r.enable(t)
		for _, fault := range []simbench.Fault{simbench.EStopOpened, simbench.CutOutOpened, simbench.FanStopped} {
			require.NoError(t, r.bench.Inject(fault, simbench.Place{}))
			time.Sleep(2 * time.Second)
			requireCold(t, r.bench)
			assert.Equal(t, control.HeatTripped, r.Hub().Latest().Heat, fault)
			lit, heard := 0, 0
			for range 100 {
				time.Sleep(50 * time.Millisecond)
				truth := r.bench.Truth()
				lit, heard = lit+count(truth.Lamp), heard+count(truth.Buzzer)
			}
			t.Logf("%s: of 100 looks in 5 s lamp on in %d, buzzer in %d", fault, lit, heard)
			assert.Positive(t, lit, fault)
			assert.Positive(t, heard, fault)
			r.press()
			assert.Equal(t, control.HeatTripped, r.Hub().Latest().Heat, "%s: a press does nothing while it is open", fault)
			require.NoError(t, r.bench.Clear(fault, simbench.Place{}))
			r.press()
			requireCold(t, r.bench)
			assert.Equal(t, control.HeatBlocked, r.Hub().Latest().Heat, fault)
			r.press()
			assert.Equal(t, control.HeatEnabled, r.Hub().Latest().Heat, fault)
			assert.True(t, r.bench.Truth().Contactor, fault)
		}
		r.end()
		require.NoError(t, <-r.over)
		requireCold(t, r.bench)
		assert.False(t, r.bench.Truth().Lamp || r.bench.Truth().Buzzer, "and all is told off at the end")
	})
}

// press presses the enable button as a person does, and waits until that has taken effect.
func (r *rig) press() {
	time.Sleep(2 * time.Second)
	r.bench.PressEnable()
	time.Sleep(3 * time.Second)
}

func count(is bool) int {
	if is {
		return 1
	}
	return 0
}
