package api

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

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
	kind, ok := plots[r.PathValue("plot")]
	if !ok {
		problem(w, http.StatusNotFound, "there is no such picture; ask for plot.svg, plot.png or plot.pdf")
		return
	}
	id := s.runOf(w, r)
	if id == 0 {
		return
	}
	style, err := styleOf(r.URL.Query())
	if err != nil {
		problem(w, http.StatusBadRequest, err.Error())
		return
	}
	style.Format = kind.format
	picture, err := review.Plot(s.History, id, style.From, style.To)
	if err != nil {
		pastProblem(w, err)
		return
	}
	var out bytes.Buffer
	if err := plot.Draw(&out, picture, style); err != nil {
		problem(w, http.StatusBadRequest, err.Error())
		return
	}
	w.Header().Set("Content-Type", kind.mediaType)
	w.Write(out.Bytes())
}

func styleOf(q url.Values) (plot.Style, error) {
	style := plot.Style{Width: 1200, Height: 800, Dark: q.Get("dark") != "", Fahrenheit: q.Get("fahrenheit") != ""}
	for name, to := range map[string]*int{"width": &style.Width, "height": &style.Height} {
		if typed := q.Get(name); typed != "" {
			n, err := strconv.Atoi(typed)
			if err != nil {
				return style, fmt.Errorf("%s %q: write a number of pixels", name, typed)
			}
			*to = n
		}
	}
	for name, to := range map[string]*time.Duration{"from": &style.From, "to": &style.To} {
		if typed := q.Get(name); typed != "" {
			seconds, err := strconv.ParseFloat(typed, 64)
			if err != nil || !(seconds >= 0 && seconds < 1e7) {
				return style, fmt.Errorf("%s %q: write a number of seconds", name, typed)
			}
			*to = time.Duration(seconds * float64(time.Second))
		}
	}
	return style, nil
}
