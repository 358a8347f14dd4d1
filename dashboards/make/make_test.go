package main

//lint:file-ignore SA1019 the layout that follows this one is read by the newest servers only

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"regexp"
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

// TestColoursAreOurs: the dashboards have no others, and those that lines and words are
// drawn in stand out from white and from nearly black by 3 to 1 (WCAG 2.2, 1.4.11, with
// the relative luminance that it defines).
func TestColoursAreOurs(t *testing.T) {
	ours := []string{grey, strong, attend, look, danger, shoot}
	for _, name := range []string{"bench", "shop"} {
		text, err := os.ReadFile("../grafana/" + name + ".json")
		require.NoError(t, err)
		for _, colour := range regexp.MustCompile(`#[0-9a-f]{6}`).FindAllString(string(text), -1) {
			assert.Contains(t, append(ours, faint), colour, name)
		}
	}
	for _, colour := range ours {
		onWhite, onBlack := contrast(t, colour, "#ffffff"), contrast(t, colour, "#14161a")
		t.Logf("%s: %.1f on white, %.1f on nearly black", colour, onWhite, onBlack)
		assert.GreaterOrEqual(t, onWhite, 3.0, colour)
		assert.GreaterOrEqual(t, onBlack, 3.0, colour)
	}
}

func contrast(t *testing.T, a, b string) float64 {
	one, other := luminance(t, a), luminance(t, b)
	return (max(one, other) + .05) / (min(one, other) + .05)
}

func luminance(t *testing.T, colour string) float64 {
	var rgb [3]uint8
	_, err := fmt.Sscanf(colour, "#%02x%02x%02x", &rgb[0], &rgb[1], &rgb[2])
	require.NoError(t, err)
	sum := 0.0
	for i, weight := range [3]float64{.2126, .7152, .0722} {
		c := float64(rgb[i]) / 255
		if c <= .04045 {
			sum += weight * c / 12.92
			continue
		}
		sum += weight * math.Pow((c+.055)/1.055, 2.4)
	}
	return sum
}

// TestTheProgramHasNoneOfThis: the SDK is for making the files only.
func TestTheProgramHasNoneOfThis(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "../../cmd/meltwarden").CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Contains(t, string(out), "meltwarden/dashboards\n")
	assert.NotContains(t, string(out), "grafana")
	assert.False(t, strings.Contains(string(out), "meltwarden/dashboards/make"))
}
