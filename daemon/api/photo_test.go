package api

import (
	"bytes"
	"image"
	"image/png"
	"io"
	"mime/multipart"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
	"meltwarden/daemon/photo"
)

// withPhoto is a form with a photo in it.
func withPhoto(t *testing.T, target string, file []byte, headers ...string) *http.Request {
	t.Helper()
	return withFile(t, target, "photo", file, headers...)
}

func withFile(t *testing.T, target, field string, file []byte, headers ...string) *http.Request {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile(field, "bait.png")
	require.NoError(t, err)
	_, err = part.Write(file)
	require.NoError(t, err)
	require.NoError(t, form.Close())
	r := request("POST", target, append(headers, "Content-Type: "+form.FormDataContentType())...)
	r.Body, r.ContentLength = io.NopCloser(&body), int64(body.Len())
	return r
}

func aPicture(t *testing.T) []byte {
	t.Helper()
	var file bytes.Buffer
	require.NoError(t, png.Encode(&file, image.NewGray(image.Rect(0, 0, 640, 480))))
	return file.Bytes()
}

// TestAPhotoIsAttachedShownAndTakenBack, as a browser without script does it.
func TestAPhotoIsAttachedShownAndTakenBack(t *testing.T) {
	s := twoEvenings(t)
	o, _ := options(&frames.Hub{})
	o.History = s
	h := New(o)
	a := do(h, withPhoto(t, "/api/v1/runs/1/shots/2/photos", aPicture(t), "Accept: text/html"))
	require.Equal(t, http.StatusSeeOther, a.StatusCode)
	assert.Equal(t, "/runs/1#shot-2", a.Header.Get("Location"))
	shots, err := s.Shots(1)
	require.NoError(t, err)
	require.Len(t, shots[1].Photos, 1)

	page := reader(t, s)("/runs/1", 200)
	requireAll(t, page, `href="/runs/1/photos/1/large"`, `src="/runs/1/photos/1/small" alt="Photo 1 of shot 2" width="320" height="240"`,
		"Colour can not be measured in it without a grey card", `enctype="multipart/form-data"`)
	for target, width := range map[string]int{"/runs/1/photos/1/large": 640, "/runs/1/photos/1/small": 320} {
		a := do(h, request("GET", target))
		require.Equal(t, http.StatusOK, a.StatusCode, target)
		assert.Equal(t, "image/jpeg", a.Header.Get("Content-Type"))
		m, format, err := image.DecodeConfig(a.Body)
		require.NoError(t, err)
		assert.Equal(t, "jpeg", format)
		assert.Equal(t, width, m.Width)
	}
	require.Equal(t, http.StatusOK, do(h, form("/api/v1/runs/1/photos/1/take-back", nil)).StatusCode)
	requireProblem(t, do(h, request("GET", "/runs/1/photos/1/small")), http.StatusNotFound)
	requireProblem(t, do(h, form("/api/v1/runs/1/photos/1/take-back", nil)), http.StatusNotFound)
}

// TestPhotosThatAreRefused: from elsewhere, with the token too; what is no photo; and
// nothing large anywhere else.
func TestPhotosThatAreRefused(t *testing.T) {
	s := twoEvenings(t)
	o, _ := options(&frames.Hub{})
	o.History = s
	h := New(o)
	const target = "/api/v1/runs/1/shots/2/photos"
	for _, r := range []*http.Request{
		withPhoto(t, target, aPicture(t), "Host: bench.example", "Authorization: Bearer "+token),
		form("/api/v1/runs/1/photos/1/take-back", nil, "Host: bench.example", "Authorization: Bearer "+token),
	} {
		r.RemoteAddr = "192.0.2.7:50000" // RFC 5737
		requireProblem(t, do(h, r), http.StatusForbidden)
	}
	requireProblem(t, do(h, withPhoto(t, target, []byte("no photo"))), http.StatusBadRequest)
	requireProblem(t, do(h, form(target, nil)), http.StatusBadRequest)
	requireProblem(t, do(h, withPhoto(t, "/api/v1/runs/1/shots/9/photos", aPicture(t))), http.StatusNotFound)
	requireProblem(t, do(h, request("GET", "/runs/1/photos/1/huge")), http.StatusNotFound)
	large := withPhoto(t, target, make([]byte, photo.MostBytes))
	large.ContentLength = photo.MostBytes + aroundFile + 1
	requireProblem(t, do(h, large), http.StatusRequestEntityTooLarge)
	requireProblem(t, do(h, withPhoto(t, "/api/v1/runs/1/note", make([]byte, 2*maxBody))), http.StatusRequestEntityTooLarge)
	shots, err := s.Shots(1)
	require.NoError(t, err)
	assert.Empty(t, shots[1].Photos)
}
