package api

import (
	"cmp"
	"slices"

	"meltwarden/control"
	"meltwarden/control/call"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/view"
)

// What one does with the API: the headings of the reference, in order.
const (
	groupWatch   = "Watch the bench"
	groupMark    = "Mark what is done at the bench"
	groupAlarms  = "See to alarms"
	groupPast    = "Look at past runs"
	groupJudge   = "Judge and correct what is kept"
	groupTry     = "Ask why, and try a change"
	groupRecipes = "Plan, and work on recipes"
	groupKeep    = "Take runs elsewhere, make room"
	groupPhones  = "Let phones in"
	groupPages   = "Pages for people"
	groupHealth  = "Metrics and health"
)

// operations describes every route; each stands beside the handlers that it is about.
func operations() []describe.Operation {
	all := slices.Concat(benchOperations(), trendOperations(), commandOperations(), checksOperations(), alarmOperations(), pastOperations(), plotOperations(), judgeOperations(),
		batchOperations(), photoOperations(), whyOperations(), tryOperations(), causesOperations(), planOperations(), recipeOperations(),
		keepingOperations(), pageOperations(), settingsOperations(), lineOperations(), relayOperations(), referenceOperations(), phoneOperations())
	order := func(o describe.Operation) int { return slices.Index(groups(), o.Group) }
	slices.SortStableFunc(all, func(a, b describe.Operation) int { return cmp.Compare(order(a), order(b)) })
	return all
}

func groups() []string {
	return []string{groupWatch, groupMark, groupAlarms, groupPast, groupJudge, groupTry, groupRecipes, groupKeep, groupPhones, groupHealth, groupPages}
}

// variables are what may stand in braces in a path.
func variables() []describe.Field {
	return []describe.Field{
		{Name: "pot", Says: "the pot's number, from 1; of an alarm, 0 is the whole bench", Is: describe.Whole, Example: "2", Most: 99},
		{Name: "code", Says: "the alarm's code, as /api/v1/alarms has it", Example: "melt_noisy"},
		{Name: "run", Says: "the run's number, from 1, or “now” for the one being recorded", Example: "1"},
		{Name: "shot", Says: "the shot's number in its run, from 1", Is: describe.Whole, Example: "2", Least: 1},
		{Name: "batch", Says: "the batch's number, from 1", Is: describe.Whole, Example: "1", Least: 1},
		{Name: "photo", Says: "the photo's number, from 1", Is: describe.Whole, Example: "1", Least: 1},
		{Name: "attempt", Says: "the attempt's number, from 1", Is: describe.Whole, Example: "1", Least: 1},
		{Name: "fingerprint", Says: "the recipe version's fingerprint", Example: "5facb4ce7321"},
		{Name: "plot", Says: "the picture's format", Example: "plot.svg", Choices: []string{"plot.svg", "plot.png", "plot.pdf"}},
		{Name: "phone", Says: "the phone's number or name", Example: "1"},
		{Name: "size", Says: "the photo's size", Example: "small", Choices: []string{"large", "small"}},
		{Name: "name", Says: "the file's name", Example: "bench.css"},
	}
}

// Fields that several addresses take.
var (
	inFahrenheitField = describe.Field{Name: unitKey, Says: "c or f, for degrees Celsius or Fahrenheit; what is chosen in this browser unless it is said", Choices: []string{inCelsius, inFahrenheit}, Example: inFahrenheit}
	besideField       = describe.Field{Name: "beside", Says: "the shot to hold it against, as run/shot; the last clean one of the recipe unless it is said", Example: "2/1"}
)

// Kinds of problem that come together.
var (
	runKinds  = []*describe.Kind{nothingKept, notRecording, noRun, notReadable}
	shotKinds = append(slices.Clone(runKinds), noShot)
)

func kinds(of []*describe.Kind, more ...*describe.Kind) []*describe.Kind {
	return append(slices.Clone(of), more...)
}

// answers are those of something that a page's form can send as well.
func answers(status int, body any, says string) []describe.Answer {
	return []describe.Answer{
		{Status: status, Body: body, Says: says},
		{Status: 303, Says: "To a form without script, which asks for text/html: the page to go on with"},
	}
}

// aPage describes an address for people.
func aPage(route, does string, in []describe.Field, problems ...*describe.Kind) describe.Operation {
	return describe.Operation{
		Route: "GET " + route, Group: groupPages, Does: does, In: in, Problems: problems,
		Answers: []describe.Answer{{Status: 200, MediaType: "text/html", Says: "The page, or the part of one"}},
	}
}

const promise = "**The promise of v1.** What an address of /api/v1 answers with stays: no address, field or kind of problem goes away, none changes its type or its unit, " +
	"nothing that was optional has to be sent, and what is never null stays so. New addresses, fields, kinds and words may come: read past what you do not know. What breaks this will be /api/v2, beside v1 for a year at least. " +
	"The pages for people, and sentences inside an answer, are not part of it."

const about = "Meltwarden holds three pots of liquid vinyl at their injection temperatures. This is what it answers over HTTP.\n\n" +
	"**No address enables heat, and none raises it from elsewhere.** Enabling takes a person at the bench. The program is not the protection: an independent cut-out, a contactor, a fuse, an earth and an emergency stop are. Liquid vinyl at 170 °C sticks and burns; local codes and a licensed electrician have the last word.\n\n" +
	"**Who gets in.** This computer, under a loopback name. Programs elsewhere need the bench's token, phones a cookie of their own that they are paired for, and both a name that this computer is known by. What is done “on the bench's own computer only” takes no token.\n\n" +
	"**Units** stand in names: `_c` degrees Celsius (differences too, in kelvins), `_s` seconds, `_min` minutes, `_w` watts, `_ml` millilitres. Times of day are RFC 3339. What people type has its unit with it (`170 C`, `338 F`), and comes back as typed. " +
	"`null` is not known, or not recorded; it is never zero. Pots, shots and runs are numbered from 1.\n\n" +
	"**Bodies** are forms (`application/x-www-form-urlencoded`), of 4 KB at most unless it says otherwise. A mark is queued and takes effect in the next cycle, a fifth of a second later.\n\n" +
	"**Problems** are `application/problem+json` (RFC 9457). Go by `type`; `title` and `detail` are for people. `about:blank` says no more than its status: an address or a method that there is not. Browsers that ask for text/html get a page.\n\n" + promise

// described is the API for its document and its reference.
func described() describe.API {
	return describe.API{
		Title: "Meltwarden", Version: "1", Says: about,
		Groups: groups(), Operations: operations(), Variables: variables(),
		Everywhere: []*describe.Kind{unknownName, noToken, tokenNeeded, tooManyTries, phonesFail, tooLarge}, Writing: []*describe.Kind{otherSite},
		Problem: Problem{}, KindsAt: apiPage + "#",
		Security: describe.Ordered{
			{Name: "token", Value: describe.Ordered{{Name: "type", Value: "http"}, {Name: "scheme", Value: "bearer"}, {Name: "description", Value: "The bench's token, from another computer."}}},
			{Name: "cookie", Value: describe.Ordered{{Name: "type", Value: "apiKey"}, {Name: "in", Value: "cookie"}, {Name: "name", Value: cookieName + "8420"}, {Name: "description", Value: "What a phone carries once it is paired; its name ends with the port of the address."}}},
		},
		Besides: []any{view.Bench{}, history.Event{}},
		Words:   comments(), Names: names(), Values: values(), Examples: examples(),
	}
}

// names are what fields mean that are called so, where the code says nothing more of one.
func names() map[string]string {
	const typed = "as typed; empty is not recorded"
	return map[string]string{
		"run": "the run's number, from 1", "session": "the number of the session; an evening can have several runs", "shot": "the shot's number in its run, from 1", "id": "its number, from 1",
		"number": "its number, from 1", "pot": "the pot's name", "name": "its name in the bench file or the recipe", "colour": "the colour's name in the recipe", "title": "its name in words",
		"recipe": "the recipe's name", "recipe_fingerprint": "the fingerprint of the recipe version", "recipe_version": "its number among the versions of its name", "fingerprint": "what the version goes by: no other text has it",
		"fault": "a fault in the words of the trade, or clean", "cause": "a cause in the words of the trade", "invented": "true for a simulated bench", "began": "when it began, by the wall clock",
		"wall": "when, by the wall clock", "added": "when it was kept first", "attached": "when it was attached", "accepted": "when it was accepted, or what was",
		"note": typed, "base": typed, "lot": typed, "made": typed, "what": typed, "amount": typed, "amounts": typed,
		"faulty": "how many came out with the fault", "judged": "how many were judged", "shots": "how many shots, or which", "runs": "how many runs, or which",
		"cycle": "how many cycles there have been since the start", "cycles": "how many cycles were kept", "instruction": "what to do, in sentences", "code": "its name for programs",
		"cycles_before": "how many cycles there were", "cycles_after": "how many are left", "cycle_bytes_before": "their bytes", "cycle_bytes_after": "the bytes of those that are left", "bytes": "the size of its file",
		"head": "what the lines are about", "lines": "sentences", "why": "in words", "reason": "what speaks for it, in words", "wrong": "what is wrong", "fix": "what to write", "status": "in words, or that of HTTP",
		"ready": "true while it is ready to pour", "clear": "somebody said that it is clear", "cured": "it has had its time at cure temperature, and somebody said that it is clear",
		"active": "it is so now", "latched": "it stays until a person resets it at the bench", "present": "it is so now", "first": "it was the first of those that came together",
		"silenced": "a person has silenced it", "seq": "counts the calls: another number is another call", "dry_run": "nothing was changed", "spoiled": "it has a fault",
		"room_assumed": "nobody said how warm the room is", "known": "it was found out in an earlier run", "first_heats": "the pots that nothing is known of from before", "ratio": "what earlier runs took, as a multiple of what was foreseen",
		"waits": "when it waits for another pot or for power", "ended": "the number of the attempt", "batch": "the batch, or its number", "verdict": "what was said of it, in words", "of": "the mould or the recipe version",
		"figure": "what of a shot it looks at", "bound": "the most that it may be changed by at once, in words", "kind": "what is changed", "detail": "in words", "f": "in degrees Fahrenheit",
	}
}

// upTo are the words for every value up to the last one.
func upTo[T interface {
	~uint8
	String() string
}](last T) (words []string) {
	for v := T(0); v <= last; v++ {
		words = append(words, v.String())
	}
	return words
}

// values are those of fields that are plain text in JSON.
func values() []describe.Values {
	var codes []string
	for _, c := range guard.Codes() {
		codes = append(codes, c.String())
	}
	heat, states, faults := upTo(control.HeatTripped), upTo(control.Tripped), upTo(reading.DeviceFault)
	return []describe.Values{
		{Field: "view.Bench.heat", Values: append(heat, view.NotKnown)}, {Field: "view.Pot.state", Values: append(states, view.NotKnown)}, {Field: "view.Pot.wait", Values: append(upTo(control.WaitHand), view.NotKnown)},
		{Field: "view.Pot.melt_fault", Values: append(faults, view.NotKnown)}, {Field: "view.Pot.plate_fault", Values: append(faults, view.NotKnown)},
		{Field: "view.Condition.code", Values: codes}, {Field: "view.Condition.severity", Values: upTo(guard.Trip)}, {Field: "view.Call.sound", Values: upTo(call.Danger)},
		{Field: "AlarmShown.code", Values: codes}, {Field: "AlarmShown.state", Values: upTo(alarm.OutOfService)[1:]}, {Field: "AlarmShown.priority", Values: upTo(alarm.High)},
		{Field: "shot.Pot.state", Values: states}, {Field: "shot.Verdict.fault", Values: shot.Verdicts()},
	}
}
