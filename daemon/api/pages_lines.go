package api

import (
	"fmt"
	"net/http"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/view"
	"meltwarden/devices/modbus"
)

// linesPage is what the template of the serial lines is filled with.
type linesPage struct {
	head
	Lines []view.SerialLine
	Times string
}

// serialLines are the lines as they are now; none where the program has none to look at.
func (s *server) serialLines() view.SerialLines {
	if s.Lines == nil {
		return view.SerialLines{Lines: []view.SerialLine{}}
	}
	return s.Lines()
}

// linesPage shows how the devices answer, and whether each line keeps up. It changes
// nothing.
func (s *server) linesPage(w http.ResponseWriter, r *http.Request) {
	l := view.Texts()
	p := linesPage{head: s.unitless(r, l.Serial, "/lines"), Lines: s.serialLines().Lines, Times: fmt.Sprintf(l.SerialTimes, modbus.Remembered)}
	show(w, http.StatusOK, "lines.html", p)
}

// Ms is a time in milliseconds in words.
func (linesPage) Ms(f frames.Figure) string { return view.InMs(f) }

func (s *server) lines(w http.ResponseWriter, _ *http.Request) {
	writeJSON(w, http.StatusOK, s.serialLines())
}

// lineOperations describes what tells about serial lines.
func lineOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET /api/v1/lines", Group: groupHealth, Does: "How the devices answer on their serial lines",
			More:    "Counts are since the program began, times of the last exchanges that were answered. What a cycle takes is reckoned from the bench file, with the times that devices were seen to need.",
			Answers: []describe.Answer{{Status: 200, Body: view.SerialLines{}, Says: "The lines"}},
		},
		aPage("/lines", "How the devices answer on their serial lines", nil),
	}
}
