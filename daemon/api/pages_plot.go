package api

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"meltwarden/daemon/plot"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// plotPart is a run's picture on its page, with the ways to another stretch of time.
type plotPart struct {
	Links, Files []link
	Sizes        []pictureSize
	Fallback     string // for a browser that knows no other
	Alt          string
	// FromS and ToS are the stretch shown, in seconds of the run.
	FromS, ToS string
	// Zoom is the page's address, for another stretch.
	Zoom string
	// Axes says for each width where the time axis begins and ends in the picture,
	// as "width left right", in pixels.
	Axes string
}

// link leads to another stretch; Here is the one shown, Spoiled one with a bait
// that was.
type link struct {
	Words, Address string
	Here, Spoiled  bool
}

// pictureSize is a picture for screens of one kind, in both themes.
type pictureSize struct{ Size, Light, Dark, DarkOn string }

// everySize is the media query of any screen.
const everySize = "all"

// themed puts pictures into the theme that was chosen.
func themed(r *http.Request, sizes []pictureSize) {
	for i := range sizes {
		sizes[i].DarkOn = darkOn(r, sizes[i].Size)
	}
}

// sizes are the pictures for a phone, a tablet and a bench computer, in pixels: a
// picture that is made smaller afterwards has letters too small to read.
var sizes = []struct {
	media         string
	width, height int
}{
	{"(max-width: 600px)", 350, 760}, {"(max-width: 1100px)", 760, 760}, {everySize, 1556, 740},
}

// stretch is a part of a run's time. With a To of zero it goes to the end.
type stretch struct{ From, To time.Duration }

// least is the shortest stretch that is offered: 50 cycles of a second's fifth.
const least = 10 * time.Second

func (s stretch) query() url.Values {
	q := url.Values{}
	if s.From > 0 {
		q.Set("from", seconds(s.From))
	}
	if s.To > 0 {
		q.Set("to", seconds(s.To))
	}
	return q
}

func seconds(d time.Duration) string { return strconv.FormatFloat(d.Seconds(), 'f', -1, 64) }

// within moves a stretch into a run that ends at end, and keeps its length where
// there is room.
func (s stretch) within(end time.Duration) stretch {
	length := min(max(s.To-s.From, least), end)
	from := max(0, min(s.From, end-length))
	return stretch{from.Round(time.Second / 10), (from + length).Round(time.Second / 10)}
}

func (s stretch) length() time.Duration { return s.To - s.From }

// moved goes so many halves of its length later, or earlier.
func (s stretch) moved(halves time.Duration) stretch {
	by := halves * s.length() / 2
	return stretch{s.From + by, s.To + by}
}

// around has the same middle and another length.
func (s stretch) around(length time.Duration) stretch {
	middle := s.From + s.length()/2
	return stretch{middle - length/2, middle + length/2}
}

// plotPart is nil when nothing was recorded.
func (s *server) plotPart(r *http.Request, about review.Review) (*plotPart, error) {
	parts, err := s.History.Parts(about.Run.ID)
	if err != nil || len(parts) == 0 {
		return nil, err
	}
	last := parts[len(parts)-1]
	end := last.Offset + last.Took
	if end <= 0 {
		return nil, nil
	}
	style, err := styleOf(r.URL.Query())
	if err != nil {
		style.From, style.To = 0, 0 // a mistyped address shows the whole run
	}
	shown := stretch{style.From, style.To}
	if shown.To <= shown.From {
		shown.To = end
	}
	shown = shown.within(end)
	p := &plotPart{Links: linksOf(about, unitOf(r), shown, end), FromS: seconds(shown.From), ToS: seconds(shown.To)}
	p.Zoom = addressOfRun(about.Run.ID, unitOf(r)).whole()
	p.Alt = fmt.Sprintf(view.Texts().PlotAlt, coloursOf(about), review.Clock(shown.From), review.Clock(shown.To))
	p.addPictures(about.Run.ID, unitOf(r), shown)
	themed(r, p.Sizes)
	return p, nil
}

// linksOf are the ways to another stretch; one that leads nowhere else is left out.
func linksOf(about review.Review, u review.Unit, shown stretch, end time.Duration) []link {
	words, base := view.Texts(), addressOfRun(about.Run.ID, u)
	whole := stretch{0, end}.within(end)
	links := []link{{Words: words.WholeRun, Address: base.whole(), Here: shown == whole}}
	for _, way := range []struct {
		words string
		to    stretch
	}{
		{words.Earlier, shown.moved(-1)}, {words.Later, shown.moved(1)},
		{words.Closer, shown.around(shown.length() / 2)}, {words.Wider, shown.around(2 * shown.length())},
	} {
		if to := way.to.within(end); to != shown {
			links = append(links, link{Words: way.words, Address: base.of(to)})
		}
	}
	return append(links, linksToShots(about, u, shown, end)...)
}

func linksToShots(about review.Review, u review.Unit, shown stretch, end time.Duration) []link {
	var links []link
	for _, sheet := range about.Sheets(u) {
		there := stretch{sheet.From, sheet.To}.within(end)
		l := link{fmt.Sprintf(view.Texts().Around, sheet.Number), addressOfRun(about.Run.ID, u).of(there), shown == there, sheet.Spoiled && !sheet.Withdrawn}
		if l.Spoiled {
			l.Words += ": " + sheet.Verdict
		}
		links = append(links, l)
	}
	return links
}

func coloursOf(about review.Review) string {
	var colours []string
	for _, p := range about.Settings.Pots {
		colours = append(colours, p.Colour)
	}
	return strings.Join(colours, ", ")
}

func (p *plotPart) addPictures(run int64, u review.Unit, shown stretch) {
	picture := func(file string, width, height int, dark bool) string {
		return pictureAddress(fmt.Sprintf("/runs/%d/%s", run, file), nil, shown, width, height, dark, u)
	}
	var axes []string
	for _, size := range sizes {
		light := picture("plot.svg", size.width, size.height, false)
		p.Sizes = append(p.Sizes, pictureSize{Size: size.media, Light: light, Dark: picture("plot.svg", size.width, size.height, true)})
		p.Fallback = light
		left, right := plot.Axis(plot.Style{Width: size.width})
		axes = append(axes, fmt.Sprintf("%d %.1f %.1f", size.width, left, right))
	}
	p.Axes = strings.Join(axes, ",")
	for _, format := range []string{"svg", "png", "pdf"} {
		p.Files = append(p.Files, link{Words: strings.ToUpper(format), Address: picture("plot."+format, 1200, 800, false)})
	}
}
