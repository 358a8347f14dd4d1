package api

import (
	"io"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

// handFrame is a live frame whose second pot has no melt probe.
func handFrame() *frames.Frame {
	f := &frames.Frame{At: time.Now()}
	f.Pots = make([]control.PotFrame, 3)
	f.Pots[1] = control.PotFrame{
		Probes: reading.PlateOnly, Plate: reading.Temperature{C: 200, Fault: reading.None},
		MeltEstimate: control.Estimate{C: 150, WithinC: 6}, HeatedFor: 10 * time.Minute,
		Hand: control.Hand{DoubtedC: 120, DoubtedFor: time.Minute},
	}
	return f
}

// TestWhatIsReadByHand is taken, refused with a word, or taken when it comes twice.
func TestWhatIsReadByHand(t *testing.T) {
	for name, c := range map[string]struct {
		pot, form string
		from      string
		status    int
		says      string
		queued    bool
	}{
		"in Celsius":         {"2", "reading=152&unit=C", "", 202, "", true},
		"in Fahrenheit":      {"2", "reading=305+F", "", 202, "", true},
		"without a unit":     {"2", "reading=152", "", 400, "unit", false},
		"no number":          {"2", "reading=hot&unit=C", "", 400, "number", false},
		"in the wrong scale": {"2", "reading=305&unit=C", "", 400, "305 F", false},
		"over its plate":     {"2", "reading=215&unit=C", "", 409, "above its plate", true},
		"far off":            {"2", "reading=180&unit=C", "", 409, "type it once more", true},
		"far too low":        {"2", "reading=135&unit=C", "", 409, "15 °C lower than expected", true},
		"far off, again":     {"2", "reading=122&unit=C", "", 202, "", true},
		"of a whole pot":     {"1", "reading=152&unit=C", "", 409, "has a melt probe", false},
		"from elsewhere":     {"2", "reading=152&unit=C", "X-Forwarded-For: 192.0.2.7", 403, "own computer", false}, // RFC 5737
	} {
		t.Run(name, func(t *testing.T) {
			h, queue := published(handFrame())
			fields, err := url.ParseQuery(c.form)
			require.NoError(t, err)
			var headers []string
			if c.from != "" {
				headers = []string{c.from}
			}
			a := do(h, form("/api/v1/pots/"+c.pot+"/hand-reading", fields, headers...))
			require.Equal(t, c.status, a.StatusCode)
			text, err := io.ReadAll(a.Body)
			require.NoError(t, err)
			assert.Contains(t, string(text), c.says)
			if !c.queued {
				assert.Empty(t, queue)
				return
			}
			m := <-queue
			assert.Equal(t, control.HandReading, m.Kind)
			assert.Equal(t, 1, m.Pot)
			assert.False(t, m.Afar)
		})
	}
}
