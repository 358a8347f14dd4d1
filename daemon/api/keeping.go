package api

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

const (
	// importPath takes an archive: it alone takes a body so large.
	importPath = "/api/v1/import"
	// mostArchive is the largest that is taken here, in bytes (E: seconds of work on a
	// small computer, while the recorder waits).
	mostArchive = 16 << 20
	// archiveWithin is how long an archive may take to be written and sent or brought in,
	// and old runs to be thinned.
	archiveWithin = 5 * time.Minute
	archiveName   = "runs.sqlite"
)

// keepingPage is what the template about keeping and sharing is filled with.
type keepingPage struct {
	head
	File string
	// Said is what has just been done, a line each.
	Said []string
	// OlderThan is the age from which on runs are thinned, as typed.
	OlderThan    string
	FromHere     bool
	WithoutStore bool
	Relations    []history.Relation
}

func (s *server) keepingPage(w http.ResponseWriter, r *http.Request) { s.showKeeping(w, r, nil) }

// aYear is what is offered as the age of old runs (C).
const aYear = "365 days"

func (s *server) showKeeping(w http.ResponseWriter, r *http.Request, said []string) {
	p := keepingPage{
		head: s.unitless(r, view.Texts().Keeping, "/runs"), Said: said, FromHere: fromHere(r),
		WithoutStore: s.History == nil, Relations: history.Described(), OlderThan: cmp.Or(r.PostForm.Get("older-than"), aYear),
	}
	if s.History != nil {
		p.File = s.History.Path()
	}
	show(w, http.StatusOK, "keeping.html", p)
}

// keeps refuses where nothing is kept.
func (s *server) keeps(w http.ResponseWriter) bool {
	if s.History == nil {
		refuse(w, nothingKept, "nothing is kept here")
	}
	return s.History != nil
}

// archive answers with the runs that the address names, each as "run", or with all that
// are over.
func (s *server) archive(w http.ResponseWriter, r *http.Request) {
	if fromElsewhere(w, r) || !s.keeps(w) {
		return
	}
	runs, err := runsOf(r.URL.Query())
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	done, ok := s.turn(w, r, archiveWithin)
	if !ok {
		tooMany(w)
		return
	}
	defer done()
	folder, gone, err := s.History.Workshop()
	if err != nil {
		refuseFor(w, notReadable, err)
		return
	}
	defer gone()
	path := filepath.Join(folder, archiveName)
	if _, err := s.History.Archive(path, runs...); err != nil {
		pastProblem(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/vnd.sqlite3") // as IANA has it
	w.Header().Set("Content-Disposition", `attachment; filename="`+archiveName+`"`)
	http.ServeFile(w, r, path)
}

func runsOf(q url.Values) (runs []int64, err error) {
	for _, typed := range q["run"] {
		n, err := strconv.ParseInt(typed, 10, 64)
		if err != nil {
			return nil, wrong("run", typed, "write the number of a run")
		}
		runs = append(runs, n)
	}
	return runs, nil
}

// broughtIn are the runs of an archive.
type broughtIn struct {
	Runs []history.Brought `json:"runs"`
}

// bringIn brings in the archive in the form field "archive".
func (s *server) bringIn(w http.ResponseWriter, r *http.Request) {
	if !s.keeps(w) {
		return
	}
	file, err := fileIn(r, "archive")
	if err != nil {
		refuseFor(w, wrongFile, err)
		return
	}
	done, ok := s.turn(w, r, archiveWithin)
	if !ok {
		tooMany(w)
		return
	}
	defer done()
	runs, err := s.bring(file)
	if err != nil {
		pastProblem(w, err)
		return
	}
	if wantsPage(r) {
		s.showKeeping(w, r, review.BroughtLines(runs))
		return
	}
	writeJSON(w, http.StatusOK, broughtIn{runs})
}

// bring puts the file where it can be read as one.
func (s *server) bring(file *multipart.Part) (runs []history.Brought, err error) {
	folder, gone, err := s.History.Workshop()
	if err != nil {
		return nil, err
	}
	defer gone()
	path := filepath.Join(folder, archiveName)
	to, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	_, err = io.Copy(to, file)
	if err = errors.Join(err, to.Close()); err != nil {
		return nil, err
	}
	if runs, err = s.History.Import(path, time.Now()); err != nil {
		return nil, typedName{err, path, file.FileName()}
	}
	return runs, nil
}

// typedName is an error about a file by the name that the maker knows it by.
type typedName struct {
	error
	path, name string
}

func (e typedName) Error() string { return strings.ReplaceAll(e.error.Error(), e.path, e.name) }
func (e typedName) Unwrap() error { return e.error }

// tidy thins the runs that are older than the form field "older-than"; with "dry-run" it
// only says which.
func (s *server) tidy(w http.ResponseWriter, r *http.Request) {
	if !s.keeps(w) {
		return
	}
	typed := r.PostFormValue("older-than")
	age, err := config.Days().Parse(typed)
	if err != nil {
		refuseFor(w, wrongField, wrongBy("older-than", typed, err))
		return
	}
	done, ok := s.turn(w, r, archiveWithin)
	if !ok {
		tooMany(w)
		return
	}
	defer done()
	tidied, err := s.History.Tidy(r.Context(), time.Now(), age, r.PostForm.Get("dry-run") != "")
	if err != nil {
		pastProblem(w, err)
		return
	}
	if wantsPage(r) {
		s.showKeeping(w, r, review.TidiedLines(tidied))
		return
	}
	writeJSON(w, http.StatusOK, tidied)
}

func keepingOperations() []describe.Operation {
	may := []*describe.Kind{nothingKept, benchOnly, tooBusy, notReadable}
	return []describe.Operation{
		{
			Route: "POST " + importPath, Group: groupKeep, Does: "Bring runs in from an archive", HereOnly: true,
			More: fmt.Sprintf("%d MB at most. It is all or nothing; a run that is here already is left as it is.", mostArchive>>20),
			Form: []describe.Field{{Name: "archive", Says: "the file", Is: describe.File, Needed: true}},
			Answers: []describe.Answer{
				{Status: 200, Body: broughtIn{}, Says: "The runs"}, {Status: 200, MediaType: "text/html"},
			},
			Problems: kinds(may, wrongFile),
		},
		{
			Route: "POST /api/v1/tidy", Group: groupKeep, Does: "Thin old runs, to make room", HereOnly: true,
			More: "Most of their cycles go for good; recipes, events, shots, verdicts and photos stay.",
			Form: []describe.Field{
				{Name: "older-than", Says: "their age, in days", Needed: true, Example: aYear}, {Name: "dry-run", Says: "anything here only says which", Example: "yes"},
			},
			Answers: []describe.Answer{
				{Status: 200, Body: history.Tidied{}, Says: "The runs"}, {Status: 200, MediaType: "text/html"},
			},
			Problems: kinds(may, wrongField),
		},
		{
			Route: "GET /keeping/" + archiveName, Group: groupKeep, Does: "Runs as an archive, to take elsewhere", HereOnly: true,
			In:      []describe.Field{{Name: "run", Says: "the number of a run; every run that is over unless it is said", Is: describe.Whole, Many: true, Example: "1"}},
			Answers: []describe.Answer{{Status: 200, MediaType: "application/vnd.sqlite3", Says: "The archive"}}, Problems: kinds(may, otherSite, wrongField, noRun, doesNotFit),
		},
		aPage("/keeping", "Keeping and sharing", []describe.Field{inFahrenheitField}),
	}
}
