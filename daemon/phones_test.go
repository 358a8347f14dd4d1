package daemon

import (
	"bytes"
	"database/sql"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite" // the driver

	"meltwarden/daemon/phone"
)

// TestWhatIsWrongWithThePhonesIsLoggedOnce, and that the time was not noted is not taken for
// phones that are out.
func TestWhatIsWrongWithThePhonesIsLoggedOnce(t *testing.T) {
	folder := t.TempDir()
	phones := phone.Open(folder)
	defer phones.Close()
	_, _, err := phones.Add("blue", time.Hour, time.Now())
	require.NoError(t, err)
	file := filepath.Join(folder, phone.FileName)
	spoil, err := sql.Open("sqlite", "file:"+file)
	require.NoError(t, err)
	_, err = spoil.Exec(`CREATE TRIGGER full BEFORE INSERT ON clock BEGIN SELECT RAISE(ABORT, 'the disk is full'); END`)
	require.NoError(t, err)
	require.NoError(t, spoil.Close())

	var log bytes.Buffer
	d := &Daemon{opts: Options{Phones: phones, Log: slog.New(slog.NewTextHandler(&log, nil))}}
	p := passing{noted: time.Now()}
	d.lookAtPhones(&p)
	d.lookAtPhones(&p)
	assert.Equal(t, 1, bytes.Count(log.Bytes(), []byte("was not noted")), log.String())
	assert.NotContains(t, log.String(), "phones are out")
	require.NoError(t, phones.Known())

	require.NoError(t, os.Truncate(file, 0))
	d.lookAtPhones(&p)
	d.lookAtPhones(&p)
	assert.Equal(t, 1, bytes.Count(log.Bytes(), []byte("phones are out")), log.String())
	require.Error(t, phones.Known())
}
