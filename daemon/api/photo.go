package api

import (
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"strconv"
	"time"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/photo"
)

// photosPath ends the address that takes a photo: it alone takes more than a form.
const photosPath = "/photos"

// photoWithin is how long a photo may take to be made fit to be kept.
const photoWithin = time.Minute

// aroundFile is how much a form has around a file, in bytes, at most.
const aroundFile = 64 << 10

// addPhoto attaches the file in the form field "photo" to a shot. Reading one takes the
// processor from the bench: one at a time, like pictures that are drawn.
func (s *server) addPhoto(w http.ResponseWriter, r *http.Request) {
	run, number := s.shotOf(w, r)
	if number == 0 {
		return
	}
	file, err := fileIn(r, "photo")
	if err != nil {
		refuseFor(w, wrongFile, err)
		return
	}
	done, ok := s.turn(w, r, photoWithin)
	if !ok {
		tooMany(w)
		return
	}
	taken, err := photo.Take(file)
	done()
	if err != nil {
		refuseFor(w, wrongFile, wrongBy("photo", file.FileName(), err))
		return
	}
	s.changed(w, r, run, number, s.History.AddPhoto(run, number, time.Now(), taken))
}

// fileIn is the file in a field of the form.
func fileIn(r *http.Request, field string) (*multipart.Part, error) {
	none := &fieldError{field: field, why: "no file", fix: "choose one"}
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, none
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return nil, none
		}
		if err != nil {
			return nil, &fieldError{field: field, why: fmt.Sprintf("the form can not be read (%v)", err), fix: "send it again"}
		}
		if part.FormName() == field && part.FileName() != "" {
			return part, nil
		}
	}
}

// removePhoto takes a photo back.
func (s *server) removePhoto(w http.ResponseWriter, r *http.Request) {
	run, id := s.photoOf(w, r)
	if id == 0 {
		return
	}
	s.changed(w, r, run, 0, s.History.RemovePhoto(run, id))
}

// picture answers with a photo of a run, by its size: "large" or "small".
func (s *server) picture(w http.ResponseWriter, r *http.Request) {
	run, id := s.photoOf(w, r)
	if id == 0 {
		return
	}
	size := r.PathValue("size")
	if size != "large" && size != "small" {
		refuse(w, noPhoto, "there is no such size; ask for large or small")
		return
	}
	jpeg, err := s.History.Picture(run, id, size == "small")
	if err != nil {
		pastProblem(w, err)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Write(jpeg)
}

// photoOf are the numbers of the run and the photo that a route names, or zeros after an
// answer.
func (s *server) photoOf(w http.ResponseWriter, r *http.Request) (run, id int64) {
	if run = s.runOf(w, r); run == 0 {
		return 0, 0
	}
	id, err := strconv.ParseInt(r.PathValue("photo"), 10, 64)
	if err != nil || id < 1 {
		refuse(w, noPhoto, "there is no such photo; photos are numbered from 1")
		return 0, 0
	}
	return run, id
}

func photoOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "POST /api/v1/runs/{run}/shots/{shot}" + photosPath, Group: groupJudge, Does: "Attach a photo to a shot", HereOnly: true,
			More:    fmt.Sprintf("JPEG or PNG, of %d MB at most. It is made smaller, and where and when it was taken is left out.", photo.MostBytes>>20),
			Form:    []describe.Field{{Name: "photo", Says: "the file", Is: describe.File, Needed: true}},
			Answers: answers(200, runChanged{}, "It is attached"), Problems: kinds(shotKinds, benchOnly, wrongFile, tooBusy),
		},
		{
			Route: "POST /api/v1/runs/{run}/photos/{photo}/take-back", Group: groupJudge, Does: "Take a photo back", HereOnly: true,
			Answers: answers(200, runChanged{}, "It is gone"), Problems: kinds(runKinds, benchOnly, noPhoto),
		},
		{
			Route: "GET /runs/{run}/photos/{photo}/{size}", Group: groupPages, Does: "A photo",
			Answers: []describe.Answer{{Status: 200, MediaType: "image/jpeg", Says: "The photo"}}, Problems: kinds(runKinds, noPhoto),
		},
	}
}
