package api

import (
	"fmt"
	"net/http"
	"strconv"

	"meltwarden/daemon/batch"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
)

// batchNew is the word for what is the rest of no earlier batch.
const batchNew = "new"

// book is every batch, or false after an answer.
func (s *server) book(w http.ResponseWriter) (batch.Book, bool) {
	if s.History == nil {
		return batch.None(), true
	}
	book, err := batch.Of(s.History)
	if err != nil {
		pastProblem(w, err)
		return book, false
	}
	return book, true
}

// batches lists every batch with its figures, and what the yellowed ones say.
func (s *server) batches(w http.ResponseWriter, _ *http.Request) {
	if book, ok := s.book(w); ok {
		writeJSON(w, http.StatusOK, book)
	}
}

// batchAnswer is one batch with its shots.
type batchAnswer struct {
	Batch batch.Batch  `json:"batch"`
	Shots []batch.Shot `json:"shots"`
}

// batchChanged says which batch was changed.
type batchChanged struct {
	Batch int64 `json:"batch"`
}

// batch is one batch with its shots.
func (s *server) batch(w http.ResponseWriter, r *http.Request) {
	b, _, shots, ok := s.batchOf(w, r)
	if ok {
		writeJSON(w, http.StatusOK, batchAnswer{b, shots})
	}
}

// batchOf is the batch that a route names, with its shots, or false after an answer.
func (s *server) batchOf(w http.ResponseWriter, r *http.Request) (b batch.Batch, book batch.Book, shots []batch.Shot, ok bool) {
	if book, ok = s.book(w); !ok {
		return b, book, nil, false
	}
	id, err := strconv.ParseInt(r.PathValue("batch"), 10, 64)
	if err == nil {
		b, ok = book.Batch(id)
	}
	if err != nil || !ok {
		refuseFor(w, noBatch, history.ErrNoBatch)
		return b, book, nil, false
	}
	if shots, err = batch.Shots(s.History, b); err != nil {
		pastProblem(w, err)
		return b, book, nil, false
	}
	return b, book, shots, true
}

// setBatch says by the form field "batch" what a pot of a run holds: the number of an
// earlier batch, or "new".
func (s *server) setBatch(w http.ResponseWriter, r *http.Request) {
	run := s.runOf(w, r)
	if run == 0 {
		return
	}
	pot, err := strconv.Atoi(r.PathValue("pot"))
	if err != nil || pot < 1 {
		refuse(w, noPot, "there is no such pot; pots are numbered from 1")
		return
	}
	id := int64(0)
	if said := r.PostFormValue("batch"); said != batchNew {
		if id, err = strconv.ParseInt(said, 10, 64); err != nil || id < 1 {
			refuseFor(w, wrongField, wrong("batch", said, "write the number of an earlier batch, or "+batchNew))
			return
		}
	}
	err = batch.Set(s.History, run, pot-1, id)
	if err == nil && wantsPage(r) && r.PostForm.Has("bench") {
		http.Redirect(w, r, "/#potfuls", http.StatusSeeOther)
		return
	}
	s.changed(w, r, run, 0, err)
}

// changeBatch corrects what is written of a batch: "colour", "base", "lot", "made" and
// "note".
func (s *server) changeBatch(w http.ResponseWriter, r *http.Request) {
	b, _, _, ok := s.batchOf(w, r)
	if !ok {
		return
	}
	c, err := batchChange(r)
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	if err := s.History.ChangeBatch(b.ID, c); err != nil {
		pastProblem(w, err)
		return
	}
	if wantsPage(r) {
		http.Redirect(w, r, fmt.Sprintf("/batches/%d", b.ID), http.StatusSeeOther)
		return
	}
	writeJSON(w, http.StatusOK, batchChanged{b.ID})
}

func batchChange(r *http.Request) (history.BatchChange, error) {
	var c history.BatchChange
	for _, field := range []struct {
		name string
		to   **string
	}{{"colour", &c.Colour}, {"base", &c.Base}, {"lot", &c.Lot}, {"made", &c.Made}, {"note", &c.Note}} {
		text, err := typed(r, field.name)
		if err != nil {
			return c, err
		}
		if r.PostForm.Has(field.name) {
			*field.to = &text
		}
	}
	return c, batch.CheckChange(c)
}

func batchOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET /api/v1/batches", Group: groupPast, Does: "Every batch with its heat dose, and what the yellowed ones say",
			Answers: []describe.Answer{{Status: 200, Body: batch.Book{}, Says: "The batches"}}, Problems: []*describe.Kind{notReadable},
		},
		{
			Route: "GET /api/v1/batches/{batch}", Group: groupPast, Does: "One batch with its shots",
			Answers: []describe.Answer{{Status: 200, Body: batchAnswer{}, Says: "The batch"}}, Problems: []*describe.Kind{noBatch, notReadable},
		},
		{
			Route: "POST /api/v1/runs/{run}/pots/{pot}/batch", Group: groupJudge, Does: "Say what a pot of a run holds",
			Form: []describe.Field{
				{Name: "batch", Says: "the number of the earlier batch that it is the rest of, or “new”", Needed: true, Example: batchNew},
				{Name: "bench", Says: "anything here brings a form without script back to the bench"},
			},
			Answers: answers(200, runChanged{}, "It is written down"), Problems: kinds(runKinds, noPot, noBatch, wrongField, doesNotFit),
		},
		{
			Route: "POST /api/v1/batches/{batch}", Group: groupJudge, Does: "Correct what is written of a batch; what is left out stays",
			Form: []describe.Field{
				{Name: "colour", Says: "its colour", Most: mostTyped}, {Name: "base", Says: "the base that it was made of", Most: mostTyped}, {Name: "lot", Says: "its lot", Most: mostTyped, Example: "B 12"},
				{Name: "made", Says: "when it was made", Most: mostTyped}, {Name: "note", Says: "a note", Most: mostTyped},
			},
			Answers: answers(200, batchChanged{}, "It is written down"), Problems: []*describe.Kind{noBatch, wrongField, doesNotFit, notReadable},
		},
	}
}
