package api

import (
	"net/http"

	"meltwarden/daemon/describe"
)

// apiPage is the reference; a kind of problem is explained there at its name. RFC 9457,
// section 3.1.1, wants a relative type to have the full path.
const apiPage = "/api"

// The kinds of problem, as RFC 9457 has them. Section 3.1.3: the title stays the same; what
// is special about a case is its detail.
var (
	unknownName = &describe.Kind{Name: "unknown-name", Title: "Asked for under a strange name", Status: http.StatusForbidden,
		Means: "The Host header has a name that this computer is not known by. Use the address that the program prints at its start, or serve on that name: listen: NAME:8420 in the bench file."}
	noToken = &describe.Kind{Name: "no-token", Title: "No token is set", Status: http.StatusForbidden,
		Means: "Programs on other computers get in only where the bench file has a token; it has none, and no phones are kept."}
	tokenNeeded = &describe.Kind{Name: "token-needed", Title: "A token is needed", Status: http.StatusUnauthorized,
		Means: "A program sends the bench's token as a bearer token. A phone is let in on the bench's own computer; its time may be over, or it was put out: the detail says so."}
	tooManyTries = &describe.Kind{Name: "too-many-tries", Title: "Too many wrong secrets", Status: http.StatusTooManyRequests,
		Means: "Ten wrong tokens or codes came from there. The header Retry-After says when the next is looked at."}
	phonesFail = &describe.Kind{Name: "phones-fail", Title: "The phones can not be read", Status: http.StatusServiceUnavailable,
		Means: "Who is let in can not be read or written now, so no phone is. Control goes on."}
	wrongCode = &describe.Kind{Name: "wrong-code", Title: "The code is not good", Status: http.StatusForbidden,
		Means: "It is wrong, was used, or is older than ten minutes."}
	noPhone = &describe.Kind{Name: "no-such-phone", Title: "No such phone", Status: http.StatusNotFound,
		Means: "/api/v1/phones lists them."}
	notReached = &describe.Kind{Name: "not-reached", Title: "No phone reaches this", Status: http.StatusConflict,
		Means: "The program listens to its own computer only, or was asked from it. The detail says what to do."}
	otherSite = &describe.Kind{Name: "other-site", Title: "Asked by another site's page", Status: http.StatusForbidden,
		Means: "A browser says that a page from elsewhere asks. Ask from the program's own page, or from no browser."}
	benchOnly = &describe.Kind{Name: "bench-only", Title: "Done at the bench only", Status: http.StatusForbidden,
		Means: "It is done on the bench's own computer: not from another one, and through no proxy."}
	tooLarge = &describe.Kind{Name: "too-large", Title: "Too large", Status: http.StatusRequestEntityTooLarge,
		Means: "The body is larger than this address takes. Send less."}

	noFile = &describe.Kind{Name: "no-such-file", Title: "No such file", Status: http.StatusNotFound,
		Means: "There is nothing of that name."}
	noPot = &describe.Kind{Name: "no-such-pot", Title: "No such pot", Status: http.StatusNotFound,
		Means: "Pots are numbered from 1."}
	noMark = &describe.Kind{Name: "no-such-mark", Title: "No such mark", Status: http.StatusNotFound,
		Means: "Nothing like that is marked at a pot."}
	noAlarm = &describe.Kind{Name: "no-such-alarm", Title: "No such alarm", Status: http.StatusNotFound,
		Means: "There is no such alarm, it is not there now, or nothing like that is done with one. /api/v1/alarms lists them."}
	nothingKept = &describe.Kind{Name: "nothing-kept", Title: "Nothing is kept", Status: http.StatusNotFound,
		Means: "This program runs without a history."}
	notRecording = &describe.Kind{Name: "not-recording", Title: "Nothing is being recorded", Status: http.StatusNotFound,
		Means: "The run “now” is the one being recorded, and there is none."}
	noRun = &describe.Kind{Name: "no-such-run", Title: "No such run", Status: http.StatusNotFound,
		Means: "Runs are numbered from 1. /api/v1/runs lists them."}
	noShot = &describe.Kind{Name: "no-such-shot", Title: "No such shot", Status: http.StatusNotFound,
		Means: "Shots are numbered from 1 in their run."}
	noBatch = &describe.Kind{Name: "no-such-batch", Title: "No such batch", Status: http.StatusNotFound,
		Means: "/api/v1/batches lists them."}
	noPhoto = &describe.Kind{Name: "no-such-photo", Title: "No such photo", Status: http.StatusNotFound,
		Means: "Photos are numbered from 1; there are two sizes, large and small."}
	noVersion = &describe.Kind{Name: "no-such-version", Title: "No such recipe version", Status: http.StatusNotFound,
		Means: "Versions go by their fingerprint. /api/v1/recipes lists them."}
	noAttempt = &describe.Kind{Name: "no-such-attempt", Title: "No such attempt", Status: http.StatusNotFound,
		Means: "/api/v1/attempts lists them."}
	noPicture = &describe.Kind{Name: "no-such-picture", Title: "No such picture", Status: http.StatusNotFound,
		Means: "There are plot.svg, plot.png and plot.pdf."}
	nothingToPlan = &describe.Kind{Name: "nothing-to-plan", Title: "Nothing to plan with", Status: http.StatusNotFound,
		Means: "A plan needs a recipe that is kept, and a bench."}

	wrongField = &describe.Kind{Name: "wrong-field", Title: "A field can not be that", Status: http.StatusBadRequest,
		Means: "The member field names what is wrong in the form or the address, value has what was sent, and fix what to write.", Members: []string{"field", "value", "fix"}}
	wrongRecipe = &describe.Kind{Name: "wrong-recipe", Title: "The recipe can not be used", Status: http.StatusBadRequest,
		Means: "The member problems has every mistake: field is the key, value what was typed, fix what to write.", Members: []string{"problems"}}
	wrongFile = &describe.Kind{Name: "wrong-file", Title: "The file can not be used", Status: http.StatusBadRequest,
		Means: "There is no file in the form, or it is damaged, too large when unpacked, or of another kind. The detail says which."}
	doesNotFit = &describe.Kind{Name: "does-not-fit", Title: "It does not fit what is kept", Status: http.StatusBadRequest,
		Means: "What was asked or said can not be together with what is kept: a colour that the run has not, a verdict that was not given, a moment that never came. The detail says what."}

	alarmStays = &describe.Kind{Name: "alarm-stays", Title: "The alarm stays", Status: http.StatusForbidden,
		Means: "This one may not be set aside or taken out of service, or not while it is as it is."}
	notNow = &describe.Kind{Name: "not-now", Title: "Not now", Status: http.StatusConflict,
		Means: "The pot is not in a state for it. Look at the bench, and ask again later."}
	readingRefused = &describe.Kind{Name: "reading-refused", Title: "The reading is not believed", Status: http.StatusConflict,
		Means: "What was read by hand can not be, or is far from what is expected. The detail says what follows for the heat."}
	changedMeanwhile = &describe.Kind{Name: "changed-meanwhile", Title: "Changed meanwhile", Status: http.StatusConflict,
		Means: "What is proposed is not, or no longer, what was chosen. Look at it again."}

	queueFull = &describe.Kind{Name: "queue-full", Title: "Too many marks wait", Status: http.StatusServiceUnavailable, RetryAfterS: 1,
		Means: "Marks wait for the next cycle, and there is no room for another one. Nothing was done; send it again. Use the emergency stop, which waits for no program, where heat has to go at once."}
	tooBusy = &describe.Kind{Name: "too-busy", Title: "Too much is wanted at once", Status: http.StatusServiceUnavailable, RetryAfterS: 5,
		Means: "What takes long is done one at a time, because the bench comes first."}
	manyStreams = &describe.Kind{Name: "too-many-streams", Title: "Too many streams are open", Status: http.StatusServiceUnavailable, RetryAfterS: 5,
		Means: "Close a page that follows the bench."}
	notReadable = &describe.Kind{Name: "history-fails", Title: "The history fails", Status: http.StatusServiceUnavailable,
		Means: "What is kept can not be read or written now: the disk is full, or its file damaged or away. Control goes on."}
	notPlanned = &describe.Kind{Name: "not-planned", Title: "No plan came out", Status: http.StatusServiceUnavailable,
		Means: "The detail says why."}
	cyclesStopped = &describe.Kind{Name: "cycles-stopped", Title: "Cycles do not finish", Status: http.StatusServiceUnavailable,
		Means: "Control stands still; the outputs are off by their own time-out."}
	noReadings = &describe.Kind{Name: "no-readings", Title: "No readings yet", Status: http.StatusServiceUnavailable,
		Means: "At least one pot has not been heard of since the start."}
)
