package devices_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
)

// try runs Try on a rig in virtual time and returns what it says of each channel.
func try(t *testing.T, prepare func(g *rig), test func(t *testing.T, g *rig, found []devices.Finding, err error)) {
	synctest.Test(t, func(t *testing.T) {
		g := newRig()
		g.set(probes, 0, 215, 220, 216, 222)
		g.set(heaters, 0, 700, 700) // left over from before
		g.bits[heaters][0], g.bits[heaters][8] = true, true
		prepare(g)
		found, stats, err := devices.Try(context.Background(), benchConfig(), g.open, clock.New(1))
		test(t, g, found, err)
		if err == nil {
			assert.NotEmpty(t, stats.Devices)
		}
		time.Sleep(5 * time.Second) // what lets go late
		for _, a := range g.writes(0) {
			assert.Equal(t, []uint16{0, 0}, modbus.Registers(a.Data), "nothing but zeros")
		}
		g.do(func() {
			for _, end := range g.ends {
				end.Close()
			}
		})
	})
}

func lines(found []devices.Finding) []string {
	var all []string
	for _, f := range found {
		all = append(all, f.String())
	}
	return all
}

func TestTryReadsAndWritesZeros(t *testing.T) {
	try(t, func(*rig) {}, func(t *testing.T, g *rig, found []devices.Finding, err error) {
		require.NoError(t, err)
		assert.Equal(t, []string{
			"ok   melt           left       probes         21.5 °C",
			"ok   plate          left       probes         22.0 °C",
			"ok   melt           right      probes         21.6 °C",
			"ok   plate          right      probes         22.2 °C",
			"ok   e-stop                    outputs        closed",
			"ok   heater         left       outputs        zero is confirmed",
			"ok   heater         right      outputs        zero is confirmed",
			"ok   contactor                 outputs        zero is confirmed",
			"ok   lamp                      outputs        zero is confirmed",
		}, lines(found))
		first, second, contactor := g.duties()
		assert.Zero(t, first)
		assert.Zero(t, second)
		assert.False(t, contactor)
	})
}

// TestTryDoubtsSilentOutputs: a module that is only written to is not taken for
// good because every reading is.
func TestTryDoubtsSilentOutputs(t *testing.T) {
	for name, prepare := range map[string]func(*rig){
		"silent":  func(g *rig) { g.silent[heaters] = true },
		"refuses": func(g *rig) { g.refuses[heaters] = true },
	} {
		t.Run(name, func(t *testing.T) {
			try(t, prepare, func(t *testing.T, _ *rig, found []devices.Finding, err error) {
				require.NoError(t, err)
				require.Len(t, found, 9)
				for _, f := range found {
					assert.Equal(t, f.Device == "probes", f.Good, f.String())
				}
				assert.Equal(t, "zero is not confirmed", found[8].Value)
			})
		})
	}
}

// TestTryOfAPortThatDoesNotOpen names the line, and gives up at once.
func TestTryOfAPortThatDoesNotOpen(t *testing.T) {
	try(t, func(g *rig) { g.absent = errAbsent }, func(t *testing.T, g *rig, found []devices.Finding, err error) {
		assert.ErrorIs(t, err, errAbsent)
		assert.ErrorContains(t, err, "line line: ")
		assert.Empty(t, found)
		assert.Zero(t, g.now())
	})
}

// TestTryEndsWhenAsked: an interrupted check says so, and that nothing came.
func TestTryEndsWhenAsked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newRig()
		g.silent[probes], g.silent[heaters] = true, true
		ctx, end := context.WithTimeout(context.Background(), 100*time.Millisecond)
		defer end()
		found, _, err := devices.Try(ctx, benchConfig(), g.open, clock.New(1))
		assert.ErrorIs(t, err, context.DeadlineExceeded)
		assert.Less(t, g.now(), time.Second)
		for _, f := range found {
			assert.False(t, f.Good, f.String())
		}
		time.Sleep(5 * time.Second)
		g.do(func() {
			for _, end := range g.ends {
				end.Close()
			}
		})
	})
}
