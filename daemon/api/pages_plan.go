package api

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"time"

	"meltwarden/config"
	"meltwarden/config/strict"
	"meltwarden/control/guard"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
	"meltwarden/daemon/plan"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// planPage is what the template of a plan is filled with.
type planPage struct {
	head
	Versions            []planChoice
	At, ReadyAt, Room   string // as typed
	Sheet               *plan.Sheet
	Nothing, NotPlanned string
}

type planChoice struct {
	Fingerprint, Words string
	Chosen             bool
}

// What the address of a plan can say.
const (
	recipeKey  = "recipe"
	atKey      = "at"
	readyAtKey = "ready-at"
	roomKey    = "room"
)

// errPlan is wrapped by what is wrong with the address of a plan.
var errPlan = errors.New("no plan")

// planPage shows the plan of an evening with a kept recipe.
func (s *server) planPage(w http.ResponseWriter, r *http.Request) {
	if fromElsewhere(w, r) {
		return
	}
	q := r.URL.Query()
	p := planPage{head: s.head(r, view.Texts().Plan, "/plan"), At: q.Get(atKey), ReadyAt: q.Get(readyAtKey), Room: q.Get(roomKey)}
	versions, chosen, err := s.versionToPlan(q.Get(recipeKey))
	if err != nil {
		pastProblem(w, err)
		return
	}
	for _, v := range versions {
		p.Versions = append(p.Versions, planChoice{v.Fingerprint, fmt.Sprintf("%s, %s", v.Name, fmt.Sprintf(p.Labels.Version, v.Number)), v.Fingerprint == chosen.Fingerprint})
	}
	if chosen.Fingerprint == "" || s.Plan == nil {
		p.OtherUnit = "" // without a plan no temperature is shown
		if p.Nothing = p.Labels.NoPlan; s.History == nil {
			p.Nothing = p.Labels.WithoutStore
		}
		show(w, http.StatusOK, "plan.html", p)
		return
	}
	planned, err := s.planOf(w, r, chosen)
	status := http.StatusOK
	if err != nil {
		p.NotPlanned, status, p.OtherUnit = err.Error(), planKind(err).Status, "" // likewise
	} else {
		sheet := planned.Sheet(unitOf(r) == review.Fahrenheit)
		p.Title, p.Sheet = sheet.Title, &sheet
	}
	show(w, status, "plan.html", p)
}

// plan is the plan of an evening as numbers.
func (s *server) plan(w http.ResponseWriter, r *http.Request) {
	if fromElsewhere(w, r) {
		return
	}
	_, chosen, err := s.versionToPlan(r.URL.Query().Get(recipeKey))
	if err != nil {
		pastProblem(w, err)
		return
	}
	if chosen.Fingerprint == "" || s.Plan == nil {
		refuse(w, nothingToPlan, view.Texts().NoPlan)
		return
	}
	planned, err := s.planOf(w, r, chosen)
	if err != nil {
		refuseFor(w, planKind(err), err)
		return
	}
	writeJSON(w, http.StatusOK, planned)
}

func planKind(err error) *describe.Kind {
	var wrong *strict.Error
	switch {
	case errors.Is(err, errPlan):
		return wrongField
	case errors.As(err, &wrong):
		return wrongRecipe
	case errors.Is(err, errTooMany):
		return tooBusy
	}
	return notPlanned
}

// versionToPlan is the version with a fingerprint; where none is named that of the run
// being recorded, or else the one that was kept last. There may be none at all.
func (s *server) versionToPlan(fingerprint string) (all []history.Version, chosen history.Version, err error) {
	if s.History == nil {
		return nil, chosen, nil
	}
	if all, err = s.History.Versions(); err != nil {
		return nil, chosen, err
	}
	if run := s.History.Live(); fingerprint == "" && run != 0 {
		live, err := s.History.Run(run)
		if err != nil {
			return nil, chosen, err
		}
		fingerprint = live.Fingerprint
	}
	for _, v := range all {
		if v.Fingerprint == fingerprint || fingerprint == "" && v.Added.After(chosen.Added) {
			chosen = v
		}
	}
	if fingerprint != "" && chosen.Fingerprint == "" {
		return nil, chosen, fmt.Errorf("recipe version %s: %w", fingerprint, history.ErrNoVersion)
	}
	return all, chosen, nil
}

// planWithin is how long a plan may take: an evening is rehearsed several times for it (E:
// seconds on a small computer).
const planWithin = time.Minute

// planOf plans an evening with a version, as the address wants it.
func (s *server) planOf(w http.ResponseWriter, r *http.Request, v history.Version) (*plan.Plan, error) {
	recipe, err := config.ParseRecipe(fmt.Sprintf("%s, version %d", v.Name, v.Number), []byte(v.Source))
	if err != nil {
		return nil, err
	}
	wanted, err := s.wanted(r, time.Now())
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errPlan, err)
	}
	done, ok := s.turn(w, r, planWithin)
	if !ok {
		return nil, errTooMany
	}
	defer done()
	p, err := s.Plan(recipe, wanted)
	if p != nil {
		p.Version = v.Number
	}
	return p, err
}

// wanted is what an address says of the evening, and the room by its probe where nobody
// says how warm it is.
func (s *server) wanted(r *http.Request, now time.Time) (w plan.Wanted, err error) {
	q := r.URL.Query()
	if typed := q.Get(atKey); typed != "" {
		if w.Begin, err = plan.At(now, typed); err != nil {
			return w, wrongBy(atKey, typed, err)
		}
	}
	if typed := q.Get(readyAtKey); typed != "" {
		if !w.Begin.IsZero() {
			return w, fmt.Errorf("%s and %s: write only one of them", atKey, readyAtKey)
		}
		if w.ReadyAt, err = plan.At(now, typed); err != nil {
			return w, wrongBy(readyAtKey, typed, err)
		}
	}
	w.RoomC = s.roomC(now)
	if typed := q.Get(roomKey); typed != "" {
		if w.RoomC, err = plan.Room(typed); err != nil {
			return w, wrongBy(roomKey, typed, err)
		}
	}
	return w, nil
}

// roomC is what the room's probe shows, NaN where that is not known.
func (s *server) roomC(now time.Time) float64 {
	if f := s.Hub.Latest(); f.Live(now) && f.Room.Usable(guard.MaxAge) {
		return f.Room.C
	}
	return math.NaN()
}

func planOperations() []describe.Operation {
	asks := []describe.Field{
		{Name: recipeKey, Says: "the version's fingerprint; that of the run being recorded, or else the newest, unless it is said"},
		{Name: atKey, Says: "when heat is to be enabled, as hour:minute"}, {Name: readyAtKey, Says: "when all is to be ready, as hour:minute, in place of at", Example: "20:00"},
		{Name: roomKey, Says: "how warm the room is, with its unit", Example: "21 C"},
	}
	may := []*describe.Kind{noVersion, wrongField, wrongRecipe, otherSite, tooBusy, notReadable, notPlanned}
	return []describe.Operation{
		{
			Route: "GET /api/v1/plan", Group: groupRecipes, Does: "The plan of an evening", In: asks,
			More:    "It is an estimate, no timer: nothing heats by it.",
			Answers: []describe.Answer{{Status: 200, Body: &plan.Plan{}, Says: "The plan"}}, Problems: kinds(may, nothingToPlan),
		},
		aPage("/plan", "The plan of an evening, for two sheets of paper", append(asks, inFahrenheitField), may...),
	}
}
