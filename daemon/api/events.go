package api

import (
	"encoding/json"
	"io"
	"net/http"
	"sync"
	"time"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/view"
)

const (
	// maxStreams is how many pages may follow the bench at once.
	maxStreams = 32
	// minGap keeps a bench that runs faster than wall time to about five frames
	// a second; it is a little less than a period, so that a real one loses none.
	minGap = 180 * time.Millisecond
	// heartBeat is how often a stream says that it is there without a frame.
	heartBeat = time.Second
	// writeWithin is how long a reader may take before it is dropped.
	writeWithin = 5 * time.Second
)

// events streams frames, and what enters the history, until the reader goes or the server shuts down.
func (s *server) events(w http.ResponseWriter, r *http.Request) {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		refuse(w, manyStreams, "too many pages are open")
		return
	}
	if s.Following != nil {
		s.Following.Add(1)
		defer s.Following.Add(-1)
	}
	ch, cancel := s.Hub.Subscribe()
	defer cancel()
	w.Header().Set("Content-Type", "text/event-stream")
	marks := marksFrom(s.History)
	e := stream{w, http.NewResponseController(w)}
	if !e.send("retry: 1000\n\n") { // milliseconds until the browser comes again
		return
	}
	for checked := time.Now(); ; {
		if now := time.Now(); now.Sub(checked) >= heartBeat {
			if checked = now; !s.door.still(visitorOf(r)) {
				return
			}
		}
		select {
		case <-r.Context().Done():
			return
		case f := <-ch:
			if !e.send(s.event(f)) || !pause(r, minGap) {
				return
			}
		case <-time.After(heartBeat):
			if !e.send(": heart-beat\n\n") {
				return
			}
		}
		if !e.sendAll(marks.fresh()) {
			return
		}
	}
}

// sameAge is for how long the age in a spelt frame counts as right.
const sameAge = 100 * time.Millisecond

// spelt is the frame that was spelt last, once for all pages that follow the bench.
type spelt struct {
	mu   sync.Mutex
	of   *frames.Frame
	at   time.Time
	text string
}

// event spells a frame as one server-sent event.
func (s *server) event(f *frames.Frame) string {
	s.spelt.mu.Lock()
	defer s.spelt.mu.Unlock()
	if now := time.Now(); s.spelt.of != f || now.Sub(s.spelt.at) > sameAge {
		s.spelt.of, s.spelt.at, s.spelt.text = f, now, spell(s.at(f, now))
	}
	return s.spelt.text
}

func spell(b view.Bench) string {
	body, err := json.Marshal(b)
	if err != nil {
		return ": " + err.Error() + "\n\n"
	}
	return "data: " + string(body) + "\n\n"
}

// pause waits, and reports whether the request still goes on.
func pause(r *http.Request, d time.Duration) bool {
	select {
	case <-r.Context().Done():
		return false
	case <-time.After(d):
		return true
	}
}

// stream writes events to one reader.
type stream struct {
	w          io.Writer
	controller *http.ResponseController
}

// send reports whether the reader took the text in time.
func (e stream) send(text string) bool {
	// Writers without deadlines (in tests) are never slow.
	_ = e.controller.SetWriteDeadline(time.Now().Add(writeWithin))
	if _, err := io.WriteString(e.w, text); err != nil {
		return false
	}
	return e.controller.Flush() == nil
}

func eventsOperation() describe.Operation {
	return describe.Operation{
		Route: "GET /api/v1/events", Group: groupWatch, Does: "The bench as a stream of server-sent events",
		More: "An event without a name is the bench, as /api/v1/bench has it (view.Bench): the newest at once, then every cycle, about five a second at most; a slow reader misses some and never the newest. " +
			"An event named `mark` is what has just entered the history of the run being recorded (history.Event): a mark, a shot, a note, an alarm that came or went. It comes within a second or two, as soon as it is on disk. " +
			"No event has an id, and Last-Event-ID is not heeded: a frame is a state, so that whoever comes back takes the newest, and what was missed of the marks stands in /api/v1/runs/now. " +
			"Comments say every second that the stream is there where nothing else does. 32 streams at most.",
		Answers:  []describe.Answer{{Status: 200, MediaType: "text/event-stream", Says: "The stream, until it is closed"}},
		Problems: []*describe.Kind{manyStreams},
	}
}
