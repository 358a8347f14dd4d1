// Package report makes one HTML file of a run: its picture, the cards of its shots, what
// each spoiled one differs in from a clean one, the causes that fit or do not, what to try
// next, and the recipe. It needs no other file, no script and no network, prints, and is light or dark
// as its reader is.
package report

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/plot"
	"meltwarden/daemon/review"
	"meltwarden/daemon/try"
	"meltwarden/daemon/view"
	"meltwarden/dashboards"
)

// Options are what is reported, and how.
type Options struct {
	Run int64
	// Shot is the number of the shot to look into; zero takes every spoiled one.
	Shot int
	// Beside is the shot to hold it beside; the zero place lets each have its own.
	Beside evidence.Place
	Unit   review.Unit
}

// Why is a case as the templates of pages and reports take it.
type Why struct {
	evidence.Sheet
	Labels                  view.Labels
	Heads                   []string
	NoVerdict, NothingApart string
	// Linked is true on a page that other pages are within reach of.
	Linked, Fahrenheit bool
}

// WhyOf puts a case into words.
func WhyOf(c evidence.Case, u review.Unit) Why {
	return Why{
		Sheet: c.Sheet(u), Labels: view.Texts(), Heads: evidence.RowHeads(),
		NoVerdict: evidence.NoVerdict, NothingApart: evidence.NothingApart, Fahrenheit: u == review.Fahrenheit,
	}
}

// Try is what to try next as the templates of pages and reports take it.
type Try struct {
	Labels                        view.Labels
	Heading, Rule, Unseen, Wanted string
	// AsItIs and ToWait head the card of what was drawn outside its band.
	AsItIs, ToWait string
	Advice         []try.Advice
	// Address takes what is accepted, where Here says that it may be; "" in a report, which
	// can accept nothing.
	Address string
	Here    bool
}

// TryOf puts what to try next into words.
func TryOf(advice []try.Advice) Try {
	return Try{
		Labels: view.Texts(), Heading: try.Heading, Rule: try.Rule, Unseen: try.UnseenWords, Wanted: try.WantedWords, AsItIs: try.AsItIs, ToWait: try.ToWait, Advice: advice,
	}
}

// page is what the template is filled with.
type page struct {
	Labels                           view.Labels
	Title, Heading, Subheading, Note string
	Style                            template.CSS
	Invented                         bool
	Picture                          template.HTML // "" where nothing was recorded
	Deviations                       []string
	Shots                            []shotPart
	Recipe                           string
}

// shotPart is one shot.
type shotPart struct {
	review.Sheet
	Labels view.Labels
	Why    Why
	Try    Try
	Over   template.HTML // "" where there is no other run
}

// Write writes the report in one piece. Its error wraps history.ErrNoRun or
// history.ErrNoShot where there is none.
func Write(w io.Writer, s *history.Store, o Options) error {
	about, err := review.Of(s, o.Run)
	if err != nil {
		return err
	}
	p := page{
		Labels: view.Texts(), Title: fmt.Sprintf(view.Texts().ReportOf, about.Heading()), Heading: about.Heading(), Subheading: about.Subheading(), Note: about.Run.Note,
		Invented: about.Run.Invented, Deviations: about.DeviationLines(o.Unit), Recipe: about.Recipe.Source,
	}
	if p.Style, err = style(); err != nil {
		return err
	}
	if p.Picture, err = picture(s, o); err != nil {
		return err
	}
	if p.Shots, err = shots(s, about, o); err != nil {
		return err
	}
	var out bytes.Buffer
	if err := dashboards.Pages.ExecuteTemplate(&out, "report.html", p); err != nil {
		return err
	}
	_, err = w.Write(out.Bytes())
	return err
}

// style is that of the pages, without a page's theme script: dark where the reader's
// screen is, and light on paper.
func style() (template.CSS, error) {
	var css strings.Builder
	for _, name := range []string{"bench.css", "past.css", "access.css"} {
		text, err := dashboards.Assets.ReadFile("assets/" + name)
		if err != nil {
			return "", err
		}
		css.Write(text)
	}
	dark, err := dashboards.Assets.ReadFile("assets/dark.css")
	if err != nil {
		return "", err
	}
	fmt.Fprintf(&css, ":root{%s}\n@media screen and (prefers-color-scheme: dark) {\n%s\n:root{%s}\n}\n",
		plot.InlineColours(false), dark, plot.InlineColours(true))
	return template.CSS(css.String()), nil
}

// wide and high are the pictures, in pixels; the page makes them narrower where it is.
const wide, high = 1100, 740

func styleOf(u review.Unit) plot.Style {
	return plot.Style{Width: wide, Height: high, Fahrenheit: u == review.Fahrenheit}
}

// picture is the whole run; "" where nothing was recorded.
func picture(s *history.Store, o Options) (template.HTML, error) {
	run, err := review.Plot(s, o.Run, 0, 0)
	if err != nil || !hasPoints(run) {
		return "", err
	}
	return inline(run, styleOf(o.Unit))
}

func hasPoints(run plot.Run) bool {
	for _, p := range run.Pots {
		if len(p.Points) > 0 {
			return true
		}
	}
	return false
}

// inline is a picture that was made here, so that it is markup and no text.
func inline(run plot.Run, style plot.Style) (template.HTML, error) {
	svg, err := plot.Inline(run, style)
	return template.HTML(svg), err
}

func shots(s *history.Store, about review.Review, o Options) ([]shotPart, error) {
	var all []shotPart
	for i, sheet := range about.Sheets(o.Unit) {
		if o.Shot != sheet.Number && (o.Shot != 0 || !sheet.Spoiled || sheet.Withdrawn) {
			continue
		}
		part, err := shotOf(s, about.Shots[i], sheet, o)
		if err != nil {
			return nil, err
		}
		all = append(all, part)
	}
	if o.Shot != 0 && len(all) == 0 {
		return nil, fmt.Errorf("run %d, shot %d: %w", o.Run, o.Shot, history.ErrNoShot)
	}
	return all, nil
}

func shotOf(s *history.Store, sh history.Shot, sheet review.Sheet, o Options) (shotPart, error) {
	part := shotPart{Sheet: sheet, Labels: view.Texts()}
	c, err := evidence.Of(s, evidence.Place{Run: o.Run, Shot: sh.Number}, o.Beside)
	if err != nil {
		return part, err
	}
	part.Why = WhyOf(c, o.Unit)
	advice, err := try.Of(s, c, o.Unit)
	if err != nil {
		return part, err
	}
	part.Try = TryOf(advice)
	if c.Beside == nil {
		return part, nil
	}
	own, other := review.Moment{Run: o.Run, Shot: sh.Number}, review.Moment{Run: c.Beside.Run, Shot: c.Beside.Place.Shot}
	style := styleOf(o.Unit)
	style.From, style.To = About(sh.At)
	run, style, err := review.Over(s, own, other, style)
	if err != nil || !hasPoints(run) {
		return part, err
	}
	part.Over, err = inline(run, style)
	return part, err
}

// About is the stretch of a run that is shown about a shot that lies over another: the
// quarter of an hour that led to it (E), and a little after.
func About(at time.Duration) (from, to time.Duration) {
	return max(0, at-15*time.Minute), at + 3*time.Minute
}
