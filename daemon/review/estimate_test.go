package review

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/injector"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// injected is an invented shot of three colours that waited 16, 11 and 6 s in their injectors.
func injected() Review {
	r := Review{Settings: control.Settings{
		Pots:     []control.PotSettings{{Colour: "slate"}, {Colour: "ivory"}, {Colour: "rust"}},
		Injector: injector.Injector{BoreM: 0.025, PreheatC: 80},
	}}
	card := shot.Card{RoomC: 21, MouldC: frames.Unknown(), SpreadC: 0, DrawToPushS: 16}
	for i, s := range []frames.Figure{16, 11, 6} {
		c := frames.Figure(165 + 3*i)
		card.Pots = append(card.Pots, shot.Pot{Colour: r.Settings.Pots[i].Colour, MeltC: c, TargetC: c, BandC: 2, DrawToPushS: s})
	}
	r.Shots = []history.Shot{{Number: 1, Card: card}}
	return r
}

// TestACardEstimatesWhatTheInjectorsTook, and how far apart that made the melts.
func TestACardEstimatesWhatTheInjectorsTook(t *testing.T) {
	r := injected()
	s := r.Sheets(Celsius)[0]
	assert.Equal(t, "≈ 15 °C (11 to 21)", s.Pots[0].Injector)
	assert.Equal(t, "≈ 10 °C (8 to 14)", s.Pots[2].Injector)
	assert.Equal(t, "for a bore of 25 mm whose wall was at 80 °C at the draw, by the bench file. With that the melts were ≈ 4 °C (3 to 7) apart at the push, each beside its own target: the coldest 1.06 to 1.30 times as thick as the warmest.", s.Estimated)
	assert.Equal(t, "≈ 27 °F (19 to 38)", r.Sheets(Fahrenheit)[0].Pots[0].Injector)
	var out bytes.Buffer
	found, err := r.WriteShot(&out, Celsius, 1)
	require.NoError(t, err)
	require.True(t, found)
	assert.Regexp(t, `lost in the +≈ 15 °C \(11 to 21\)`, out.String())
	assert.Contains(t, out.String(), "lost in the injector: for a bore of 25 mm")
}

// TestWhatNobodyDrewIsNotRecorded: nothing is reckoned from a draw that nobody marked.
func TestWhatNobodyDrewIsNotRecorded(t *testing.T) {
	r := injected()
	r.Shots[0].Card.Pots[1].DrawToPushS = frames.Unknown()
	s := r.Sheets(Celsius)[0]
	assert.Equal(t, NotRecorded, s.Pots[1].Injector)
	assert.NotContains(t, s.Estimated, "apart", "one melt of which nothing is known may be the coldest")
	r.Shots[0].Card.Pots[0].DrawToPushS = frames.Unknown()
	r.Shots[0].Card.Pots[2].MeltC = frames.Unknown()
	assert.Empty(t, r.Sheets(Celsius)[0].Estimated)
}
