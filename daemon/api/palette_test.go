package api

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/view"
	"meltwarden/dashboards"
)

// The formula of WCAG 2.2, "contrast ratio" and "relative luminance", against pairs that
// are published: 21 to 1 for black on white (WCAG 2.2, the definition); #767676 as the
// lightest grey on white that has 4.5 to 1, at 4.54, and #949494 as that with 3, at 3.03
// (both often printed; from memory); #777 on white at 4.48, which must not be rounded up to
// 4.5 (Understanding SC 1.4.3, from memory). Red, green and blue on white are 4.00, 1.37
// and 8.59 (from memory; they follow from the weights .2126, .7152, .0722).
func TestContrastIsThatOfTheStandard(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want float64
	}{
		{"#000000", "#ffffff", 21}, {"#767676", "#ffffff", 4.54}, {"#949494", "#ffffff", 3.03}, {"#777777", "#ffffff", 4.48},
		{"#ff0000", "#ffffff", 4.00}, {"#00ff00", "#ffffff", 1.37}, {"#0000ff", "#ffffff", 8.59},
	} {
		assert.InDelta(t, c.want, contrast(t, rgb(t, c.a), rgb(t, c.b)), .006, "%s on %s", c.a, c.b)
	}
}

// rgb is a colour of six or three hexadecimal digits as a browser computes it.
func rgb(t *testing.T, hex string) string {
	t.Helper()
	if len(hex) == 4 {
		hex = "#" + strings.Repeat(hex[1:2], 2) + strings.Repeat(hex[2:3], 2) + strings.Repeat(hex[3:4], 2)
	}
	var r, g, b int
	_, err := fmt.Sscanf(hex, "#%02x%02x%02x", &r, &g, &b)
	require.NoError(t, err, hex)
	return fmt.Sprintf("rgb(%d, %d, %d)", r, g, b)
}

var variable = regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{3,6})`)

// palette is the colours of a theme, by the names of their variables; what dark does not
// name is as it is in light.
func palette(t *testing.T, theme string) map[string]string {
	t.Helper()
	colours := map[string]string{"white": "#ffffff", "black": "#000000"}
	files := []string{"bench.css"}
	if theme == "dark" {
		files = append(files, "dark.css")
	}
	for _, file := range files {
		css, err := dashboards.Assets.ReadFile("assets/" + file)
		require.NoError(t, err)
		first, _, _ := strings.Cut(string(css), "}")
		for _, m := range variable.FindAllStringSubmatch(first, -1) {
			colours[m[1]] = m[2]
		}
	}
	return colours
}

// pair is what is seen on a ground, and the least contrast it needs.
type pair struct {
	seen, on string
	least    float64
}

// pairs is where each colour is used. WCAG 2.2 asks for 4.5 to 1 of text (1.4.3) and 3 of
// large text, of what marks a field and of graphics that tell something (1.4.11).
func pairs() []pair {
	var all []pair
	for _, ground := range []string{"ground", "panel"} {
		for _, text := range []string{"ink", "dim"} {
			all = append(all, pair{text, ground, 4.5})
		}
		for _, line := range []string{"attend-line", "warn-line", "danger-line", "shoot-line", "rule-strong"} {
			all = append(all, pair{line, ground, 3})
		}
	}
	return append(all, pair{"white", "attend", 4.5}, pair{"black", "warn", 4.5}, pair{"white", "danger", 4.5}, pair{"white", "shoot", 4.5},
		pair{"ink", "warn-ground", 4.5}, pair{"dim", "warn-ground", 4.5}, pair{"ink", "band", 3}, pair{"panel", "ink", 4.5}, pair{"warn-line", "warn-ground", 3})
}

// TestThePaletteCanBeSeen in both themes.
func TestThePaletteCanBeSeen(t *testing.T) {
	for _, theme := range []string{"light", "dark"} {
		colours := palette(t, theme)
		for _, p := range pairs() {
			require.Contains(t, colours, p.seen)
			require.Contains(t, colours, p.on)
			got := contrast(t, rgb(t, colours[p.seen]), rgb(t, colours[p.on]))
			assert.GreaterOrEqual(t, got, p.least, "%s: %s on %s", theme, p.seen, p.on)
			t.Logf("%-5s %-11s on %-11s %5.2f, at least %.1f", theme, p.seen, p.on, got, p.least)
		}
	}
}

// meanings are what IEC 60073 gives colours to say about the state of a process, beside the
// tones that use them (the standard's table, as reprinted by makers of signal lamps). White,
// grey and black say nothing.
var meanings = map[view.Tone]struct {
	says     string
	from, to float64 // hue in degrees
	used     []string
}{
	view.Danger: {"red: danger, emergency, fault", 340, 375, []string{"danger", "danger-line"}},
	view.Warn:   {"yellow: caution, abnormal", 30, 60, []string{"warn", "warn-line", "warn-ground"}},
	view.Attend: {"blue: somebody has to act", 200, 240, []string{"attend", "attend-line"}},
	view.Shoot:  {"green: normal, safe", 130, 160, []string{"shoot", "shoot-line"}},
	view.Plain:  {"grey: nothing", 0, 0, []string{"ground", "panel", "ink", "dim", "rule", "rule-strong", "band"}},
}

// TestColoursMeanWhatTheStandardSays, each tone has a shape of its own as well, and no
// colour is in use without a meaning.
func TestColoursMeanWhatTheStandardSays(t *testing.T) {
	shapes, taken := dashboards.Pages.Lookup("symbols").Tree.Root.String(), map[string]view.Tone{}
	for tone := range meanings {
		shape := between(shapes, `id="tone-`+string(tone)+`"`, "</symbol>")
		require.NotEmpty(t, shape, tone)
		assert.Empty(t, taken[shape], "%s has a shape of its own", tone)
		taken[shape] = tone
	}
	for _, theme := range []string{"light", "dark"} {
		left := palette(t, theme)
		delete(left, "white")
		delete(left, "black")
		for tone, m := range meanings {
			for _, name := range m.used {
				hue, chroma := hueOf(t, left[name])
				if tone == view.Plain {
					assert.Less(t, chroma, .07, "%s: --%s is grey", theme, name)
				} else {
					assert.True(t, within(hue, m.from, m.to), "%s: --%s has hue %.0f°, %s", theme, name, hue, m.says)
					assert.Greater(t, chroma, .09, "%s: --%s is no grey", theme, name)
				}
				delete(left, name)
			}
		}
		assert.Empty(t, left, "say in meanings what these colours say")
	}
}

func within(hue, from, to float64) bool {
	return hue >= from && hue <= to || hue+360 >= from && hue+360 <= to
}

// hueOf is a colour's hue in degrees and its chroma, 0 for a grey and 1 for a pure colour,
// of sRGB as a hexagonal cone (common practice, no source).
func hueOf(t *testing.T, hex string) (hue, chroma float64) {
	var r, g, b float64
	_, err := fmt.Sscanf(rgb(t, hex), "rgb(%f, %f, %f)", &r, &g, &b)
	require.NoError(t, err)
	r, g, b = r/255, g/255, b/255
	most, least := max(r, g, b), min(r, g, b)
	switch chroma = most - least; {
	case chroma == 0:
	case most == r:
		hue = math.Mod((g-b)/chroma+6, 6)
	case most == g:
		hue = (b-r)/chroma + 2
	default:
		hue = (r-g)/chroma + 4
	}
	return 60 * hue, chroma
}
