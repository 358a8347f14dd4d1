package main

//lint:file-ignore SA1019 the layout that follows this one is read by the newest servers only

import (
	"encoding/json"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestWhatIsMadeIsUpToDate: the committed files are what this program writes.
func TestWhatIsMadeIsUpToDate(t *testing.T) {
	all, err := files()
	require.NoError(t, err)
	for name, text := range all {
		kept, err := os.ReadFile("../" + name)
		require.NoError(t, err)
		assert.True(t, string(kept) == string(text), "%s is stale: run go generate ./dashboards", name)
	}
}

// TestDashboardsAreReadBack by the types of the SDK, strictly: every field is one that the
// server knows, and no panel lies over another or beyond the grid.
func TestDashboardsAreReadBack(t *testing.T) {
	for _, name := range []string{"bench", "shop"} {
		text, err := os.ReadFile("../grafana/" + name + ".json")
		require.NoError(t, err)
		var d dashboard.Dashboard
		require.NoError(t, json.Unmarshal(text, &d), name)
		require.NoError(t, d.Validate(), name)
		taken := map[[2]uint32]string{}
		for _, p := range d.Panels {
			require.NotNil(t, p.Panel, "no rows: all is in sight")
			at := p.Panel.GridPos
			assert.LessOrEqual(t, at.X+at.W, uint32(24))
			for x := at.X; x < at.X+at.W; x++ {
				for y := at.Y; y < at.Y+at.H; y++ {
					assert.Empty(t, taken[[2]uint32{x, y}], "%s: %s", name, *p.Panel.Title)
					taken[[2]uint32{x, y}] = *p.Panel.Title
				}
			}
			if p.Panel.Type != "text" {
				assert.NotEmpty(t, *p.Panel.Description, *p.Panel.Title)
			}
		}
		assert.Contains(t, string(text), "These pictures protect nobody")
		for _, rainbow := range []string{"palette-", "continuous-", "semi-dark", `"green"`, `"red"`} {
			assert.False(t, strings.Contains(string(text), rainbow), "%s: colours are our own, not %s", name, rainbow)
		}
	}
}

// TestTheProgramHasNoneOfThis: the SDK is for making the files only.
func TestTheProgramHasNoneOfThis(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "../../cmd/meltwarden").CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Contains(t, string(out), "meltwarden/dashboards\n")
	assert.NotContains(t, string(out), "grafana")
	assert.False(t, strings.Contains(string(out), "meltwarden/dashboards/make"))
}
