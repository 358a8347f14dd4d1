// Package estimate answers what a maker may ask about heat in an injector and a mould:
// what is typed is read, checked and reckoned with control's melt physics, and every answer
// says its spread and what it takes for granted. Terminal, page and the cards of shots take
// their words from here. Nothing here was measured, and no heat goes by it.
package estimate

import (
	"slices"
	"strings"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/control/injector"
)

// Estimate marks an answer as one.
const Estimate = "estimated, not measured"

// Question is something that can be asked.
type Question struct {
	Name  string // of its command, and in addresses
	Title string
	Asks  string // what it answers, in a sentence
	// Inputs are what is given, each with a default.
	Inputs []Input
	// OfBench is true where a bench file has defaults for it.
	OfBench bool
	// Caution, where there is one, is said beside the figures, never folded away.
	Caution string
	// Assumes is what it takes for granted.
	Assumes []string
	answer  func(given, Unit) []Figure
	// check, where there is one, says which input does not go with the others, and why.
	check func(given) (key string, fault *quantity.Fault)
}

// Input is one thing that is given.
type Input struct {
	Name, Label, Default string
	Choices              []string // the words it can be; nil where it is a quantity

	kind kind
}

// given are the values by their inputs' names: °C, K, m, kg and s.
type given map[string]float64

// Answer is what comes of a question.
type Answer struct {
	Question string            `json:"question"`
	Title    string            `json:"title"`
	Given    map[string]string `json:"given"` // as typed
	Figures  []Figure          `json:"figures"`
	Caution  string            `json:"caution,omitempty"`
	Assumes  []string          `json:"assumes"`
}

// Questions lists every question.
func Questions() []Question { return questions }

// Of is the question of that name, and whether there is one.
func Of(name string) (Question, bool) {
	i := slices.IndexFunc(questions, func(q Question) bool { return q.Name == name })
	if i < 0 {
		return Question{}, false
	}
	return questions[i], true
}

// Answer answers the question for what was typed, by the inputs' names; what is missing or
// empty is the default. Its error is a *strict.Error with every value that can not be read
// or believed.
func (q Question) Answer(typed map[string]string, u Unit) (Answer, error) {
	values, told := given{}, map[string]string{}
	var problems []strict.Problem
	complain := func(key string, f *quantity.Fault) {
		problems = append(problems, strict.Problem{File: q.Name, Key: key, Value: told[key], Wrong: f.Wrong, Fix: f.Fix})
	}
	for _, in := range q.Inputs {
		text := strings.TrimSpace(typed[in.Name])
		if text == "" {
			text = in.Default
		}
		told[in.Name] = text
		v, fault := in.kind.read(text)
		if fault != nil {
			complain(in.Name, fault)
		}
		values[in.Name] = v
	}
	if q.check != nil && problems == nil {
		if key, fault := q.check(values); fault != nil {
			complain(key, fault)
		}
	}
	if problems != nil {
		return Answer{}, &strict.Error{Problems: problems}
	}
	return Answer{q.Name, q.Title, told, q.answer(values, u), q.Caution, q.Assumes}, nil
}

// Defaults are what stands for each input where nothing is typed, with what the bench file
// says of its injector.
func (q Question) Defaults(i injector.Injector) map[string]string {
	all := map[string]string{}
	for _, in := range q.Inputs {
		all[in.Name] = in.Default
	}
	if !q.OfBench {
		return all
	}
	if i.BoreM > 0 {
		all["bore"] = trimmed(1000*i.BoreM) + " mm"
	}
	if i.PreheatC > 0 {
		all["preheat"] = trimmed(i.PreheatC) + " C"
	}
	if i.LowestC > 0 {
		all["lowest"] = trimmed(i.LowestC) + " C"
	}
	return all
}
