package history

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// recordUntilKilled is the program that gets killed: it records at the pace of a
// bench, five cycles a second, sped up for the test, and says each one.
func recordUntilKilled(folder string) error {
	s, err := Open(folder)
	if err != nil {
		return err
	}
	o := start()
	r, err := s.Record(noon, o)
	if err != nil {
		return err
	}
	e := newEvening(o.Settings)
	for tick := time.NewTicker(killedCycle); ; <-tick.C {
		r.Put(e.next())
		fmt.Println(e.n)
	}
}

// killedCycle is the pace of the recording in the test.
const killedCycle = 100 * time.Millisecond

func TestMain(m *testing.M) {
	if folder := os.Getenv("RECORD_UNTIL_KILLED"); folder != "" {
		fmt.Fprintln(os.Stderr, recordUntilKilled(folder))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// TestKilledProgramLosesLessThanASecond kills a recording program without warning
// at fifty random moments (seeded). What is on disk afterwards is whole by SQLite's
// own check, replays without a difference, and is less than a second of cycles
// behind what was made; the run can be seen to have been interrupted.
func TestKilledProgramLosesLessThanASecond(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	losses := make([]int, 50)
	var group sync.WaitGroup
	free := make(chan struct{}, 4)
	for i := range losses {
		after := time.Duration(200+random.IntN(600)) * time.Millisecond
		free <- struct{}{}
		group.Go(func() {
			defer func() { <-free }()
			losses[i] = killOnce(t, after)
		})
	}
	group.Wait()
	most := slices.Max(losses)
	t.Logf("killed 50 times: at most %d cycles lost (%.1f s at five a second)", most, float64(most)/5)
	// A second is five cycles; here they come twice as fast, so that what the
	// disk takes counts twice.
	assert.LessOrEqual(t, most, 5)
}

func killOnce(t *testing.T, after time.Duration) (lost int) {
	folder := t.TempDir()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "RECORD_UNTIL_KILLED="+folder)
	said, err := c.StdoutPipe()
	assert.NoError(t, err)
	assert.NoError(t, c.Start())
	lines := bufio.NewScanner(said)
	assert.True(t, lines.Scan(), "it has begun")
	kill := time.AfterFunc(after, func() { _ = c.Process.Kill() })
	defer kill.Stop()
	made := 1
	for lines.Scan() {
		if n, err := strconv.Atoi(lines.Text()); err == nil {
			made = n
		}
	}
	assert.Error(t, c.Wait(), "killed")

	checkBySQLite(t, filepath.Join(folder, FileName))
	s, err := OpenExisting(folder)
	if !assert.NoError(t, err) {
		return 0
	}
	defer s.Close()
	var verdict string
	assert.NoError(t, s.read.QueryRow("PRAGMA integrity_check").Scan(&verdict))
	assert.Equal(t, "ok", verdict)
	runs, err := s.Runs(Filter{})
	assert.NoError(t, err)
	if !assert.Len(t, runs, 1) {
		return 0
	}
	assert.Equal(t, Interrupted, runs[0].State, "its program is gone")
	assert.NotNil(t, runs[0].Ended)
	back, err := s.Replay(runs[0].ID)
	assert.NoError(t, err)
	assert.Nil(t, back.Differs)
	assert.EqualValues(t, runs[0].Cycles, back.Cycles)
	return made - back.Cycles
}

// checkBySQLite has the sqlite3 tool, which is not of this program, check a copy of a
// file just as the kill left it, write-ahead log and all.
func checkBySQLite(t *testing.T, path string) {
	tool, err := exec.LookPath("sqlite3")
	if err != nil {
		assert.Empty(t, os.Getenv("MELTWARDEN_TEST_ALL"), "sqlite3 is not installed")
		return
	}
	copied := filepath.Join(t.TempDir(), FileName)
	for _, end := range []string{"", "-wal"} {
		text, err := os.ReadFile(path + end)
		assert.NoError(t, err)
		assert.NoError(t, os.WriteFile(copied+end, text, 0o600))
	}
	said, err := exec.Command(tool, copied, "PRAGMA integrity_check; PRAGMA foreign_key_check;").CombinedOutput()
	assert.NoError(t, err)
	assert.Equal(t, "ok\n", string(said))
}
