package review

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/daemon/history"
)

// TestWhatWasTickedBeforeHeat: when, and from where; not what was taken away again, had lapsed
// or came after the press. Where nothing was ticked, nothing is said of it.
func TestWhatWasTickedBeforeHeat(t *testing.T) {
	at := time.Date(2026, 3, 1, 18, 0, 0, 0, time.Local)
	event := func(minutes int, k history.Kind, text, from string) history.Event {
		return history.Event{Wall: at.Add(time.Duration(minutes) * time.Minute), Kind: k, Text: text, From: from, Pot: history.WholeBench}
	}
	r := Review{Events: []history.Event{
		event(-800, history.Ticked, "mould and injectors", ""), // the evening before
		event(0, history.Ticked, "all dry", ""), event(1, history.Ticked, "sound", ""),
		event(2, history.Ticked, "extraction", "phone blue"), event(3, history.Unticked, "sound", ""),
		event(4, history.HeatEnabled, "", ""), event(5, history.Ticked, "probes", ""),
	}}
	assert.Equal(t, []string{
		"ticked off before heat: all dry (18:00, at the bench); extraction (18:02, phone blue)",
		"not ticked off before heat: gloves and face shield; nobody else near; extinguisher; emergency stop; cut-out; fuse and earth; " +
			"mould and injectors; probes; sound; what is in the pots",
	}, r.TickLines())
	for _, l := range r.Lines(true) {
		assert.NotContains(t, l.What, "tick", "it stands in these lines already")
	}
	assert.Empty(t, Review{Events: r.Events[5:6]}.TickLines())
	none := Review{Events: r.Events[2:3]}
	none.Events = append(none.Events, event(3, history.Unticked, "sound", ""))
	assert.Equal(t, "ticked off before heat: none", none.TickLines()[0])
}
