//go:build unix

package main

import (
	"bufio"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/term"
)

// glass is what a terminal of a size shows of what is written to it: of ECMA-48 what the
// program uses, and nothing else.
type glass struct {
	mu            sync.Mutex
	rows          [][]rune
	row, col      int
	begun         string // a sequence, so far
	bells         int
	wrong         []string // what a terminal would scroll or wrap at
	cursor, other bool     // as the terminal was told to show them
}

func newGlass(width, height int) *glass {
	g := &glass{cursor: true}
	g.resize(width, height)
	return g
}

func (g *glass) resize(width, height int) {
	g.rows = make([][]rune, height)
	for i := range g.rows {
		g.rows[i] = []rune(strings.Repeat(" ", width))
	}
}

// sequence is what moves, wipes or sets something (ECMA-48, 5.4).
var sequence = regexp.MustCompile(`^\x1b\[(\??)([0-9;]*)([A-Za-z])$`)

func (g *glass) write(r rune) {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch {
	case r == '\x1b' || g.begun != "":
		g.begun += string(r)
		if m := sequence.FindStringSubmatch(g.begun); m != nil {
			g.begun = ""
			g.obey(m[1]+m[3], m[2])
		}
	case r == '\a':
		g.bells++
	case !g.other: // before it draws and after
	case r < ' ' || g.col >= len(g.rows[0])-1:
		g.wrong = append(g.wrong, strconv.QuoteRune(r))
	default:
		g.rows[g.row][g.col] = r
		g.col++
	}
}

func (g *glass) obey(what, with string) {
	switch what {
	case "H":
		g.row, g.col = 0, 0
		if row, col, two := strings.Cut(with, ";"); two {
			g.row, _ = strconv.Atoi(row)
			g.col, _ = strconv.Atoi(col)
			g.row, g.col = g.row-1, g.col-1
		}
		if g.row >= len(g.rows) {
			g.wrong = append(g.wrong, "row "+with)
			g.row = len(g.rows) - 1
		}
	case "K":
		copy(g.rows[g.row][g.col:], []rune(strings.Repeat(" ", len(g.rows[g.row]))))
	case "J":
		g.resize(len(g.rows[0]), len(g.rows))
	case "?h", "?l":
		if with == "25" {
			g.cursor = what == "?h"
		}
		if with == "1049" {
			g.other = what == "?h"
		}
	}
}

func (g *glass) rung() int {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.bells
}

func (g *glass) text() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	var s strings.Builder
	for _, r := range g.rows {
		s.WriteString(strings.TrimRight(string(r), " ") + "\n")
	}
	return s.String()
}

// seat is a person at a terminal with the program on it.
type seat struct {
	*exec.Cmd
	t      *testing.T
	pty    *os.File // the person's end
	tty    *os.File // the program's
	before *term.State
	glass  *glass
}

// sit starts the program on a terminal of a size.
func sit(t *testing.T, width, height uint16, args ...string) *seat {
	t.Helper()
	ours, theirs, err := pty.Open()
	require.NoError(t, err)
	require.NoError(t, pty.Setsize(ours, &pty.Winsize{Cols: width, Rows: height}))
	before, err := term.GetState(int(theirs.Fd()))
	require.NoError(t, err)
	s := &seat{Cmd: command(args...), t: t, pty: ours, tty: theirs, before: before, glass: newGlass(int(width), int(height))}
	s.Env = append(s.Env, "TERM=xterm", "NO_COLOR=1", "SSH_CONNECTION=")
	s.Stdin, s.Stdout, s.Stderr = theirs, theirs, theirs
	s.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	require.NoError(t, s.Start())
	t.Cleanup(func() { _ = s.Process.Kill(); _ = s.Wait(); _ = ours.Close(); _ = theirs.Close() })
	go s.look()
	return s
}

func (s *seat) look() {
	for drawn := bufio.NewReader(s.pty); ; {
		r, _, err := drawn.ReadRune()
		if err != nil {
			return
		}
		s.glass.write(r)
	}
}

func (s *seat) types(keys string) {
	s.t.Helper()
	_, err := s.pty.WriteString(keys)
	require.NoError(s.t, err)
}

// shows waits until the terminal shows something.
func (s *seat) shows(like string) {
	s.t.Helper()
	re := regexp.MustCompile(like)
	assert.Eventually(s.t, func() bool { return re.MatchString(s.glass.text()) }, time.Minute, 5*time.Millisecond)
	require.Regexp(s.t, re, s.glass.text())
}

// left waits for the program's end, and the terminal is as it was.
func (s *seat) left(code int) {
	s.t.Helper()
	_ = s.Wait()
	assert.Equal(s.t, code, s.ProcessState.ExitCode(), s.glass.text())
	after, err := term.GetState(int(s.tty.Fd()))
	require.NoError(s.t, err)
	assert.Equal(s.t, s.before, after, "the terminal types as before")
	assert.Eventually(s.t, func() bool {
		s.glass.mu.Lock()
		defer s.glass.mu.Unlock()
		return s.glass.cursor && !s.glass.other && len(s.glass.wrong) == 0
	}, time.Minute, 5*time.Millisecond, "the cursor is back, and the screen that was; nothing wrapped or scrolled: %v", s.glass.wrong)
}

// TestWatchingABench at a real terminal, over the API of a real daemon: what is typed is in
// its history, what it does not know any more is said, and the terminal is as it was.
func TestWatchingABench(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	_, file := patient(t)
	folder := t.TempDir()
	served := watching(t, file, folder)
	s := sit(t, 80, 24, "watch", "--to", served.page)
	s.shows(`(?s)slate eel, run 1 .*Not yet.* 1 slate .*HOT|(?s)slate eel, run 1 .*Not yet.* 1 slate `)
	s.shows(`q Leave\s*\z`)

	s.types("s")
	s.shows(`Stirred: of which pot\?`)
	s.types("\x1b[A2S")                               // an arrow is no mark; capitals may be locked
	s.shows(`taken: ivory, Stirred; u takes it back`) // once the bench says that it can be
	s.types("u")
	s.shows(`taken back, so it counts nowhere`)
	s.types("9")
	s.shows(`There is no pot 9`)
	s.types("3d")
	s.shows(`taken: rust, Drawn`)
	s.types("p")
	s.shows(`taken: Shot; u takes it back`)
	s.types("j")
	s.shows(`(?s)Shot 1 of \d\d:\d\d:\d\d, how is it\?.*clean  bled.*flake sunk`)
	s.types("\x1b[Ac\r")
	s.shows(`"c" can be clean, cloudy`)
	s.types("j")
	s.shows(`how is it\?`)
	s.types("Bl\r")
	s.shows(`taken: shot 1, bled; u takes it back`)
	s.types("j")
	s.shows(`how is it\? So far: bled\.`)
	s.types("clean\r")
	s.shows(`Shot 1 is judged already: bled`)
	s.types("j")
	s.shows(`how is it\?`)
	s.types("se\r")
	s.shows(`taken: shot 1, seam; u takes it back`)
	s.types("u")
	s.shows(`taken back, so it counts nowhere`)
	s.types("p")
	s.shows(`taken: Shot; u takes it back`)
	s.types("j")
	s.shows(`Shot 2 of`)
	s.types("\x1b")
	s.shows(`taken: Shot; u takes it back`)
	s.types("u")
	s.shows(`taken back, so it counts nowhere`)
	s.types("u")
	s.shows(`nothing of yours to take back`)
	s.types("nthe clamp slippped\x7f\x7f\x7fed\r")
	s.shows(`taken: Note`)
	s.types("m")
	s.shows(`taken: Silence`)
	s.types("o")
	s.shows(`hold shift`)
	s.types("?")
	s.shows(`Any key goes back`)
	s.types("O")
	s.shows(`ALL OFF taken`)
	s.types("f")
	s.shows(`set 334\.4 ± 3\.6 °F`)

	s.glass.mu.Lock() // what is drawn is drawn after the terminal has its new size
	s.glass.resize(130, 40)
	s.glass.mu.Unlock()
	require.NoError(t, pty.Setsize(s.pty, &pty.Winsize{Cols: 130, Rows: 40}))
	s.shows(`1 slate .*waits for|1 slate .*heat is refused`)

	bells := s.glass.rung()
	require.NoError(t, served.Process.Signal(syscall.SIGSTOP)) // the line stays open, and says nothing
	lost := time.Now()
	s.shows(`NOT LIVE – last reading \d\d:\d\d:\d\d`)
	t.Logf("a bench that falls silent is shown so after %.1f s", time.Since(lost).Seconds())
	s.shows(`No word from http://`)
	assert.Equal(t, bells+1, s.glass.rung())
	s.types("3s")
	s.shows(`NOT SENT: rust, Stirred`)
	require.NoError(t, served.Process.Signal(syscall.SIGCONT))
	s.shows(`(?s)Not yet.*is heard again`)
	served.ends(t)
	s.shows(`(?s)NOT LIVE.*connection refused`)
	s.types("O")
	s.shows(`ALL OFF was not sent\. Use the emergency stop`)
	s.types("q")
	s.left(0)

	said := atTerminal(t, folder)
	events := said("review", "1", "--events")
	for _, want := range []string{`ivory +stirred`, `rust +drawn`, `bench +all off`, `note, the clamp slipped`} {
		assert.Regexp(t, want, events)
	}
	assert.Len(t, regexp.MustCompile(`(?m)ivory +stirred`).FindAllString(events, -1), 1, "one mark a key")
	assert.Contains(t, events, "taken back, stirred")
	review := said("review", "1")
	assert.Contains(t, review, "taken back")
	assert.Regexp(t, `1 .*bled`, review)
	assert.NotContains(t, review, "seam")
}

// TestWatchRestoresTheTerminal on every end.
func TestWatchRestoresTheTerminal(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	for _, end := range []func(*seat){
		func(s *seat) { s.types("q") },
		func(s *seat) { s.types("\x03") },
		func(s *seat) { _ = s.Process.Signal(syscall.SIGTERM) },
		func(s *seat) { _ = s.Process.Signal(syscall.SIGHUP) },
		func(s *seat) { _ = s.Process.Signal(syscall.SIGINT) },
		func(s *seat) { _ = s.Process.Signal(syscall.SIGQUIT) },
	} {
		s := sit(t, 80, 24, "watch", "--to", "127.0.0.1:1")
		s.shows(`NOT LIVE`)
		end(s)
		s.left(0)
	}
}

// TestWatchForAProgram: what is no terminal gets lines, or the API's own objects, and an
// exit status that says what the bench is.
func TestWatchForAProgram(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	_, file := patient(t)
	served := watching(t, file, t.TempDir())
	block, err := command("watch", "--once", "--to", served.page).Output()
	var ended *exec.ExitError
	require.ErrorAs(t, err, &ended)
	assert.Equal(t, 1, ended.ExitCode(), "not ready")
	assert.Contains(t, string(block), "Not yet")
	assert.NotContains(t, string(block), "\x1b")

	var one map[string]any
	object, _ := command("watch", "--once", "--json", "--to", served.page).Output()
	require.NoError(t, json.Unmarshal(object, &one))
	assert.Equal(t, true, one["live"])

	lines := started(t, command("watch", "--to", served.page))
	objects := started(t, command("watch", "--json", "--to", served.page))
	var now, then map[string]any
	stream := json.NewDecoder(objects.out)
	require.NoError(t, stream.Decode(&now))
	plain := bufio.NewScanner(lines.out)
	tells := func(like string) {
		for re := regexp.MustCompile(like); plain.Scan(); {
			if re.MatchString(plain.Text()) {
				return
			}
		}
		t.Fatalf("it ended without %q: %s", like, lines.said.String())
	}
	tells(`^\d:\d\d:\d\d  slate \d+ °C off, ivory`)
	served.ends(t)
	for then == nil || then["live"] == true {
		clear(then)
		require.NoError(t, stream.Decode(&then))
	}
	assert.Equal(t, true, now["live"])
	assert.Equal(t, false, then["live"])
	assert.ElementsMatch(t, keysIn(now), keysIn(then), "the same names, live or not")
	tells(`NOT LIVE – last reading`)

	object, err = command("watch", "--once", "--json", "--to", served.page).Output()
	require.ErrorAs(t, err, &ended)
	assert.Equal(t, 2, ended.ExitCode(), "not live")
	require.NoError(t, json.Unmarshal(object, &one))
	assert.Equal(t, false, one["live"])
	assert.Nil(t, one["power_w"])
	assert.Equal(t, []any{}, one["pots"])
}

// TestWatchGoesByTheBenchFile, and a strange program at that address is none.
func TestWatchGoesByTheBenchFile(t *testing.T) {
	file := benchIn(t, t.TempDir(), "none")
	r, err := watchFlags{file: file}.remote()
	require.NoError(t, err)
	assert.Equal(t, "http://127.0.0.1:8420", r.String())
	t.Setenv("MELTWARDEN_LISTEN", "127.0.0.1:9")
	r, err = watchFlags{}.remote()
	require.NoError(t, err)
	assert.Equal(t, "http://127.0.0.1:9", r.String())
	for connection, afar := range map[string]bool{"": false, "192.0.2.7 50000 192.0.2.8 22": true} {
		t.Setenv("SSH_CONNECTION", connection)
		r, err = watchFlags{}.remote()
		require.NoError(t, err)
		assert.Equal(t, afar || startedFromAfar(), r.Afar, "who comes over SSH is not at the bench")
	}

	strange := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(`{"status":"ok"}`)) }))
	defer strange.Close()
	_, err = run(t.Context(), "watch", "--once", "--to", strange.URL)
	code, said := exit(err)
	assert.Equal(t, 2, code)
	assert.Equal(t, "what answers there is no bench", said)
	_, err = run(t.Context(), "watch", "--to", "http://")
	assert.ErrorContains(t, err, "--to \"http://\": no address of a bench")
}
