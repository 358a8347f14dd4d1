package api

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/config/strict"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
)

// changePage is what the template for changing a recipe version is filled with.
type changePage struct {
	head
	versionRow
	Groups []changeGroup
	Text   string // the whole text, as typed or as typed anew
	tried
}

// tried is what came of a text before it is kept.
type tried struct {
	MayKeep     bool // by who asks, and from where
	Looked      bool
	err         error // why there is no recipe
	Problems    []string
	keys        []string // of the values with a problem
	Differences []string
	// Misfits say why the recipe can not be used on this bench.
	Misfits []string
}

// changeGroup is a group of fields with what is typed in them now.
type changeGroup struct {
	Heading    string
	Fields     []changeField
	Colourants [][2]changeField // name and amount
}

type changeField struct {
	Path, Label, Value, Example string
	// Pick is the colour that a picker begins with; "" has none.
	Pick string
	// Wrong marks a field with a problem.
	Wrong bool
}

// versionOf is the version that a route names, or false after an answer.
func (s *server) versionOf(w http.ResponseWriter, r *http.Request) (history.Version, bool) {
	if s.History == nil {
		refuse(w, nothingKept, view.Texts().WithoutStore)
		return history.Version{}, false
	}
	v, err := s.History.Version(r.PathValue("fingerprint"))
	if err != nil {
		pastProblem(w, err)
	}
	return v, err == nil
}

// recipeText is a version as it was typed, as a file.
func (s *server) recipeText(w http.ResponseWriter, r *http.Request) {
	v, ok := s.versionOf(w, r)
	if !ok {
		return
	}
	w.Header().Set("Content-Type", "application/yaml") // RFC 9512
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", fileName(v)))
	w.Write([]byte(v.Source))
}

// fileName is a name that every system takes.
func fileName(v history.Version) string {
	plain := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, v.Name)
	return fmt.Sprintf("%s-v%d.yaml", plain, v.Number)
}

// changePage shows the form of a version.
func (s *server) changePage(w http.ResponseWriter, r *http.Request) {
	if v, ok := s.versionOf(w, r); ok {
		s.showChange(w, r, http.StatusOK, v, v.Source, tried{})
	}
}

// showChange shows the form with what was typed and what came of it.
func (s *server) showChange(w http.ResponseWriter, r *http.Request, status int, v history.Version, text string, t tried) {
	t.MayKeep = fromHere(r)
	p := changePage{head: s.unitless(r, fmt.Sprintf("%s, %d: %s", v.Name, v.Number, view.Texts().ChangeRecipe), "/recipes"), Text: text, tried: t}
	p.versionRow = versionRowOf(v, p.head)
	groups, err := config.Fields([]byte(v.Source))
	if err != nil {
		p.Problems = append(p.Problems, problemLines(err)...)
	}
	for _, g := range groups {
		p.Groups = append(p.Groups, changeGroupOf(g, r, t.keys))
	}
	show(w, status, "recipe-change.html", p)
}

func changeGroupOf(g config.FieldGroup, r *http.Request, wrong []string) changeGroup {
	l := view.Texts()
	c := changeGroup{Heading: l.WholeRecipe}
	if g.Colour != "" {
		c.Heading = fmt.Sprintf(l.OneColour, g.Colour)
	}
	field := func(f config.Field, label string) changeField {
		made := changeField{Path: f.Path, Label: label, Value: f.Value, Example: f.Example, Wrong: slices.Contains(wrong, f.Path)}
		if f.Key == "swatch" {
			made.Pick = pickerOf(f)
		}
		if r.PostForm.Has(f.Path) {
			made.Value = r.PostForm.Get(f.Path)
		}
		return made
	}
	for _, f := range g.Fields {
		c.Fields = append(c.Fields, field(f, f.Key))
	}
	colourants := g.Colourants
	if g.Colour != "" {
		colourants = append(colourants, g.NewColourant)
	}
	for i, both := range colourants {
		name := fmt.Sprintf(l.ColourantName, i+1)
		if i == len(g.Colourants) {
			name = l.NewColourant
		}
		c.Colourants = append(c.Colourants, [2]changeField{field(both.Name, name), field(both.Amount, l.ColourantAmount)})
	}
	return c
}

// pickerOf is the colour that the picker of a swatch begins with: without one it has to
// have some.
func pickerOf(f config.Field) string {
	if f.Value == "" {
		return "#808080"
	}
	return strings.ToLower(f.Value)
}

// changeRecipe answers what is typed in the fields of a version, or in "text" as a whole.
// With "do" as keep it is kept as a new version, otherwise what would differ is told.
func (s *server) changeRecipe(w http.ResponseWriter, r *http.Request) {
	v, ok := s.versionOf(w, r)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	var text []byte
	var err error
	if r.PostForm.Has("text") {
		text = withBreaksOf(v.Source, r.PostForm.Get("text"))
	} else {
		text, err = editedBy(r, v)
	}
	shown := string(text)
	if err != nil {
		shown = v.Source
	}
	s.tryText(w, r, v, text, err, func(status int, t tried) { s.showChange(w, r, status, v, shown, t) })
}

// withBreaksOf gives a form's text, which has line breaks of its own, those of another.
func withBreaksOf(old, text string) []byte {
	text = strings.ReplaceAll(text, "\r\n", "\n")
	if strings.Contains(old, "\r\n") {
		text = strings.ReplaceAll(text, "\n", "\r\n")
	}
	return []byte(text)
}

// editedBy is a version's text with what was typed in its fields.
func editedBy(r *http.Request, v history.Version) ([]byte, error) {
	groups, err := config.Fields([]byte(v.Source))
	if err != nil {
		return nil, err
	}
	picks := map[string]string{} // what was picked in place of typed
	for _, g := range groups {
		for _, f := range g.Fields {
			picked := r.PostForm.Get("pick:" + f.Path)
			if picked != "" && picked != pickerOf(f) && strings.TrimSpace(r.PostForm.Get(f.Path)) == f.Value {
				picks[f.Path] = picked
			}
		}
	}
	return config.Edit([]byte(v.Source), config.Retyped(groups, func(path string) (string, bool) {
		if picked, ok := picks[path]; ok {
			return picked, true
		}
		return strings.TrimSpace(r.PostForm.Get(path)), r.PostForm.Has(path)
	}))
}

// tryText tells what would come of a text made from a version, or keeps it where that
// was asked for. A page is shown by again.
func (s *server) tryText(w http.ResponseWriter, r *http.Request, v history.Version, text []byte, err error, again func(status int, t tried)) {
	var made *config.Recipe
	if err == nil {
		made, err = config.ParseRecipe(v.Name, text)
	}
	t := tried{Looked: true}
	if err != nil {
		t.err, t.Problems, t.keys = err, problemLines(err), problemKeys(err)
		s.answerTried(w, r, http.StatusBadRequest, t, again)
		return
	}
	if old, err := config.ParseRecipe(v.Name, []byte(v.Source)); err == nil {
		t.Differences = config.Differences(old, made)
	}
	t.Misfits = s.misfits(made)
	if r.PostForm.Get("do") != "keep" || made.Fingerprint() == v.Fingerprint {
		s.answerTried(w, r, http.StatusOK, t, again)
		return
	}
	kept, err := s.History.KeepVersion(time.Now(), history.Version{
		Name: made.Name, Fingerprint: made.Fingerprint(), Source: string(text), Parent: v.Fingerprint,
	})
	if err != nil {
		pastProblem(w, err)
		return
	}
	if wantsPage(r) {
		http.Redirect(w, r, "/recipes/"+kept.Fingerprint, http.StatusSeeOther)
		return
	}
	counted, err := s.History.MadeWith(kept.Fingerprint)
	if err != nil {
		pastProblem(w, err)
		return
	}
	writeJSON(w, http.StatusCreated, recipeKept{counted, t.compared()})
}

// compared says what a recipe would change.
type compared struct {
	// Differences are from the version that it was made of, in words, one a line.
	Differences []string `json:"differences"`
	// Misfits say why the recipe can not be used on this bench.
	Misfits []string `json:"misfits"`
}

// recipeKept is a new version of a recipe.
type recipeKept struct {
	Recipe history.Made `json:"recipe"`
	compared
}

func (t tried) compared() compared {
	return compared{append([]string{}, t.Differences...), append([]string{}, t.Misfits...)}
}

func (s *server) answerTried(w http.ResponseWriter, r *http.Request, status int, t tried, again func(int, tried)) {
	switch {
	case wantsPage(r):
		again(status, t)
	case t.err != nil:
		refuseFor(w, wrongRecipe, t.err)
	default:
		writeJSON(w, status, t.compared())
	}
}

// misfits are the problems that a recipe would have on this bench.
func (s *server) misfits(made *config.Recipe) []string {
	if s.Bench == nil {
		return nil
	}
	_, err := config.Settings(s.Bench, made)
	return problemLines(err)
}

// problemLines are the problems of an error, one a line.
func problemLines(err error) []string {
	var all *strict.Error
	if err == nil {
		return nil
	}
	if !errors.As(err, &all) {
		return []string{err.Error()}
	}
	var lines []string
	for _, p := range all.Problems {
		lines = append(lines, p.String())
	}
	return lines
}

// problemKeys are the ways to the values of an error's problems.
func problemKeys(err error) []string {
	var all *strict.Error
	var keys []string
	if errors.As(err, &all) {
		for _, p := range all.Problems {
			keys = append(keys, p.Key)
		}
	}
	return keys
}

func recipeOperations() []describe.Operation {
	may := []*describe.Kind{nothingKept, noVersion, notReadable}
	keep := describe.Field{Name: "do", Says: "keep makes a new version; without it only what would differ is told", Choices: []string{"keep", "look"}, Example: "look"}
	made := append(answers(http.StatusCreated, recipeKept{}, "The new version"),
		describe.Answer{Status: 200, Body: compared{}, Says: "What would differ"}, describe.Answer{Status: 200, MediaType: "text/html"})
	return []describe.Operation{
		{
			Route: "POST /api/v1/recipes/{fingerprint}/change", Group: groupRecipes, Does: "Change a recipe: a new version of it", HereOnly: true,
			More: "Either the whole text, or single values: each in a field named by its key, such as colours[2].setpoint; an empty one takes the value away. 128 KB at most.",
			Form: []describe.Field{
				keep, {Name: "text", Says: "the whole recipe, in place of single values"}, {Name: "colours[2].setpoint", Says: "such a value, with its unit", Example: "169 C"},
			},
			Answers: made, Problems: kinds(may, benchOnly, wrongField, wrongRecipe),
		},
		{
			Route: "POST /api/v1/recipes/{fingerprint}/scale", Group: groupRecipes, Does: "Make more or less of a recipe: a new version of it", HereOnly: true,
			Form: append(scaleFields(), keep), Answers: made, Problems: kinds(may, benchOnly, wrongRecipe),
		},
		aPage("/recipes", "Every recipe, and what was tried", []describe.Field{inFahrenheitField}, notReadable),
		aPage("/recipes/{fingerprint}", "A recipe version", []describe.Field{inFahrenheitField}, may...),
		aPage("/recipes/{fingerprint}/change", "Change a recipe", []describe.Field{inFahrenheitField}, may...),
		aPage("/recipes/{fingerprint}/scale", "Make more or less of a recipe", append(scaleFields(), inFahrenheitField), may...),
		{
			Route: "GET /recipes/{fingerprint}/text", Group: groupPages, Does: "A recipe version as it was typed, as a file",
			Answers: []describe.Answer{{Status: 200, MediaType: "application/yaml", Says: "The file"}}, Problems: may,
		},
	}
}
