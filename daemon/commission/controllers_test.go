package commission

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/simbench"
)

// steered gives every pot a controller of its own in place of a duty.
func steered(text string) string {
	text = strings.ReplaceAll(text, "heater: {power: 1000 W, output: smooth}", "heater: {power: 600 W}")
	text = strings.ReplaceAll(text, "heater: {power: 800 W, output: smooth}", "heater: {power: 600 W}")
	var lines []string
	for line := range strings.Lines(text) {
		if !strings.Contains(line, "role: heater") {
			lines = append(lines, line)
		}
	}
	text = strings.Join(lines, "")
	for i, pot := range []string{"left", "middle", "right"} {
		at := ", pot: " + pot + ", device: " + pot + " controller, address: 0, type: int16, scale: 0.1, unit: C"
		text = strings.Replace(text, "channels:\n", "channels:\n  - {role: setpoint, function: 6, senses: plate, rest: 5 C"+at+
			"}\n  - {role: process-value, function: 4"+at+"}\n", 1)
		text = strings.Replace(text, "\ndevices:\n", fmt.Sprintf("\ndevices:\n  - {name: %s controller, line: bench, unit: %d}\n", pot, 4+i), 1)
	}
	return text
}

// TestControllersAreCommissioned: it is the contactor's device that is proven to let go; each
// controller is told a little more than its plate has, with the contactor open first, and
// rests at the end.
func TestControllersAreCommissioned(t *testing.T) {
	onBench(t, steered, func(t *testing.T, r *rig) {
		require.NoError(t, r.commission(t.Context(), answers, false), r.said())
		assert.Contains(t, r.words(), "The contactor is closed and no heater is told anything")
		assert.Contains(t, r.words(), "Its controller is told 20 °C more than its plate has, and may give all 600 W.")
		assert.Contains(t, r.words(), "Its display has to show a set-point of 4")
		cleared, missing := r.record().Against(r.file)
		require.True(t, cleared.Holds(), missing)
		assert.True(t, r.record().proof("power").passed())
		for i, p := range r.Truth().Pots {
			assert.InDelta(t, 5, p.SetpointC, 0)
			assert.Less(t, p.PlateC, 60.0)
			assert.LessOrEqual(t, p.HeatJ, nudgeMostJ*1.05)
			t.Logf("pot %d: moved %.1f °C, given %.1f kJ, set-point written %d times", i, r.record().Nudges[i].Moved[r.file.Pots[i].Name], p.HeatJ/1000, p.Writes)
		}
	})
}

// TestAControllerThatReadsOtherwiseIsNotHeated: with scale or unit wrong in the file its own
// sensor is far from the plate's probe before anybody presses. What its display has to show
// is said: nothing else tries a set-point's scale.
func TestAControllerThatReadsOtherwiseIsNotHeated(t *testing.T) {
	for is, wrong := range map[string]string{"scale: 0.1, unit: C": "scale: 0.01, unit: C", "0.1, unit: C": "0.1, unit: F"} {
		onBench(t, func(text string) string {
			text = steered(text)
			at := strings.Index(text, "role: process-value")
			end := at + strings.Index(text[at:], "}")
			return text[:at] + strings.Replace(text[at:end], is, wrong, 1) + text[end:]
		}, func(t *testing.T, r *rig) {
			require.ErrorContains(t, r.commission(t.Context(), answers, false), "scale or unit in the bench file are wrong")
			require.Zero(t, r.heatJ())
		})
	}
}

// TestAWeldedContactorBehindControllers is found by the controllers that heat past it.
func TestAWeldedContactorBehindControllers(t *testing.T) {
	onBench(t, steered, func(t *testing.T, r *rig) {
		require.NoError(t, r.Inject(simbench.ContactorWelded, simbench.Place{}))
		err := r.commission(t.Context(), answers, false)
		require.ErrorIs(t, err, errPress)
		require.ErrorContains(t, err, "is heated with the contactor open")
	})
}
