package api

import (
	"fmt"
	"net/http"
	"strings"

	"meltwarden/config"
	"meltwarden/config/scale"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
)

// scalePage is what the template for scaling a recipe version is filled with.
type scalePage struct {
	head
	versionRow
	Times, Shots, PerShot, Stay string // as typed
	Colours                     []scaleField
	Scaled                      *scale.Scaling
	tried
}

// scaleField is what can be typed of one colour.
type scaleField struct {
	Name, Now             string
	VolumeField, Volume   string
	PerShotField, PerShot string
}

// scalePage works out a version for another volume, by the form fields "times"; or
// "volume-1" and so on for a colour's potful; or "shots", "per-shot" of every colour or
// "per-shot-1" of one, and "stays".
func (s *server) scalePage(w http.ResponseWriter, r *http.Request) {
	if v, ok := s.versionOf(w, r); ok {
		s.showScale(w, r, http.StatusOK, v, tried{})
	}
}

func (s *server) showScale(w http.ResponseWriter, r *http.Request, status int, v history.Version, t tried) {
	t.MayKeep = fromHere(r)
	p := scalePage{
		head: s.unitless(r, fmt.Sprintf("%s, %d: %s", v.Name, v.Number, view.Texts().ScaleRecipe), "/recipes"), tried: t,
		Times: r.FormValue("times"), Shots: r.FormValue("shots"), PerShot: r.FormValue("per-shot"), Stay: r.FormValue("stays"),
	}
	p.versionRow = versionRowOf(v, p.head)
	recipe, err := config.ParseRecipe(v.Name, []byte(v.Source))
	if err != nil {
		p.Problems = problemLines(err)
		show(w, status, "recipe-scale.html", p)
		return
	}
	for i, c := range recipe.Colours {
		f := scaleField{Name: c.Name, Now: c.Volume.Typed, VolumeField: fmt.Sprintf("volume-%d", i+1), PerShotField: fmt.Sprintf("per-shot-%d", i+1)}
		f.Volume, f.PerShot = r.FormValue(f.VolumeField), r.FormValue(f.PerShotField)
		p.Colours = append(p.Colours, f)
	}
	if want := wantOf(recipe, r); asksFor(want) {
		if p.Scaled, err = scale.Of(recipe, s.pots(), want); err != nil {
			p.Problems = problemLines(err)
		}
	}
	show(w, status, "recipe-scale.html", p)
}

// pots are the bench's, nil where it is not known.
func (s *server) pots() []config.Pot {
	if s.Bench == nil {
		return nil
	}
	return s.Bench.Pots
}

func wantOf(recipe *config.Recipe, r *http.Request) scale.Want {
	w := scale.Want{Times: strings.TrimSpace(r.FormValue("times")), Shots: strings.TrimSpace(r.FormValue("shots"))}
	add := func(list *[]scale.Named, colour, field string) {
		if typed := strings.TrimSpace(r.FormValue(field)); typed != "" {
			*list = append(*list, scale.Named{Colour: colour, Volume: typed})
		}
	}
	add(&w.PerShot, "", "per-shot")
	add(&w.Stays, "", "stays")
	for i, c := range recipe.Colours {
		add(&w.Volumes, c.Name, fmt.Sprintf("volume-%d", i+1))
		add(&w.PerShot, c.Name, fmt.Sprintf("per-shot-%d", i+1))
	}
	return w
}

func asksFor(w scale.Want) bool {
	return w.Times != "" || w.Shots != "" || len(w.Volumes)+len(w.PerShot) > 0
}

// keepScaled keeps what scalePage worked out as a new version.
func (s *server) keepScaled(w http.ResponseWriter, r *http.Request) {
	v, ok := s.versionOf(w, r)
	if !ok {
		return
	}
	var text []byte
	recipe, err := config.ParseRecipe(v.Name, []byte(v.Source))
	if err == nil {
		var scaled *scale.Scaling
		if scaled, err = scale.Of(recipe, s.pots(), wantOf(recipe, r)); err == nil {
			text = scaled.Text
		}
	}
	s.tryText(w, r, v, text, err, func(status int, t tried) { s.showScale(w, r, status, v, t) })
}

func scaleFields() []describe.Field {
	return []describe.Field{
		{Name: "times", Says: "so many times of it", Example: "1.5"}, {Name: "volume-1", Says: "or this much of the first colour, with its unit; likewise volume-2 and so on"},
		{Name: "shots", Says: "or enough for so many shots"}, {Name: "per-shot", Says: "with so much of every colour in a shot"}, {Name: "per-shot-1", Says: "or of the first colour; likewise per-shot-2 and so on"},
		{Name: "stays", Says: "what stays in each pot that no shot takes"},
	}
}
