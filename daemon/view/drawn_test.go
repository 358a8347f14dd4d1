package view

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/injector"
	"meltwarden/control/reading"
)

// TestADrawIsCountedDown on its tile until the push, as an estimate, from what the bench file
// says of the injector.
func TestADrawIsCountedDown(t *testing.T) {
	f := waiting3(control.WaitNothing, control.WaitNothing, control.WaitNothing)
	f.Room = reading.Temperature{C: 21, Fault: reading.None}
	f.Pots[0].Drawn = control.Drawn{Waits: true, Since: 4 * time.Second, C: 168, TubeC: math.NaN()}
	f.Pots[1].Drawn = control.Drawn{Waits: true, Since: 4 * time.Second, C: math.NaN(), TubeC: math.NaN()}
	s := bench()
	s.Injector = injector.Injector{BoreM: 0.025, PreheatC: 60}
	b := Of(f, s, noon)
	p := b.Pots[0]
	assert.Equal(t, "injector ≈ 10 s", p.Shown.Pour)
	assert.Equal(t, "until 150 °C (302 °F); 3 to 30 s, estimated", p.Shown.PourHow)
	assert.Equal(t, "in the injector for 0:04: ≈ 158 °C (154 to 161) by now, lowest to push 150 °C; estimated for a bore of 25 mm whose wall was at 60 °C at the draw, by the bench file", p.Shown.Injector.C)
	assert.Contains(t, p.Shown.Injector.F, "lowest to push 302 °F")
	assert.InDelta(t, 4, float64(p.Drawn.SinceS), 1e-9)
	assert.Less(t, float64(p.Drawn.LeastC), float64(p.Drawn.MostC))
	assert.False(t, p.Drawn.Over)
	assert.Empty(t, b.Pots[1].Shown.Injector.C, "of a melt that nobody has measured nothing is reckoned")
	assert.Empty(t, b.Pots[2].Shown.Pour)
	assert.Equal(t, "slate: injector ≈ 10 s", b.Shown.Detail, "what lasts shortest stands in the top line")
	f.Pots[2].Drawn = control.Drawn{Waits: true, Since: 10 * time.Second, C: 168, TubeC: math.NaN()}
	assert.Regexp(t, `^pot 3: injector ≈ [1-9] s$`, Of(f, s, noon).Shown.Detail, "of two the one that gets too cold first")
	f.Pots[2].Drawn = control.Drawn{}

	f.Pots[0].Drawn.Since = time.Minute
	b = Of(f, control.Settings{Pots: s.Pots}, noon)
	p = b.Pots[0]
	assert.Equal(t, "slate: injector ≈ 0 s, too cold to push by now, estimated", b.Shown.Detail)
	assert.Equal(t, "injector ≈ 0 s", p.Shown.Pour)
	assert.Equal(t, "too cold to push by now, estimated", p.Shown.PourHow)
	assert.Contains(t, p.Shown.Injector.C, "for an assumed bore of 25 mm whose wall was at 21 °C at the draw, as the room")
	assert.True(t, p.Drawn.Over)
	text, err := json.Marshal(b.Pots[2].Drawn)
	require.NoError(t, err)
	assert.JSONEq(t, `{"since_s":null,"mean_c":null,"least_c":null,"most_c":null,"in_s":null,"least_s":null,"most_s":null,"over":false}`, string(text))
}
