package api

import (
	"net/http"
	"slices"
	"strings"

	"meltwarden/control"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/view"
)

// who is who asks.
type who int

// Who may ask.
const (
	stranger     who = iota
	ownComputer      // the bench's own computer
	phoneIn          // a phone that was let in
	script           // a program elsewhere that knows the bench file's token
	throughProxy     // this computer, for somebody else who says so: a proxy
)

// deed is what a route is for, as far as it matters who asks.
type deed int

// The deeds.
const (
	openToAll  deed = iota // the page's own files, and pairing: nothing of the bench
	see                    // everything that is shown
	mark                   // marks, notes, verdicts, what is in the pots
	allOff                 // every heater off
	silence                // the sound off for a while
	heat                   // what may raise heat: set-points, hand-held readings, trials
	workAlarms             // acknowledge, set aside, take out of service
	changeMade             // recipe versions, and changes to try
	takePhotos             // attach and take back
	keepRuns               // archives, and room for more
	letIn                  // who else is let in
)

// permit is who may do a deed, and what the others are told.
type permit struct {
	who  []who
	told string
}

var (
	everybody = []who{stranger, ownComputer, phoneIn, script, throughProxy}
	known     = []who{ownComputer, phoneIn, script, throughProxy}
	onlyHere  = []who{ownComputer}
)

// permits is the one place where it stands who may do what. Nothing here enables heat,
// since no route does.
var permits = map[deed]permit{
	openToAll:  {who: everybody},
	see:        {who: known},
	mark:       {who: known},
	allOff:     {who: known},
	silence:    {[]who{ownComputer, phoneIn}, "silence is given at the bench, by the pedal, on its own computer or by a phone that was let in; ALL OFF works from here"},
	heat:       {onlyHere, "set-points, readings by hand and trials are given on the bench's own computer only: nothing elsewhere may raise heat"},
	workAlarms: {onlyHere, alarm.ErrBenchOnly.Error()},
	changeMade: {onlyHere, view.Texts().RecipeHere},
	takePhotos: {onlyHere, "photos are attached and taken back on the bench's own computer only"},
	keepRuns:   {onlyHere, "archives are written and read, and old runs thinned, on the bench's own computer only"},
	letIn:      {onlyHere, view.Texts().PhonesHere},
}

// deeds are what routes are for: every one that takes something, and those that show what
// not everybody may see. Of the others, deedOf takes care.
var deeds = map[string]deed{
	"GET /assets/{name}":                                openToAll,
	"GET " + pairPath:                                   openToAll,
	"GET " + pairPath + "/{code}":                       openToAll,
	"POST " + pairPath:                                  openToAll,
	"POST /api/v1/off":                                  allOff,
	"POST /api/v1/silence":                              silence,
	"POST /api/v1/shot":                                 mark,
	"POST /api/v1/note":                                 mark,
	"POST /api/v1/runs/{run}/note":                      mark,
	"POST /api/v1/runs/{run}/shots/{shot}":              mark,
	"POST /api/v1/runs/{run}/shots/{shot}/verdict":      mark,
	"POST /api/v1/runs/{run}/pots/{pot}/batch":          mark,
	"POST /api/v1/batches/{batch}":                      mark,
	"POST /api/v1/checks":                               mark,
	"POST /api/v1/settings":                             see, // what this browser shows
	"POST /api/v1/alarms/{code}/{pot}/{action}":         workAlarms,
	"POST /api/v1/runs/{run}/shots/{shot}" + photosPath: takePhotos,
	"POST /api/v1/runs/{run}/photos/{photo}/take-back":  takePhotos,
	"POST /api/v1/runs/{run}/shots/{shot}/try":          changeMade,
	"POST /api/v1/attempts/{attempt}/end":               changeMade,
	"POST /api/v1/recipes/{fingerprint}/change":         changeMade,
	"POST /api/v1/recipes/{fingerprint}/scale":          changeMade,
	"GET /keeping/" + archiveName:                       keepRuns,
	"POST " + importPath:                                keepRuns,
	"POST /api/v1/tidy":                                 keepRuns,
	"GET " + phonesPath:                                 letIn,
	"GET /api/v1" + phonesPath:                          letIn,
	"POST /api/v1" + phonesPath:                         letIn,
	"POST /api/v1" + phonesPath + "/{phone}/revoke":     letIn,
}

// potRoute is the route of marks and more, by their names.
const potRoute = "POST /api/v1/pots/{pot}/{command}"

// potMarks are what may be marked of a pot from elsewhere. Any other command may raise
// heat: so does one that nobody has thought of yet.
var potMarks = []control.CommandKind{
	control.Stir, control.TickClear, control.ArrivedCured, control.ColourAdded, control.Lift, control.Return, control.Draw,
	control.TakeBack, // which never raises heat
}

// deedOf is what a route is for. One that only shows something is for all who are known;
// one that takes something and is not listed is for the bench's own computer.
func deedOf(pattern, command string) deed {
	if pattern == potRoute {
		if kind, ok := control.CommandNamed(command); ok && !slices.Contains(potMarks, kind) {
			return heat
		}
		return mark // also of what is no command: that is answered by its route
	}
	if d, listed := deeds[pattern]; listed {
		return d
	}
	if strings.HasPrefix(pattern, "POST ") {
		return letIn
	}
	return see
}

// permitted refuses whoever may not do what the route is for.
func (s *server) permitted(pattern string, answer http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p := permits[deedOf(pattern, r.PathValue("command"))]
		if !slices.Contains(p.who, visitorOf(r).who) {
			s.refuse(w, r, benchOnly, p.told)
			return
		}
		answer(w, r)
	}
}
