package api

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/try"
	"meltwarden/daemon/view"
)

// recipesPage is what the template of the recipes is filled with.
type recipesPage struct {
	head
	Recipes      []recipeGroup
	WithoutStore bool
	Tried        *attemptsPart // nil without a store
}

// recipeGroup is a recipe with its versions, the newest first.
type recipeGroup struct {
	Name     string
	Versions []madeRow
}

// versionRow is one version of a recipe.
type versionRow struct {
	history.Version
	Address, FromAddress string
	AddedOn              string
}

// madeRow is one with what was made with it.
type madeRow struct {
	versionRow
	Runs, Shots, Clean int
}

func madeRowOf(m history.Made, h head) madeRow {
	return madeRow{versionRowOf(m.Version, h), m.Runs, m.Shots, m.Clean}
}

func versionRowOf(v history.Version, h head) versionRow {
	return versionRow{
		Version: v, Address: "/recipes/" + v.Fingerprint + h.Carry,
		FromAddress: fmt.Sprintf("/runs/%d%s", v.FromRun, h.Carry), AddedOn: v.Added.Format(time.DateOnly),
	}
}

// recipesPage lists every recipe with its versions.
func (s *server) recipesPage(w http.ResponseWriter, r *http.Request) {
	p := recipesPage{head: s.unitless(r, view.Texts().Recipes, "/recipes"), WithoutStore: s.History == nil}
	var versions []history.Made
	if s.History != nil {
		var err error
		if versions, err = s.History.Made(); err != nil {
			pastProblem(w, err)
			return
		}
	}
	for _, v := range versions {
		if n := len(p.Recipes); n == 0 || p.Recipes[n-1].Name != v.Name {
			p.Recipes = append(p.Recipes, recipeGroup{Name: v.Name})
		}
		g := &p.Recipes[len(p.Recipes)-1]
		g.Versions = append(g.Versions, madeRowOf(v, p.head))
	}
	if s.History != nil {
		tried, err := s.attemptsPart(r, p.head, func(try.Attempt) bool { return true })
		if err != nil {
			pastProblem(w, err)
			return
		}
		p.Tried = &tried
	}
	show(w, http.StatusOK, "recipes.html", p)
}

// recipePage is what the template of one recipe version is filled with.
type recipePage struct {
	head
	madeRow
	ParentVersion *versionRow // nil for the first one
	Differences   []string
	NotTold       string // why there are none to tell
	// Contrasts are those of neighbours; a text that is no recipe any more has none.
	Contrasts   []config.Contrast
	SwatchNote  string
	Rows        []runRow
	RunsAddress string
	PlanAddress string
	Tried       *attemptsPart // nil where nothing was tried with it
}

// recipePage shows one version: what was typed, what differs from the one before,
// and what was made with it.
func (s *server) recipePage(w http.ResponseWriter, r *http.Request) {
	if s.History == nil {
		refuse(w, nothingKept, view.Texts().WithoutStore)
		return
	}
	v, err := s.History.MadeWith(r.PathValue("fingerprint"))
	if err != nil {
		pastProblem(w, err)
		return
	}
	p := recipePage{head: s.unitless(r, fmt.Sprintf("%s, %d", v.Name, v.Number), "/recipes")}
	p.madeRow = madeRowOf(v, p.head)
	if err := s.fillRecipe(&p, unitOf(r)); err != nil {
		pastProblem(w, err)
		return
	}
	if p.Tried, err = s.attemptsOf(r, p.head, v.Fingerprint); err != nil {
		pastProblem(w, err)
		return
	}
	show(w, http.StatusOK, "recipe.html", p)
}

func (s *server) fillRecipe(p *recipePage, u review.Unit) error {
	if recipe, err := config.ParseRecipe(p.Name, []byte(p.Source)); err == nil {
		p.Contrasts = config.Contrasts(recipe)
		p.SwatchNote = config.SwatchNote(p.Contrasts)
	}
	if p.Parent != "" {
		parent, err := s.History.Version(p.Parent)
		if err != nil {
			return err
		}
		row := versionRowOf(parent, p.head)
		p.ParentVersion = &row
		if p.Differences, err = differences(parent, p.Version); err != nil {
			p.NotTold = err.Error()
		}
	}
	runs, err := s.History.Runs(history.Filter{Text: p.Fingerprint})
	if err != nil {
		return err
	}
	runs = slices.DeleteFunc(runs, func(r history.Run) bool { return r.Fingerprint != p.Fingerprint })
	p.Rows = rowsOf(runs, p.head)
	q := url.Values{"text": {p.Fingerprint}}
	if u == review.Fahrenheit {
		q.Set(unitKey, inFahrenheit)
	}
	p.RunsAddress = address("/runs", q)
	q.Del("text")
	q.Set(recipeKey, p.Fingerprint)
	p.PlanAddress = address("/plan", q)
	return nil
}

// differences are those from one version to another. It fails for a text that
// this program does not take as a recipe any more.
func differences(from, to history.Version) ([]string, error) {
	old, err := config.ParseRecipe(fmt.Sprintf("%s, version %d", from.Name, from.Number), []byte(from.Source))
	if err != nil {
		return nil, err
	}
	recent, err := config.ParseRecipe(fmt.Sprintf("%s, version %d", to.Name, to.Number), []byte(to.Source))
	if err != nil {
		return nil, err
	}
	return config.Differences(old, recent), nil
}
