package view

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/devices"
)

// TestWhoIsInCharge: tile, numbers and list say that the controller decides, what it was told
// and has, and that nobody knows what its heater gets.
func TestWhoIsInCharge(t *testing.T) {
	s := bench()
	f := waiting3(control.WaitHeat, control.WaitHeat, control.WaitNothing)
	f.PowerW, f.Heat = math.NaN(), control.HeatEnabled
	p := &f.Pots[0]
	p.Duty, p.AskedDuty = math.NaN(), math.NaN()
	p.Controller = control.ControllerFrame{InCharge: true, ToldC: 190, Changes: 7, Setpoint: p.Melt, Own: p.Plate}
	p.Controller.Setpoint.C, p.Controller.Own.C = 190, 188.3
	b := Of(f, s, noon)
	assert.Equal(t, "its controller decides; Meltwarden tells it 190 °C and watches", b.Pots[0].Controller.InCharge.C)
	assert.Equal(t, "its controller decides; Meltwarden tells it 374 °F and watches", b.Pots[0].Controller.InCharge.F)
	assert.Contains(t, b.Pots[0].Shown.More.C, "its controller decides: told 190 °C, has 190, reads 188")
	assert.Equal(t, "heaters: not known, their controllers decide", b.Shown.Power)
	assert.Nil(t, b.Pots[1].Controller)
	text, err := json.Marshal(b.Pots)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"duty":null,"heater_w":null`)
	assert.NotContains(t, b.Pots[0].Shown.More.C, "NaN")

	p.Controller.AtRest, p.Controller.ToldC, p.Controller.Own.Fault = true, 5, 0
	b = Of(f, s, noon)
	assert.Equal(t, "its controller rests; Meltwarden told it 5 °C", b.Pots[0].Controller.InCharge.C)
	assert.False(t, b.Pots[0].Controller.ReadsC.Known())

	said := strings.Join(NotSeen(control.PotSettings{Controller: control.Controller{RestC: 5, Every: 10 * time.Second}}), " ")
	for _, want := range []string{"What its heater gets is not known", "at most every 10 s", "told 5 °C", "the contactor, which is on another device"} {
		assert.Contains(t, said, want)
	}
}

// TestWhatIsWrittenToAControllerSaysSinceWhen: nobody counts it beyond the program.
func TestWhatIsWrittenToAControllerSaysSinceWhen(t *testing.T) {
	s := devices.Stats{Lines: []devices.LineStatus{{Name: "bench", Open: true}}, Devices: []devices.DeviceStats{{Name: "left", Line: "bench", Setpoints: 12}}}
	assert.Equal(t, "not asked yet; set-points written since the program began: 12", SerialOf(s, nil).Lines[0].Devices[0].State)
}
