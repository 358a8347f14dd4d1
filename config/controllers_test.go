package config_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/circuit"
)

func controllers(t *testing.T, change func(string) string) (*config.Bench, error) {
	t.Helper()
	files, err := config.ExampleFiles("controllers")
	require.NoError(t, err)
	return config.ParseBench("bench.yaml", []byte(change(string(files["bench.yaml"]))), nil)
}

// TestControllersComeToSettings: what a bench file says of its controllers is in the settings.
func TestControllersComeToSettings(t *testing.T) {
	b, err := controllers(t, func(s string) string { return strings.Replace(s, "write-every: 10 s", "write-every: 25 s", 1) })
	require.NoError(t, err)
	files, err := config.ExampleFiles("controllers")
	require.NoError(t, err)
	r, err := config.ParseRecipe("recipe.yaml", files["recipe.yaml"])
	require.NoError(t, err)
	s, err := config.Settings(b, r)
	require.NoError(t, err)
	for i, every := range []time.Duration{25 * time.Second, 10 * time.Second, 10 * time.Second} {
		assert.Equal(t, control.Controller{RestC: 5, Every: every}, s.Pots[i].Controller)
		assert.Equal(t, circuit.Hidden, s.Pots[i].Output)
	}
}

// TestNoControllerWithoutAContactorElsewhere: a bench that could not be stopped is no bench.
func TestNoControllerWithoutAContactorElsewhere(t *testing.T) {
	for name, change := range map[string]func(string) string{
		"the bench has no contactor": func(s string) string {
			return strings.Replace(s, "  - {role: contactor, device: relays, function: 5, address: 3, type: bit}\n", "", 1)
		},
		"the contactor is on the same device": func(s string) string {
			return strings.Replace(s, "{role: contactor, device: relays,", "{role: contactor, device: middle controller,", 1)
		},
	} {
		_, err := controllers(t, change)
		assert.ErrorContains(t, err, name+"; add a channel with role: contactor on another device")
	}
}

// TestAControllerSwitchesByItself: what a bench file says of its switching would be obeyed,
// and a relay's operations counted, by nobody.
func TestAControllerSwitchesByItself(t *testing.T) {
	_, err := controllers(t, func(s string) string {
		return strings.Replace(s, "write-every: 10 s", "write-every: 10 s, window: 20 s, least-on: 1 s, least-off: 10 s, relay: {life: 100000}", 1)
	})
	for _, key := range []string{"window", "least-on", "least-off", "relay"} {
		assert.ErrorContains(t, err, "pots[1].heater."+key)
	}
	assert.ErrorContains(t, err, "the controller switches by itself, and how often is not seen here; leave it out")
}
