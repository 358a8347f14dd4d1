package api

import (
	"net/http"

	"meltwarden/daemon/estimate"
	"meltwarden/daemon/view"
)

// estimatesPage is what the template of the estimates is filled with.
type estimatesPage struct {
	head
	Questions []asked
}

// asked is a question with what was typed, and what comes of it.
type asked struct {
	estimate.Question
	Labels view.Labels
	Carry  string
	Fields []field
	Answer estimate.Answer
	// Problem says which typed values can not be; there is no answer then.
	Problem string
}

// field is one input with what stands in it.
type field struct {
	estimate.Input
	Typed string
}

// questionKey names the question that was asked, in the address.
const questionKey = "question"

// estimatesPage answers the question in the address by what was typed, and every other one
// by its defaults.
func (s *server) estimatesPage(w http.ResponseWriter, r *http.Request) {
	p := estimatesPage{head: s.head(r, view.Texts().Estimates, "/estimates")}
	query := r.URL.Query()
	for _, q := range estimate.Questions() {
		typed := q.Defaults(s.Settings.Injector)
		if query.Get(questionKey) == q.Name {
			for _, in := range q.Inputs {
				if text := query.Get(in.Name); text != "" {
					typed[in.Name] = text
				}
			}
		}
		p.Questions = append(p.Questions, askedOf(q, typed, p.head, estimate.Unit(unitOf(r))))
	}
	show(w, http.StatusOK, "estimates.html", p)
}

func askedOf(q estimate.Question, typed map[string]string, h head, u estimate.Unit) asked {
	a := asked{Question: q, Labels: h.Labels, Carry: h.Carry}
	for _, in := range q.Inputs {
		a.Fields = append(a.Fields, field{in, typed[in.Name]})
	}
	var err error
	if a.Answer, err = q.Answer(typed, u); err != nil {
		a.Problem = err.Error()
	}
	return a
}
