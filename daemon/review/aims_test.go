package review

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/config"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// TestAnAimIsMissedOnlyByWhatCanBeTold: not by what a hand or a probe may be off, and
// never by what was not recorded.
func TestAnAimIsMissedOnlyByWhatCanBeTold(t *testing.T) {
	aims := config.Pour{DrawWithin: 30 * time.Second, MouldAtLeastC: 30, MouldAtMostC: 45.5, HeldAtMost: 40 * time.Minute}
	assert.Equal(t, "aim: push within 30 s of the first draw; mould at least 30 °C (86 °F); mould at most 45.5 °C (113.9 °F); draw within 40 min of the cure", Aims(aims))
	assert.Empty(t, Aims(config.Pour{}))

	card := shot.Card{DrawToPushS: 32, MouldC: 46, Pots: []shot.Pot{{HeldMin: 12}, {HeldMin: 40.3}}}
	assert.Empty(t, Celsius.Missed(aims, card))
	card = shot.Card{DrawToPushS: 45, MouldC: 24, Pots: []shot.Pot{{HeldMin: 12}, {HeldMin: 55}}}
	assert.Equal(t, "first draw to push 45 s (at most 30 s); mould 24.0 °C (at least 30.0 °C); held since cured 55.0 min (at most 40.0 min)", Celsius.Missed(aims, card))
	assert.Contains(t, Fahrenheit.Missed(aims, card), "mould 75.2 °F (at least 86.0 °F)")
	assert.Empty(t, Celsius.Missed(aims, shot.Card{DrawToPushS: frames.Unknown(), MouldC: frames.Unknown()}))
	assert.Empty(t, Celsius.Missed(config.Pour{}, card))
}
