// Package api is the daemon's HTTP side: the page, the numbers as JSON, a stream
// of frames, the metrics, and the marks people make. A mark becomes a
// control.Command, and no command enables heat: no route of this package can
// switch a heater on. That takes a person at the bench.
//
// Requests are let in by their Host header and, from elsewhere, by a secret: a program by
// the bench file's token in a header, a phone by a cookie of its own, which it got for a
// pairing code that is good once. Who may do what stands in permits.go, and nobody
// elsewhere may raise heat. Phones are let in, and put out, on the bench's own computer
// only; a stream of one that is put out ends within about a second.
//
// What this is not: everything goes over plain HTTP, so whoever taps the network can read
// a secret on the way and be that phone until it is put out. It keeps a strange web page
// and a neighbour's tablet out. It belongs on one's own network and never on the internet.
// HTTPS is not served: a bench has no name that a certificate could be about, and one that
// every phone warns of teaches people to pass warnings by.
package api

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"net/http"
	"sync/atomic"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/plan"
	"meltwarden/daemon/trend"
	"meltwarden/daemon/view"
	"meltwarden/dashboards"
)

// Options are what the handler shows and whom it lets in. All are required but
// Following, Recalled, Bench, History, Plan, Lines, Lost, Token, Phones, Hosts, Listen, Title,
// Run, Simulated and HeatRefused.
type Options struct {
	Hub      *frames.Hub
	Settings control.Settings
	// Bench says whether a recipe fits, and how full a pot may be; nil says neither.
	Bench *config.Bench
	// Recalled says of each pot what was known of it when the run began; nil says nothing.
	Recalled []string
	Trend    *trend.Trend
	Metrics  http.Handler
	// Following counts the streams that are open; nil counts nowhere.
	Following *atomic.Int64
	// Submit queues what a person said for the next cycle. It does not wait; an
	// error means that the queue is full.
	Submit func(history.Mark) error
	// Alarms are the alarms of the bench.
	Alarms *alarm.List
	// Away is how messages to people elsewhere go: why the last could not be sent, or
	// nil. Without a service to send by it is nil itself.
	Away func() error
	// History is what was kept of past runs, and of this one; nil keeps nothing.
	History *history.Store
	// Plan makes the plan of an evening on this bench; nil makes none.
	Plan func(*config.Recipe, plan.Wanted) (*plan.Plan, error)
	// Lines tells how the serial lines do, without waiting for them; nil tells nothing.
	Lines func() view.SerialLines
	// Lost tells of the lines from which nothing comes, likewise.
	Lost func() []view.Condition
	// Health returns why cycles do not finish, nil when they do.
	Health func() error
	// Token lets programs on other computers in; "" lets none in.
	Token string
	// Phones are the phones that are let in; nil lets none in.
	Phones *phone.Store
	// Hosts are the names or addresses, without port, under which other
	// computers reach this one. Loopback names always count.
	Hosts []string
	// Listen is the address that is served on, for what is told about how to reach it.
	Listen string
	// Title and Run head the page.
	Title, Run string
	// Simulated marks the page as showing an invented scenario.
	Simulated bool
	// HeatRefused says why heat can not be enabled on this bench; empty when it can.
	HeatRefused string
}

// server answers the routes.
type server struct {
	Options
	door    *door
	streams chan struct{} // a slot for each open stream
	drawing chan struct{} // a slot for each picture being drawn
	advice  adviser
	spelt   spelt
	ticked  ticked
	presses presses
}

// New returns the handler of every route, guarded. Serve runs it.
func New(o Options) http.Handler { return newServer(o).handler() }

func newServer(o Options) *server {
	return &server{Options: o, door: newDoor(o), streams: make(chan struct{}, maxStreams), drawing: make(chan struct{}, drawAtOnce)}
}

func (s *server) handler() http.Handler {
	mux := http.NewServeMux()
	for _, r := range s.routes() {
		mux.HandleFunc(r.pattern, s.forPeople(s.permitted(r.pattern, s.once(r.pattern, r.answer))))
	}
	h := compressed(s.withProblems(mux))
	h = limitBody(h)
	h = sameOrigin(h)
	h = s.guard(mux, h)
	return withSecurityHeaders(h)
}

// route is one pattern of the standard mux and what answers it.
type route struct {
	pattern string
	answer  http.HandlerFunc
}

// routes is every route there is.
func (s *server) routes() []route {
	return []route{
		{"GET /{$}", s.page},
		{"GET /assets/{name}", s.asset},
		{"GET /api/v1/bench", s.bench},
		{"GET /api/v1/events", s.events},
		{"GET /api/v1/trend", s.trend},
		{"GET /api/v1/trend/events", s.trendEvents},
		{"POST /api/v1/off", s.benchCommand(control.AllOff)},
		{"POST /api/v1/silence", s.benchCommand(control.Silence)},
		{"POST /api/v1/shot", s.benchCommand(control.Shot)},
		{"POST /api/v1/note", s.note},
		{"POST /api/v1/pots/{pot}/{command}", s.potCommand},
		{"GET /api/v1/alarms", s.alarms},
		{"POST /api/v1/alarms/{code}/{pot}/{action}", s.alarmAction},
		{"GET /api/v1/runs", s.runs},
		{"GET /api/v1/runs/{run}", s.run},
		{"POST /api/v1/runs/{run}/note", s.runNote},
		{"POST /api/v1/runs/{run}/shots/{shot}", s.changeShot},
		{"POST /api/v1/runs/{run}/shots/{shot}/verdict", s.judge},
		{"POST /api/v1/runs/{run}/pots/{pot}/batch", s.setBatch},
		{"GET /api/v1/batches", s.batches},
		{"GET /api/v1/batches/{batch}", s.batch},
		{"POST /api/v1/batches/{batch}", s.changeBatch},
		{"POST /api/v1/runs/{run}/shots/{shot}" + photosPath, s.addPhoto},
		{"POST /api/v1/runs/{run}/photos/{photo}/take-back", s.removePhoto},
		{"GET /api/v1/runs/{run}/shots/{shot}/try", s.nextTry},
		{"POST /api/v1/runs/{run}/shots/{shot}/try", s.accept},
		{"GET /api/v1/attempts", s.attempts},
		{"POST /api/v1/attempts/{attempt}/end", s.endAttempt},
		{"GET /api/v1/recipes", s.recipes},
		{"GET /api/v1/causes", s.causes},
		{"GET /causes", s.readable(s.causesPage)},
		{"POST /api/v1/recipes/{fingerprint}/change", s.changeRecipe},
		{"POST /api/v1/recipes/{fingerprint}/scale", s.keepScaled},
		{"GET /alarms", s.readable(s.alarmsPage)},
		{"GET /runs", s.readable(s.runsPage)},
		{"GET /runs/{run}", s.readable(s.runPage)},
		{"GET /runs/now/last-shot", s.lastShotPart},
		{"GET /runs/{run}/shots/{shot}", s.readable(s.whyPage)},
		{"GET /api/v1/runs/{run}/shots/{shot}/why", s.why},
		{"GET /runs/{run}/beside", s.readable(s.besidePage)},
		{"GET /runs/{run}/over/{plot}", s.overPlot},
		{"GET /runs/{run}/report", s.readable(s.reportFile)},
		{"GET /runs/now/potfuls", s.potfulsPart},
		{"GET /runs/{run}/{plot}", s.plot},
		{"GET /batches", s.readable(s.batchesPage)},
		{"GET /batches/{batch}", s.readable(s.batchPage)},
		{"GET /runs/{run}/photos/{photo}/{size}", s.picture},
		{"GET /keeping", s.readable(s.keepingPage)},
		{"GET /keeping/" + archiveName, s.archive},
		{"POST " + importPath, s.bringIn},
		{"POST /api/v1/tidy", s.tidy},
		{"GET /api/v1/plan", s.plan},
		{"GET /checks", s.readable(s.checksPage)},
		{"GET /api/v1/checks", s.checks},
		{"POST /api/v1/checks", s.tick},
		{"GET /plan", s.readable(s.planPage)},
		{"GET /recipes", s.readable(s.recipesPage)},
		{"GET /recipes/{fingerprint}", s.readable(s.recipePage)},
		{"GET /estimates", s.readable(s.estimatesPage)},
		{"GET /recipes/{fingerprint}/text", s.readable(s.recipeText)},
		{"GET /recipes/{fingerprint}/change", s.readable(s.changePage)},
		{"GET /recipes/{fingerprint}/scale", s.readable(s.scalePage)},
		{"GET " + openAPIPath, s.openAPI},
		{"GET " + pagesPath, s.readable(s.indexPage)},
		{"GET /find", s.readable(s.findPage)},
		{"GET /commissioning", s.readable(s.commissioningPage)},
		{"GET /lines", s.readable(s.linesPage)},
		{"GET /api/v1/lines", s.lines},
		{"GET /api/v1/relays", s.relays},
		{"GET /settings", s.readable(s.settingsPage)},
		{"POST /api/v1/settings", s.choose},
		{"GET " + pairPath, s.pairPage},
		{"GET " + pairPath + "/{code}", s.pairPage},
		{"POST " + pairPath, s.pair},
		{"GET " + phonesPath, s.readable(s.phonesPage)},
		{"GET /api/v1" + phonesPath, s.phones},
		{"POST /api/v1" + phonesPath, s.addPhone},
		{"POST /api/v1" + phonesPath + "/{phone}/revoke", s.revokePhone},
		{"GET " + apiPage, s.readable(s.referencePage)},
		{"GET /metrics", s.Metrics.ServeHTTP},
		{"GET /healthz", s.healthz},
		{"GET /readyz", s.readyz},
	}
}

// now is the bench as it is at this moment.
func (s *server) now() view.Bench { return s.at(s.Hub.Latest(), time.Now()) }

// at is the bench as a frame shows it at a moment, with what is wrong outside it.
func (s *server) at(f *frames.Frame, now time.Time) view.Bench {
	b := view.Of(f, s.Settings, now)
	b.Simulated = s.Simulated
	if s.Lost != nil {
		b.Conditions = view.WithLinesLost(b.Conditions, s.Lost())
	}
	if why := s.phonesLost(); why != nil {
		b.Conditions = append(b.Conditions, view.PhonesLost(why))
	}
	return b
}

// phonesLost is why phones may be out, as the daemon found last: no page waits for a disk.
func (s *server) phonesLost() error {
	if s.Phones == nil {
		return nil
	}
	return s.Phones.Known()
}

func (s *server) bench(w http.ResponseWriter, _ *http.Request) {
	writeJSON(w, http.StatusOK, s.now())
}

func (s *server) asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	body, err := dashboards.Assets.ReadFile("assets/" + name)
	if err != nil {
		refuse(w, noFile, "there is no such file")
		return
	}
	h := w.Header()
	h.Set("Content-Type", dashboards.MediaType(name))
	h.Set("Cache-Control", "no-cache") // kept, and asked each time whether it is still the same
	h.Set("ETag", fmt.Sprintf(`W/"%x"`, sha256.Sum256(body)))
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(body))
}

// health says in words that all is well.
type health struct {
	Status string `json:"status"`
}

// healthz is for whatever restarts the daemon: it fails when cycles do not finish.
func (s *server) healthz(w http.ResponseWriter, _ *http.Request) {
	if err := s.Health(); err != nil {
		refuseFor(w, cyclesStopped, err)
		return
	}
	writeJSON(w, http.StatusOK, health{"cycles finish"})
}

// readyz succeeds once every pot's melt probe has reported something.
func (s *server) readyz(w http.ResponseWriter, _ *http.Request) {
	b := s.now()
	for _, p := range b.Pots {
		if !p.MeltAgeS.Known() {
			refuse(w, noReadings, "no reading has come from pot "+p.Name+" yet")
			return
		}
	}
	writeJSON(w, http.StatusOK, health{"readings have come"})
}

func benchOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET /api/v1/bench", Group: groupWatch, Does: "The bench as it is now",
			More:    "Where live is false no cycle has finished for two seconds, and no reading is known.",
			Answers: []describe.Answer{{Status: 200, Body: view.Bench{}, Says: "The bench"}},
		},
		{
			Route: "GET /healthz", Group: groupHealth, Does: "Whether cycles finish", More: "For whatever restarts the program.",
			Answers:  []describe.Answer{{Status: 200, Body: health{}, Says: "They do"}},
			Problems: []*describe.Kind{cyclesStopped},
		},
		{
			Route: "GET /readyz", Group: groupHealth, Does: "Whether every melt probe has reported something",
			Answers:  []describe.Answer{{Status: 200, Body: health{}, Says: "They have"}},
			Problems: []*describe.Kind{noReadings},
		},
		{
			Route: "GET /metrics", Group: groupHealth, Does: "The metrics, for Prometheus",
			Answers: []describe.Answer{{Status: 200, MediaType: "text/plain", Says: "In the text format of Prometheus"}},
		},
		{
			Route: "GET /assets/{name}", Group: groupPages, Does: "A style, script or picture of the pages",
			Answers: []describe.Answer{
				{Status: 200, MediaType: "text/css", Says: "A style"}, {Status: 200, MediaType: "text/javascript", Says: "A script"},
				{Status: 200, MediaType: "image/svg+xml", Says: "A picture"},
				{Status: http.StatusNotModified, Says: "What the browser has is still right"},
			},
			Problems: []*describe.Kind{noFile},
		},
		eventsOperation(),
		aPage("/{$}", "The bench", []describe.Field{{Name: "still", Says: "does not reload by itself"}}),
	}
}
