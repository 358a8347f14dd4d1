package config

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/config/swatch"
)

// Recipe is what a recipe file says: one colour for each pot of a bench. Texts
// that are "" were not recorded.
type Recipe struct {
	Name    string   `json:"name"`
	Note    string   `json:"note,omitempty"`
	Colours []Colour `json:"colours"`
	// Limits are lower than the bench's where they are not zero.
	Limits RecipeLimits `json:"limits"`
	// SteadyFor and StirWithin are what "ready" asks for.
	SteadyFor  time.Duration `json:"steady_for_ns"`
	StirWithin time.Duration `json:"stir_within_ns"`
	// Pour is what is aimed at from the draw to the push.
	Pour Pour `json:"pour,omitzero"`
	// LeastContrast is the CIEDE2000 difference below which two neighbours are said to
	// read as one; 0 is the default.
	LeastContrast float64 `json:"least_contrast,omitempty"`

	// Typed is the file as typed.
	Typed []byte `json:"-"`

	src *strict.Source
}

// RecipeLimits are in degrees Celsius; zero means the bench's, and for HeldLong the
// guard's own.
type RecipeLimits struct {
	MeltTripC   float64 `json:"melt_trip_c,omitempty"`
	PlateLimitC float64 `json:"plate_limit_c,omitempty"`
	// HeldLong is how long a cured melt may be kept hot until that is noted.
	HeldLong time.Duration `json:"held_long_ns,omitempty"`
}

// Pour is what is aimed at from the first draw to the push. What is zero has no aim.
type Pour struct {
	DrawWithin    time.Duration `json:"draw_within_ns,omitempty"`   // from the first draw to the push
	MouldAtLeastC float64       `json:"mould_at_least_c,omitempty"` // degrees Celsius
	MouldAtMostC  float64       `json:"mould_at_most_c,omitempty"`
	HeldAtMost    time.Duration `json:"held_at_most_ns,omitempty"` // from the cure of a melt to its draw
}

// Colour is one colour of the bait and how its pot is held. Temperatures are in
// degrees Celsius, the band in kelvins either way.
type Colour struct {
	Name       string          `json:"name"`
	Pot        string          `json:"pot"`             // the pot's name on the bench
	Position   string          `json:"position"`        // back, core, belly or the maker's own word
	Order      string          `json:"order,omitempty"` // when its pot is started and drawn, in the maker's words
	Base       string          `json:"base"`
	Lot        string          `json:"lot,omitempty"`
	Hardness   string          `json:"hardness,omitempty"`
	Softener   string          `json:"softener,omitempty"` // a share of the base or an amount, as typed; so the next
	Hardener   string          `json:"hardener,omitempty"`
	Volume     quantity.Volume `json:"volume"`
	Colourants []Colourant     `json:"colourants,omitempty"` // in the order they go in
	Flake      string          `json:"flake,omitempty"`      // how much, as typed; so the pearl, salt and scent
	FlakeCut   string          `json:"flake_cut,omitempty"`  // as its packet calls it, such as ".015 hex"
	FlakeMM    float64         `json:"flake_mm,omitempty"`   // across a piece; 0 is not recorded
	Pearl      string          `json:"pearl,omitempty"`
	Salt       string          `json:"salt,omitempty"`
	Scent      string          `json:"scent,omitempty"`
	SetpointC  float64         `json:"setpoint_c"`
	BandC      float64         `json:"band_c"`
	CureC      float64         `json:"cure_c"`
	Dwell      time.Duration   `json:"dwell_ns"`
	// Swatch is what the colour looks like in the bait: "#" and six hexadecimal digits
	// of sRGB (IEC 61966-2-1), in small letters. It was typed or picked, never measured.
	Swatch string `json:"swatch,omitempty"`
	// Opacity is how much of what lies behind the colour hides, from 0.01 to 1; 0 is
	// not recorded.
	Opacity float64 `json:"opacity,omitempty"`
}

// Colourant is a colourant and how much of it, as typed.
type Colourant struct {
	Name   string `json:"name"`
	Amount string `json:"amount"`
}

// LoadRecipe reads a recipe file. Its error is a *strict.Error with every
// problem found.
func LoadRecipe(path string) (*Recipe, error) {
	text, err := readFile(path)
	if err != nil {
		return nil, err
	}
	return ParseRecipe(path, text)
}

// ParseRecipe is LoadRecipe for a text that has been read; file is its name in
// messages.
func ParseRecipe(file string, typed []byte) (*Recipe, error) {
	src, top := strict.Read(file, typed)
	r := &Recipe{src: src, Typed: typed}
	r.Name = strict.Required(top, "name", name("slate eel"))
	r.Note = strict.Optional(top, "note", text("what to think of"), "")
	for _, m := range top.RequiredMaps("colours", "[{name: slate, pot: left, …}], one entry for each pot") {
		r.Colours = append(r.Colours, readColour(m))
	}
	r.Limits = readRecipeLimits(top.Map("limits"))
	r.readReady(top.Map("ready"))
	r.Pour = readPour(top.Map("pour"), src)
	r.LeastContrast = strict.Optional(top, "least-contrast", within(decimal("5"), minContrast, maxContrast, inUnit("of CIEDE2000")), 0)
	top.Done()
	unique(src, "colours[%d].name", names(r.Colours, func(c Colour) string { return c.Name }))
	unique(src, "colours[%d].pot", names(r.Colours, func(c Colour) string { return c.Pot }))
	if err := src.Err(); err != nil {
		return nil, err
	}
	return r, nil
}

func readColour(m *strict.Map) Colour {
	defer m.Done()
	cure := m.Map("cure")
	defer cure.Done()
	c := Colour{
		Name:       strict.Required(m, "name", name("slate")),
		Pot:        strict.Required(m, "pot", name("left")),
		Position:   strict.Required(m, "position", name("back")),
		Order:      strict.Optional(m, "order", text("1"), ""),
		Base:       strict.Required(m, "base", text("medium")),
		Lot:        strict.Optional(m, "lot", text("the lot's number"), ""),
		Hardness:   strict.Optional(m, "hardness", text("medium"), ""),
		Softener:   strict.Optional(m, "softener", additive("10 %"), ""),
		Hardener:   strict.Optional(m, "hardener", additive("10 %"), ""),
		Volume:     strict.Required(m, "volume", kind(parsePotful, "260 mL")),
		Colourants: readColourants(m),
		Pearl:      strict.Optional(m, "pearl", text("1 pinch"), ""),
		Salt:       strict.Optional(m, "salt", text("20 g"), ""),
		Scent:      strict.Optional(m, "scent", text("2 mL"), ""),
		SetpointC:  strict.Required(m, "setpoint", setpoint()),
		BandC:      strict.Optional(m, "band", difference("2 C", minBandC, maxBandC), defaultBandC),
		CureC:      strict.Required(cure, "temperature", temperature("172 C", minCureC, maxCureC)),
		Dwell:      strict.Optional(cure, "dwell", duration("90 s", minDwell, maxDwell), defaultDwell),
		Swatch:     strict.Optional(m, "swatch", kind(parseSwatch, "#7a8790"), ""),
		Opacity:    strict.Optional(m, "opacity", within(kind(parseOpacity, "60 %"), minOpacity, maxOpacity, percent), 0),
	}
	c.readFlake(m)
	return c
}

// readFlake reads a flake that is a text, or a section with its cut and size.
func (c *Colour) readFlake(m *strict.Map) {
	const amount = "1 pinch"
	if !m.IsSection("flake") {
		c.Flake = strict.Optional(m, "flake", text(amount), "")
		return
	}
	flake := m.Map("flake")
	defer flake.Done()
	c.FlakeCut = strict.Required(flake, "cut", text(".015 hex"))
	c.FlakeMM = strict.Optional(flake, "size", within(kind(parseFlake, "0.4 mm"), minFlakeMM, maxFlakeMM, inUnit("mm")), 0)
	c.Flake = strict.Optional(flake, "amount", text(amount), "")
}

// parseFlake reads a length in millimetres, to a millionth: what a change of unit leaves
// behind is no content.
func parseFlake(typed string) (float64, error) {
	m, err := quantity.Length(typed)
	return math.Round(m*1e9) / 1e6, err
}

// additive is a share of the base or an amount, kept as typed.
func additive(example string) strict.Kind[string] { return kind(quantity.Additive, example) }

// parseSwatch reads a colour of a screen, and returns it in small letters.
func parseSwatch(typed string) (string, error) {
	if _, err := swatch.Parse(typed); err != nil {
		return "", &quantity.Fault{
			Wrong: "no colour of a screen",
			Fix:   `write "#7a8790" with its quotes: two hexadecimal digits each for red, green and blue`,
		}
	}
	return strings.ToLower(typed), nil
}

func readColourants(m *strict.Map) []Colourant {
	var list []Colourant
	for _, c := range m.Maps("colourants") {
		list = append(list, Colourant{
			Name:   strict.Required(c, "name", text("dark grey")),
			Amount: strict.Required(c, "amount", kind(quantity.Amount, "12 drops")),
		})
		c.Done()
	}
	return list
}

// parsePotful reads a volume that a pot can have.
func parsePotful(typed string) (quantity.Volume, error) {
	v, err := quantity.ParseVolume(typed)
	if err == nil && !(v.ML >= minVolumeML && v.ML <= maxVolumeML) {
		err = &quantity.Fault{
			Wrong: "hard to believe",
			Fix:   fmt.Sprintf("check number and unit: %v mL to %v mL", minVolumeML, maxVolumeML),
		}
	}
	return v, err
}

func readRecipeLimits(m *strict.Map) RecipeLimits {
	defer m.Done()
	return RecipeLimits{
		HeldLong:    strict.Optional(m, "held-long", duration("60 min", minHeldLong, maxHeldLong), 0),
		MeltTripC:   strict.Optional(m, "melt-trip", limit("185 C", minMeltTripC, ceilingMeltTripC), 0),
		PlateLimitC: strict.Optional(m, "plate-limit", limit("220 C", minPlateLimitC, ceilingPlateLimitC), 0),
	}
}

func (r *Recipe) readReady(m *strict.Map) {
	defer m.Done()
	r.SteadyFor = strict.Optional(m, "steady-for", duration("20 s", minSteadyFor, maxSteadyFor), defaultSteadyFor)
	r.StirWithin = strict.Optional(m, "stir-within", duration("2 min", minStirWithin, maxStirWithin), defaultStirWithin)
}

// parseOpacity reads a share, to a millionth: what multiplying by a hundredth leaves
// behind is no content.
func parseOpacity(typed string) (float64, error) {
	share, err := quantity.Fraction(typed)
	return math.Round(share*1e6) / 1e6, err
}

func readPour(m *strict.Map, src *strict.Source) Pour {
	defer m.Done()
	p := Pour{
		DrawWithin:    strict.Optional(m, "draw-within", duration("20 s", minDrawWithin, maxDrawWithin), 0),
		MouldAtLeastC: strict.Optional(m, "mould-at-least", temperature("30 C", minMouldC, maxMouldC), 0),
		MouldAtMostC:  strict.Optional(m, "mould-at-most", temperature("45 C", minMouldC, maxMouldC), 0),
		HeldAtMost:    strict.Optional(m, "held-at-most", duration("40 min", minHeldAtMost, maxHeldAtMost), 0),
	}
	if p.MouldAtMostC > 0 && p.MouldAtMostC < p.MouldAtLeastC {
		src.Complain(m.Path("mould-at-most"), "below mould-at-least", "write at least "+quantity.FormatTemperature(p.MouldAtLeastC))
	}
	return p
}

// Canonical returns the recipe's content as JSON that does not depend on how
// the file was laid out: not on comments, the order of keys or colours, or
// whether a default was written out.
func (r *Recipe) Canonical() []byte {
	plain := *r
	plain.Colours = slices.SortedFunc(slices.Values(r.Colours), func(a, b Colour) int { return cmp.Compare(a.Pot, b.Pot) })
	text, err := json.Marshal(plain)
	if err != nil {
		panic(err) // only a temperature that is no number, which ParseRecipe never returns
	}
	return text
}

// fingerprintBytes is enough to tell apart what one shop will ever write.
const fingerprintBytes = 6

// Fingerprint is the recipe's version: the first 12 hexadecimal digits of the
// SHA-256 of Canonical.
func (r *Recipe) Fingerprint() string {
	sum := sha256.Sum256(r.Canonical())
	return hex.EncodeToString(sum[:fingerprintBytes])
}
