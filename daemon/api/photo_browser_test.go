package api

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// TestAPhotoIsAttachedWithoutLeavingThePage: it shows in the card, as do a word about what
// is no photo, and that it was taken back.
func TestAPhotoIsAttachedWithoutLeavingThePage(t *testing.T) {
	store := twoEvenings(t)
	s := newStageWith(t, ready(), func(o *Options) { o.History = store })
	folder := t.TempDir()
	write := func(name string, file []byte) string {
		path := filepath.Join(folder, name)
		require.NoError(t, os.WriteFile(path, file, 0o600))
		return path
	}
	const form = "#shot-2 form[enctype] "
	attach := func(path string) {
		s.do(chromedp.SetUploadFiles(form+"input", []string{path}), chromedp.Click(form+"button"))
	}
	s.do(chromedp.Navigate(s.server.URL+"/runs/1"), chromedp.Click("#shot-2 summary"))
	attach(write("text.jpg", []byte("no photo")))
	s.becomes(`document.querySelector("` + form + `.error").textContent.includes("neither JPEG nor PNG")`)
	attach(write("bait.png", aPicture(t)))
	s.becomes(`document.querySelector("#shot-2 .photos img")?.naturalWidth === 320`)
	s.becomes(`document.querySelector("#shot-2 details").open`)
	s.do(chromedp.Click("#shot-2 .photos button"))
	s.becomes(`document.querySelector("#shot-2 .photos") === null`)
}
