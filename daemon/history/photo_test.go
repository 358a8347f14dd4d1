package history

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/photo"
)

// aPhoto is an invented one.
func aPhoto(t *testing.T) photo.Photo {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 40, 30))
	m.SetGray(7, 7, color.Gray{Y: 200})
	var file bytes.Buffer
	require.NoError(t, png.Encode(&file, m))
	p, err := photo.Take(&file)
	require.NoError(t, err)
	return p
}

// TestAPhotoIsKeptAndTakenBack, and is in a backup.
func TestAPhotoIsKeptAndTakenBack(t *testing.T) {
	s, run := withShots(t)
	p := aPhoto(t)
	require.NoError(t, s.AddPhoto(run, 2, noon, p))
	require.NoError(t, s.AddPhoto(run, 2, noon, p), "the same file again")
	shots, err := s.Shots(run)
	require.NoError(t, err)
	assert.Empty(t, shots[0].Photos)
	require.Len(t, shots[1].Photos, 1)
	kept := shots[1].Photos[0]
	assert.Equal(t, 40, kept.Width)
	picture, err := s.Picture(run, kept.ID, false)
	require.NoError(t, err)
	assert.Equal(t, p.Picture, picture)
	assert.Equal(t, kept.Bytes, len(picture))
	small, err := s.Picture(run, kept.ID, true)
	require.NoError(t, err)
	assert.Equal(t, p.Small, small)

	folder := t.TempDir()
	require.NoError(t, s.Backup(filepath.Join(folder, FileName)))
	copied := open(t, folder)
	picture, err = copied.Picture(run, kept.ID, false)
	require.NoError(t, err)
	assert.Equal(t, p.Picture, picture)

	inFile := func() bool {
		require.NoError(t, s.Close()) // and the log is put into the file
		file, err := os.ReadFile(s.path)
		require.NoError(t, err)
		s = open(t, s.folder)
		return bytes.Contains(file, p.Picture[len(p.Picture)-64:])
	}
	require.True(t, inFile())
	require.NoError(t, s.RemovePhoto(run, kept.ID))
	assert.False(t, inFile(), "nothing of it is left in the file")
	for _, err := range []error{s.RemovePhoto(run, kept.ID), s.RemovePhoto(9, kept.ID)} {
		assert.ErrorIs(t, err, ErrNoPhoto)
	}
	_, err = s.Picture(run, kept.ID, false)
	assert.ErrorIs(t, err, ErrNoPhoto)
	assert.ErrorIs(t, s.AddPhoto(run, 9, noon, p), ErrNoShot)
}
