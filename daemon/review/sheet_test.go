package review

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// TestACuringMeltIsNotCured: that is known, and not a gap in what was recorded.
func TestACuringMeltIsNotCured(t *testing.T) {
	assert.Equal(t, "not cured yet", held(shot.Pot{State: "curing", HeldMin: frames.Unknown()}))
	assert.Equal(t, NotRecorded, held(shot.Pot{State: "holding", HeldMin: frames.Unknown()}))
	assert.Equal(t, "9 min", held(shot.Pot{State: "ready", HeldMin: 9}))
}
