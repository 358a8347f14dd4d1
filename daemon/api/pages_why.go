package api

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/evidence"
	"meltwarden/daemon/plot"
	"meltwarden/daemon/report"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// whyPage is what the template that looks into a shot is filled with.
type whyPage struct {
	head
	Why                       report.Why
	RunAddress, ReportAddress string
	Choices                   []evidence.Choice
	BesidePlace               evidence.Place // zero where there is none
	Over                      *overPart      // nil where there is no other shot
	Try                       report.Try
}

// overPart is a picture of two runs over each other.
type overPart struct {
	Sizes         []pictureSize
	Fallback, Alt string
	// Page is the address of the page that lays other runs over this one.
	Page string
}

// caseOf gathers the case that a route names; ok is false after an answer that says why
// there is none.
func (s *server) caseOf(w http.ResponseWriter, r *http.Request) (c evidence.Case, ok bool) {
	run, number := s.shotOf(w, r)
	if number == 0 {
		return c, false
	}
	beside, err := besideOf(r.URL.Query())
	if err == nil {
		c, err = evidence.Of(s.History, evidence.Place{Run: run, Shot: number}, beside)
	}
	if err != nil {
		pastProblem(w, err)
		return c, false
	}
	return c, true
}

// besideOf is the shot that the maker chose; zero for none.
func besideOf(q url.Values) (evidence.Place, error) {
	if typed := q.Get("beside"); typed != "" {
		return evidence.ParsePlace(typed)
	}
	return evidence.Place{}, nil
}

// why is a case as data.
func (s *server) why(w http.ResponseWriter, r *http.Request) {
	if c, ok := s.caseOf(w, r); ok {
		writeJSON(w, http.StatusOK, c)
	}
}

// whyPage looks into one shot.
func (s *server) whyPage(w http.ResponseWriter, r *http.Request) {
	c, ok := s.caseOf(w, r)
	if !ok {
		return
	}
	u, run := unitOf(r), c.Review.Run.ID
	h := s.head(r, fmt.Sprintf("shot %d · %s", c.Shot.Number, c.Review.Heading()), "/runs")
	h.Simulated = c.Review.Run.Invented
	p := whyPage{head: h, Why: report.WhyOf(c, u), Choices: c.Choices, RunAddress: fmt.Sprintf("/runs/%d%s#shot-%d", run, h.Carry, c.Shot.Number)}
	p.Why.Linked = true
	q := url.Values{"shot": {strconv.Itoa(c.Shot.Number)}}
	if b := c.Beside; b != nil {
		p.BesidePlace = b.Place
		q.Set("beside", b.Typed())
		own, other := review.Moment{Run: run, Shot: c.Shot.Number}, review.Moment{Run: b.Run, Shot: b.Place.Shot}
		from, to := report.About(c.Shot.At)
		p.Over = overPartOf(own, other, u, stretch{from, to})
		themed(r, p.Over.Sizes)
	}
	setUnit(q, u)
	p.ReportAddress = address(fmt.Sprintf("/runs/%d/report", run), q)
	var err error
	if p.Try, err = s.tryPart(r, c); err != nil {
		pastProblem(w, err)
		return
	}
	show(w, http.StatusOK, "why.html", p)
}

func setUnit(q url.Values, u review.Unit) {
	if u == review.Fahrenheit {
		q.Set(unitKey, inFahrenheit)
	}
}

// overPartOf are the pictures of two runs over each other; a shown of zero is all of the
// first one.
func overPartOf(own, other review.Moment, u review.Unit, shown stretch) *overPart {
	about := url.Values{"other": {strconv.FormatInt(other.Run, 10)}}
	if own.Shot > 0 {
		about.Set("shot", strconv.Itoa(own.Shot))
		about.Set("their", strconv.Itoa(other.Shot))
	}
	page := url.Values{}
	for key := range about {
		page.Set(key, about.Get(key))
	}
	page.Set("align", map[bool]string{true: byShot, false: byReady}[own.Shot > 0])
	setUnit(page, u)
	p := &overPart{
		Page: address(fmt.Sprintf("/runs/%d/beside", own.Run), page),
		Alt:  fmt.Sprintf(view.Texts().OverAlt, own.Run, other.Run),
	}
	for _, size := range sizes {
		picture := func(dark bool) string {
			return pictureAddress(fmt.Sprintf("/runs/%d/over/plot.svg", own.Run), about, shown, size.width, size.height, dark, u)
		}
		p.Sizes = append(p.Sizes, pictureSize{Size: size.media, Light: picture(false), Dark: picture(true)})
		p.Fallback = picture(false)
	}
	return p
}

// pictureAddress is the address of a picture with its stretch of time, size and look.
func pictureAddress(path string, about url.Values, shown stretch, width, height int, dark bool, u review.Unit) string {
	q := shown.query()
	for key := range about {
		q.Set(key, about.Get(key))
	}
	q.Set("width", strconv.Itoa(width))
	q.Set("height", strconv.Itoa(height))
	if dark {
		q.Set("dark", "yes")
	}
	if u == review.Fahrenheit {
		q.Set("fahrenheit", "yes")
	}
	return address(path, q)
}

// overPlot draws a run with another over it: "other" is its number, "shot" and "their" the
// shots that fall together; without them it is when each was ready to pour.
func (s *server) overPlot(w http.ResponseWriter, r *http.Request) {
	s.draw(w, r, func(run int64, style plot.Style) (plot.Run, plot.Style, error) {
		own, other, err := momentsOf(run, r.URL.Query())
		if err != nil {
			return plot.Run{}, style, err
		}
		return review.Over(s.History, own, other, style)
	})
}

// momentsOf reads what falls together.
func momentsOf(run int64, q url.Values) (own, other review.Moment, err error) {
	own.Run = run
	if other.Run, err = strconv.ParseInt(q.Get("other"), 10, 64); err != nil {
		return own, other, fmt.Errorf("other %q: write the number of a run; %w", q.Get("other"), review.ErrNoMoment)
	}
	for key, to := range map[string]*int{"shot": &own.Shot, "their": &other.Shot} {
		if typed := q.Get(key); typed != "" {
			if *to, err = strconv.Atoi(typed); err != nil || *to < 1 {
				return own, other, fmt.Errorf("%s %q: write the number of a shot, from 1; %w", key, typed, review.ErrNoMoment)
			}
		}
	}
	if (own.Shot == 0) != (other.Shot == 0) {
		own.Shot, other.Shot = max(1, own.Shot), max(1, other.Shot)
	}
	return own, other, nil
}

// reportFile is a run in one file, of one shot with "shot", of every spoiled one without.
func (s *server) reportFile(w http.ResponseWriter, r *http.Request) {
	if fromElsewhere(w, r) {
		return
	}
	run := s.runOf(w, r)
	if run == 0 {
		return
	}
	o := report.Options{Run: run, Unit: unitOf(r)}
	name := fmt.Sprintf("run-%d.html", run)
	var err error
	if typed := r.URL.Query().Get("shot"); typed != "" {
		if o.Shot, err = strconv.Atoi(typed); err != nil || o.Shot < 1 {
			refuseFor(w, wrongField, wrong("shot", typed, "write the number of a shot, from 1"))
			return
		}
		name = fmt.Sprintf("run-%d-shot-%d.html", run, o.Shot)
	}
	if o.Beside, err = besideOf(r.URL.Query()); err != nil {
		pastProblem(w, err)
		return
	}
	done, ok := s.turn(w, r, drawnWithin)
	if !ok {
		tooMany(w)
		return
	}
	defer done()
	var out bytes.Buffer
	if err := report.Write(&out, s.History, o); err != nil {
		pastProblem(w, err)
		return
	}
	// A file to keep, and no page of this program: its own style is not let in here.
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", name))
	w.Write(out.Bytes())
}

func whyOperations() []describe.Operation {
	looks := kinds(shotKinds, doesNotFit)
	return []describe.Operation{
		{
			Route: "GET /api/v1/runs/{run}/shots/{shot}/why", Group: groupTry, Does: "A shot beside another one, and what speaks for each cause of its faults",
			More: "They are hypotheses, never a verdict.", In: []describe.Field{besideField},
			Answers: []describe.Answer{{Status: 200, Body: evidence.Case{}, Says: "The case"}}, Problems: looks,
		},
		aPage("/runs/{run}/shots/{shot}", "Why a shot came out as it did", []describe.Field{besideField, inFahrenheitField}, looks...),
		{
			Route: "GET /runs/{run}/report", Group: groupPages, Does: "All of a run in one file, to keep",
			In:       []describe.Field{{Name: "shot", Says: "only of this shot; of every spoiled one unless it is said", Is: describe.Whole, Least: 1}, besideField, inFahrenheitField},
			Answers:  []describe.Answer{{Status: 200, MediaType: "text/html", Says: "The file"}},
			Problems: kinds(looks, wrongField, otherSite, tooBusy),
		},
	}
}
