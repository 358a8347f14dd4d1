package api

import (
	"crypto/rand"
	"net/http"
	"slices"

	"meltwarden/config"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
	"meltwarden/devices/registers"
)

// benchPage is what the template of the bench's page is filled with.
type benchPage struct {
	head
	Bench view.Bench
	// Worst are the findings that are always in view, Others the rest.
	Worst, Others []view.Condition
	Pots          []benchPot
	Run           string
	HeatRefused   string
	Lacks         string // what is not there, and what to do
	Mould         string // of the last shot that names one
	Aims          string // of the recipe in the push; "" without one
	LastShot      *shotCard
	Potfuls       potfuls
	// BenchKeys and PotKeys are what single keys do.
	BenchKeys, PotKeys []view.Key
	// Contacts say what the bench's own buttons and lids do.
	Contacts []string
	// FromHere is true on the bench's own computer.
	FromHere bool
	// Press is the name of the next press on this page, where no script makes one.
	Press string
	// Still leaves out the reloading that a browser without script needs: it would
	// take away what is being typed.
	Still bool
}

// benchPot is a pot with what the page offers to mark.
type benchPot struct {
	view.Pot
	ClearFromC float64
	ClearFrom  view.Both
	MayBeClear bool
	Additions  []string // what the recipe knows of
	Recalled   string
	ByHand     bool     // its melt is read by hand
	Untried    bool     // nothing is tried out with it
	NotKnown   []string // by the way it is read
}

// mostFindings is how many findings stand above the pots; more of them would push
// the pots' buttons out of view.
const mostFindings = 2

// clearBelowC is how far below its cure temperature, in kelvins, control still
// takes the word that a melt is clear.
const clearBelowC = 25.0

// page shows the bench as it is now, in plain HTML; the script keeps it so.
func (s *server) page(w http.ResponseWriter, r *http.Request) {
	b, recipe := s.now(), s.liveRecipe()
	p := benchPage{
		head: s.head(r, s.Title, "/"), Bench: b, Pots: s.benchPots(b, recipe), Run: s.Run, HeatRefused: s.HeatRefused,
		FromHere: fromHere(r), Still: r.URL.Query().Has("still"), Press: rand.Text(),
	}
	p.Lacks, p.BenchKeys, p.PotKeys = s.lacks(recipe), view.BenchKeys(), view.PotKeys()
	p.Contacts = view.Contacts(s.channels())
	if recipe != nil {
		p.Aims = review.Aims(recipe.Pour)
	}
	p.OtherUnit = "" // the script has a button for it
	shown := min(mostFindings, len(b.Conditions))
	p.Worst, p.Others = b.Conditions[:shown], b.Conditions[shown:]
	// Without a history the bench is shown all the same.
	if card, mould, err := s.lastShot(r); err == nil {
		p.LastShot, p.Mould = card, mould
	}
	if s.History != nil {
		p.Potfuls, _ = s.potfulsNow(r) // likewise
	}
	show(w, http.StatusOK, "page.html", p)
}

// lacks says what the page can not show for want of a run or its recipe, and what to do.
func (s *server) lacks(recipe *config.Recipe) string {
	switch l := view.Texts(); {
	case s.History == nil || s.History.Live() == 0:
		return l.NoRunHelp
	case recipe == nil:
		return l.NoRecipeHelp
	}
	return ""
}

// channels are those of the bench file; none where it is not known.
func (s *server) channels() []registers.Channel {
	if s.Bench == nil {
		return nil
	}
	return s.Bench.Channels
}

func (s *server) benchPots(b view.Bench, recipe *config.Recipe) []benchPot {
	var pots []benchPot
	additions := additions(recipe)
	for i, p := range b.Pots {
		from := s.Settings.Pots[i].CureC - clearBelowC
		pots = append(pots, benchPot{
			Pot: p, ClearFromC: from, ClearFrom: view.ClearFrom(from), MayBeClear: float64(p.MeltC) >= from || float64(p.MeltEstimateC) >= from,
			Additions: additions[p.Name], ByHand: !s.Settings.Pots[i].Probes.HasMelt(), Untried: s.Settings.Pots[i].Probes != reading.BothProbes || s.Settings.Pots[i].Controller.Is(),
			NotKnown: view.Unknowable(s.Settings.Pots[i], s.channels()),
		})
		pots[i].Recalled = s.recalled(b.Live, i, p.Recalled)
	}
	return pots
}

// recalled says what was known of a pot when the run began, and where it has turned out
// to be another one.
func (s *server) recalled(live bool, i int, still bool) string {
	if i >= len(s.Recalled) {
		return ""
	}
	set := &s.Settings.Pots[i]
	if live && set.Known != nil && set.Known.Fits(set.LoopPot()) && !still {
		return s.Recalled[i] + view.Texts().Otherwise
	}
	return s.Recalled[i]
}

// liveVersion is the recipe version of the run being recorded; empty where it is not
// easily known.
func (s *server) liveVersion() history.Version {
	if s.History == nil || s.History.Live() == 0 {
		return history.Version{}
	}
	run, err := s.History.Run(s.History.Live())
	if err != nil {
		return history.Version{}
	}
	version, err := s.History.Version(run.Fingerprint)
	if err != nil {
		return history.Version{}
	}
	return version
}

// liveRecipe is the recipe of the run being recorded, nil where it is not easily known.
func (s *server) liveRecipe() *config.Recipe {
	version := s.liveVersion()
	recipe, err := config.ParseRecipe(version.Name, []byte(version.Source))
	if err != nil {
		return nil
	}
	return recipe
}

// additions are the names and kinds of what a recipe puts into each pot, by the pot's
// name; none without a recipe.
func additions(recipe *config.Recipe) map[string][]string {
	if recipe == nil {
		return nil
	}
	all := map[string][]string{}
	for _, c := range recipe.Colours {
		all[c.Pot] = namesOf(c)
	}
	return all
}

func namesOf(c config.Colour) []string {
	var names []string
	for _, colourant := range c.Colourants {
		names = append(names, colourant.Name)
	}
	for name, typed := range map[string]string{"flake": c.Flake + c.FlakeCut, "pearl": c.Pearl, "salt": c.Salt, "scent": c.Scent} {
		if typed != "" {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// lastShotPart is the last shot of the run being recorded, as a part of the
// bench's page.
func (s *server) lastShotPart(w http.ResponseWriter, r *http.Request) {
	card, _, err := s.lastShot(r)
	if err != nil {
		pastProblem(w, err)
		return
	}
	show(w, http.StatusOK, "last-shot", card)
}

// lastShot is the last shot of the run being recorded, nil where there is none,
// and the mould that was named last.
func (s *server) lastShot(r *http.Request) (card *shotCard, mould string, err error) {
	if s.History == nil || s.History.Live() == 0 {
		return nil, "", nil
	}
	run := s.History.Live()
	shots, err := s.History.Shots(run)
	if err != nil || len(shots) == 0 {
		return nil, "", err
	}
	settings, err := s.History.Settings(run)
	if err != nil {
		return nil, "", err
	}
	last := shots[len(shots)-1:]
	card = &cardsOf(run, s.liveVersion(), settings, last, unitOf(r))[0]
	return card, lastMould(shots), nil
}

func lastMould(shots []history.Shot) string {
	for _, shot := range slices.Backward(shots) {
		if shot.Mould != "" {
			return shot.Mould
		}
	}
	return ""
}
