package api

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/plot"
	"meltwarden/daemon/review"
)

// plots are the pictures of a run, by the last part of their address.
var plots = map[string]struct {
	format    plot.Format
	mediaType string
}{
	"plot.svg": {plot.SVG, "image/svg+xml"}, "plot.png": {plot.PNG, "image/png"}, "plot.pdf": {plot.PDF, "application/pdf"},
}

// plot draws a run: from and to in seconds of the run, width and height in pixels,
// dark and fahrenheit when they are not empty.
func (s *server) plot(w http.ResponseWriter, r *http.Request) {
	s.draw(w, r, func(run int64, style plot.Style) (plot.Run, plot.Style, error) {
		picture, err := review.Plot(s.History, run, style.From, style.To)
		return picture, style, err
	})
}

// draw answers with a picture of the run that the route names.
func (s *server) draw(w http.ResponseWriter, r *http.Request, of func(run int64, style plot.Style) (plot.Run, plot.Style, error)) {
	if fromElsewhere(w, r) {
		return
	}
	kind, ok := plots[r.PathValue("plot")]
	if !ok {
		refuse(w, noPicture, "there is no such picture; ask for plot.svg, plot.png or plot.pdf")
		return
	}
	id := s.runOf(w, r)
	if id == 0 {
		return
	}
	style, err := styleOf(r.URL.Query())
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	style.Format = kind.format
	done, ok := s.turn(w, r, drawnWithin)
	if !ok {
		tooMany(w)
		return
	}
	defer done()
	picture, style, err := of(id, style)
	if err != nil {
		pastProblem(w, err)
		return
	}
	var out bytes.Buffer
	if err := plot.Draw(&out, picture, style); err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	w.Header().Set("Content-Type", kind.mediaType)
	w.Write(out.Bytes())
}

// fromElsewhere refuses another site's page, which could keep the processor busy.
func fromElsewhere(w http.ResponseWriter, r *http.Request) bool {
	if r.Header.Get("Sec-Fetch-Site") != "cross-site" {
		return false
	}
	refuse(w, otherSite, "what takes long is done for this program's own pages only")
	return true
}

// errTooMany is why something that takes long was not done.
var errTooMany = errors.New("too much is wanted at once; the bench comes first")

func tooMany(w http.ResponseWriter) {
	refuseFor(w, tooBusy, errTooMany)
}

// Drawing takes the processor from the bench, so one picture is drawn at a time, a
// few may wait for it, and none is larger than a large screen. Whatever else takes long
// waits in the same line.
const (
	drawAtOnce  = 1
	drawWithin  = 10 * time.Second
	drawnWithin = 10 * time.Second
	mostPixels  = 2400
)

// turn waits until nothing else that takes long is under way, and gives what is done then
// so much time: by the server's own limits the request would be over, its answer lost and
// its context at an end, while the work goes on. Where ok is true, done has to be called.
func (s *server) turn(w http.ResponseWriter, r *http.Request, within time.Duration) (done func(), ok bool) {
	end, c := time.Now().Add(drawWithin+within), http.NewResponseController(w)
	// A recorder of an answer has no deadlines to move.
	_, _ = c.SetReadDeadline(end), c.SetWriteDeadline(end)
	return func() { <-s.drawing }, s.mayDraw(r)
}

// mayDraw waits for its turn. Whoever got it has to take a value out of s.drawing.
func (s *server) mayDraw(r *http.Request) bool {
	select {
	case s.drawing <- struct{}{}:
		return true
	case <-time.After(drawWithin):
	case <-r.Context().Done():
	}
	return false
}

func styleOf(q url.Values) (plot.Style, error) {
	style := plot.Style{Width: 1200, Height: 800, Dark: q.Get("dark") != "", Fahrenheit: q.Get("fahrenheit") != ""}
	for name, to := range map[string]*int{"width": &style.Width, "height": &style.Height} {
		if typed := q.Get(name); typed != "" {
			n, err := strconv.Atoi(typed)
			if err != nil {
				return style, wrong(name, typed, "write a number of pixels")
			}
			if n > mostPixels {
				return style, wrong(name, typed, fmt.Sprintf("write at most %d pixels", mostPixels))
			}
			*to = n
		}
	}
	for name, to := range map[string]*time.Duration{"from": &style.From, "to": &style.To} {
		if typed := q.Get(name); typed != "" {
			seconds, err := strconv.ParseFloat(typed, 64)
			if err != nil || !(seconds >= 0 && seconds < 1e7) {
				return style, wrong(name, typed, "write a number of seconds")
			}
			*to = time.Duration(seconds * float64(time.Second))
		}
	}
	return style, nil
}

// styleFields are what a picture can be asked for by.
func styleFields() []describe.Field {
	return []describe.Field{
		{Name: "from", Says: "where it begins, in seconds of the run", Is: describe.Number, Example: "600"}, {Name: "to", Says: "where it ends, in seconds of the run", Is: describe.Number, Example: "1200"},
		{Name: "width", Says: "in pixels", Is: describe.Whole, Most: mostPixels, Example: "1200"}, {Name: "height", Says: "in pixels", Is: describe.Whole, Most: mostPixels, Example: "800"},
		{Name: "dark", Says: "anything here draws it for a dark screen"}, {Name: "fahrenheit", Says: "anything here draws it in degrees Fahrenheit"},
	}
}

func plotOperations() []describe.Operation {
	drawn := []describe.Answer{
		{Status: 200, MediaType: "image/svg+xml", Says: "The picture"}, {Status: 200, MediaType: "image/png"}, {Status: 200, MediaType: "application/pdf"},
	}
	may := kinds(runKinds, noPicture, wrongField, otherSite, tooBusy, doesNotFit)
	return []describe.Operation{
		{Route: "GET /runs/{run}/{plot}", Group: groupPages, Does: "A run as a picture", In: styleFields(), Answers: drawn, Problems: may},
		{
			Route: "GET /runs/{run}/over/{plot}", Group: groupPages, Does: "A run with another over it, as a picture", Answers: drawn, Problems: kinds(may, noShot),
			In: append(styleFields(), describe.Field{Name: "other", Says: "the other run's number", Is: describe.Whole, Least: 1, Needed: true, Example: "2"},
				describe.Field{Name: "shot", Says: "its shot that falls together with the other's; without it, when each was ready to pour", Is: describe.Whole, Least: 1, Example: "2"},
				describe.Field{Name: "their", Says: "the other's shot", Is: describe.Whole, Least: 1, Example: "1"}),
		},
	}
}
