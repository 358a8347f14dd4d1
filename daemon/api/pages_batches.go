package api

import (
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"meltwarden/daemon/batch"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
)

// batchRow is one batch of a list.
type batchRow struct {
	batch.Batch
	Address string
	Dose    string
}

func batchRowOf(b batch.Batch, h head) batchRow {
	return batchRow{Batch: b, Address: fmt.Sprintf("/batches/%d%s", b.ID, h.Carry), Dose: batch.Equal(b.DoseMin)}
}

// batchesPage is what the template of the list of batches is filled with.
type batchesPage struct {
	head
	Rows         []batchRow // the newest first
	Advice, Why  string
	WithoutStore bool
}

// batchesPage lists the batches.
func (s *server) batchesPage(w http.ResponseWriter, r *http.Request) {
	book, ok := s.book(w)
	if !ok {
		return
	}
	p := batchesPage{head: s.unitless(r, view.Texts().Batches, "/batches"), WithoutStore: s.History == nil, Advice: book.Advice.String(), Why: batch.Why(book.KJ)}
	for _, b := range slices.Backward(book.Batches) {
		p.Rows = append(p.Rows, batchRowOf(b, p.head))
	}
	show(w, http.StatusOK, "batches.html", p)
}

// batchPage is what the template of one batch is filled with.
type batchPage struct {
	head
	batchRow
	Facts               []batch.Fact
	Sessions            []batch.Session
	Shots               []batch.Shot
	Region, Advice, Why string
}

// batchPage shows one batch: its figures, sessions and shots.
func (s *server) batchPage(w http.ResponseWriter, r *http.Request) {
	b, book, shots, ok := s.batchOf(w, r)
	if !ok {
		return
	}
	p := batchPage{
		head: s.unitless(r, b.Title(), "/batches"), Facts: b.Facts(book.KJ), Sessions: b.Sessions(book.KJ), Shots: shots,
		Region: book.Region(b), Advice: book.Advice.String(), Why: batch.Why(book.KJ),
	}
	p.Simulated = b.Heats[0].Invented
	p.batchRow = batchRowOf(b, p.head)
	show(w, http.StatusOK, "batch.html", p)
}

// potfuls are the batches in the pots of a run, as a part of a page.
type potfuls struct {
	Labels view.Labels
	Run    int64 // zero shows nothing
	// AtBench is true on the bench's page.
	AtBench bool
	Pots    []potful
	// Region says which have had as much heat as yellowed ones; "" is none.
	Region string
}

// potful is one of them, with what it may be instead.
type potful struct {
	Number          int // of the pot
	Title, Words    string
	Address, SetTo  string
	Rest, CameCured bool
	Offers          []batch.Batch
}

// potfulsPart is what is in the pots of the run being recorded, as a part of the bench's
// page.
func (s *server) potfulsPart(w http.ResponseWriter, r *http.Request) {
	part, err := potfuls{Labels: view.Texts()}, error(nil)
	if s.History != nil {
		part, err = s.potfulsNow(r)
	}
	if err != nil {
		pastProblem(w, err)
		return
	}
	show(w, http.StatusOK, "potfuls", part)
}

func (s *server) potfulsNow(r *http.Request) (potfuls, error) {
	p := potfuls{Labels: view.Texts()}
	run := s.History.Live()
	if run == 0 {
		return p, nil
	}
	book, err := batch.Near(s.History, run)
	if err != nil {
		return p, err
	}
	advice, err := s.advice.of(s.History, time.Now())
	if err != nil {
		return p, err
	}
	book.Heed(advice)
	p, err = s.potfulsOf(book, run, s.head(r, "", ""))
	p.AtBench = true
	return p, err
}

func (s *server) potfulsOf(book batch.Book, run int64, h head) (potfuls, error) {
	p := potfuls{Labels: h.Labels, Run: run}
	ids, err := s.History.InPots(run)
	if err != nil {
		return p, err
	}
	cured, err := s.cameCured(run)
	if err != nil {
		return p, err
	}
	var all []batch.Batch
	for pot := range ids {
		b, ok := book.In(run, pot)
		if !ok {
			continue // it came meanwhile
		}
		row := batchRowOf(b, h)
		p.Pots = append(p.Pots, potful{
			Number: pot + 1, Title: b.Title(), Words: b.Words(), Address: row.Address, SetTo: fmt.Sprintf("/api/v1/runs/%d/pots/%d/batch", run, pot+1),
			Rest: b.RestIn(run, pot), CameCured: cured[pot], Offers: book.Offers(run, pot),
		})
		all = append(all, b)
	}
	p.Region = book.Region(all...)
	return p, nil
}

// adviceHolds is for how long the bench's page goes by the same advice: it comes from every
// judged shot there is, and that page is asked for often.
const adviceHolds = time.Minute

// adviser remembers what was advised last.
type adviser struct {
	mu     sync.Mutex
	at     time.Time
	advice batch.Advice
}

func (a *adviser) of(s *history.Store, now time.Time) (batch.Advice, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.at.IsZero() || now.Sub(a.at) >= adviceHolds {
		book, err := batch.Of(s)
		if err != nil {
			return batch.Advice{}, err
		}
		a.at, a.advice = now, book.Advice
	}
	return a.advice, nil
}

// cameCured are the pots, by index, that were marked to have come cured: they were heated
// before.
func (s *server) cameCured(run int64) (map[int]bool, error) {
	pots := map[int]bool{}
	events, err := s.History.Events(run)
	for _, e := range events {
		if e.Kind == history.CameCured && !e.TakenBack {
			pots[e.Pot] = true
		}
	}
	return pots, err
}
