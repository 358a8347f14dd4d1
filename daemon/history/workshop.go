package history

import (
	"os"
	"path/filepath"
	"strings"
	"time"
)

// workshops begin so: no folder of a maker's own does, so what is left of one can be removed.
const workshops = ".unfinished-"

// workshopHolds is for how long a workshop may be in use (E: far longer than an archive
// takes). One that is older was left behind by a program that was killed.
const workshopHolds = 24 * time.Hour

// Workshop makes a folder beside the history for files on their way in or out, so that they
// lie on the same disk. It is gone when gone is called; where the program is killed before,
// one that records and is started a day later removes it.
func (s *Store) Workshop() (folder string, gone func(), err error) {
	if folder, err = os.MkdirTemp(s.folder, workshops); err != nil {
		return "", nil, err
	}
	return folder, func() { os.RemoveAll(folder) }, nil
}

// sweep removes the workshops that were last written to before a time, as far as it can:
// nobody waits for it.
func (s *Store) sweep(before time.Time) {
	all, _ := os.ReadDir(s.folder) // as far as it was read
	for _, e := range all {
		if info, err := e.Info(); err == nil && e.IsDir() && strings.HasPrefix(e.Name(), workshops) && info.ModTime().Before(before) {
			os.RemoveAll(filepath.Join(s.folder, e.Name()))
		}
	}
}
