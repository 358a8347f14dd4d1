package main

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestALineOfProcesses is followed to the first, and is from afar where it can not be.
func TestALineOfProcesses(t *testing.T) {
	type one struct {
		pid            int
		stat, variable string
	}
	for name, c := range map[string]struct {
		line []one
		want bool
	}{
		"at the console":                {[]one{{9, "9 (meltwarden) S 8 ", ""}, {8, "8 (bash) S 7 ", "HOME=/home/blue"}, {7, "7 (login) S 1 ", ""}}, false},
		"over SSH, by sudo":             {[]one{{9, "9 (meltwarden) S 8 ", ""}, {8, "8 (sudo) S 7 ", ""}, {7, "7 (bash) S 6 ", ""}, {6, "6 (sshd) S 1 ", ""}}, true},
		"by a newer one":                {[]one{{9, "9 (meltwarden) S 8 ", ""}, {8, "8 (sshd-session) S 1 ", ""}}, true},
		"a shell that was over SSH":     {[]one{{9, "9 (meltwarden) S 8 ", ""}, {8, "8 (bash) S 1 ", "SSH_CONNECTION=192.0.2.7 50000 192.0.2.8 22"}}, true},
		"an empty variable":             {[]one{{9, "9 (meltwarden) S 8 ", ""}, {8, "8 (bash) S 1 ", "SSH_CONNECTION="}}, false},
		"a screen that can be left":     {[]one{{9, "9 (meltwarden) S 8 ", ""}, {8, "8 (tmux: server) S 1 ", ""}}, true},
		"a name with brackets":          {[]one{{9, "9 (melt) S 1 (warden) S 8 ", ""}, {8, "8 (sshd) S 1 ", ""}}, true},
		"a parent that can not be seen": {[]one{{9, "9 (meltwarden) S 8 ", ""}}, true},
		"a line that ends nowhere":      {[]one{{9, "9 (meltwarden) S 0 ", ""}}, true},
		"one that goes round":           {[]one{{9, "9 (meltwarden) S 8 ", ""}, {8, "8 (bash) S 9 ", ""}}, true},
		"nothing to read":               {[]one{{9, "9", ""}}, true},
	} {
		proc := t.TempDir()
		for _, p := range c.line {
			folder := filepath.Join(proc, strconv.Itoa(p.pid))
			require.NoError(t, os.Mkdir(folder, 0o700))
			require.NoError(t, os.WriteFile(filepath.Join(folder, "stat"), []byte(p.stat), 0o600))
			require.NoError(t, os.WriteFile(filepath.Join(folder, "environ"), []byte("TERM=xterm\x00"+p.variable), 0o600))
		}
		assert.Equal(t, c.want, ledFromAfar(proc, 9), name)
	}
	assert.False(t, ledFromAfar(t.TempDir(), 1), "the first process")
}

// TestWhoTookVariablesAwayIsStillAfar with real processes: a shell that was started over SSH,
// or by what leads such a session, starts the program without any variables, as sudo does,
// and the bench is told that it is asked from afar.
func TestWhoTookVariablesAwayIsStillAfar(t *testing.T) {
	shell, err := exec.LookPath("sh")
	if runtime.GOOS != "linux" || err != nil {
		t.Skip("parents are looked at on Linux only: ", err)
	}
	told := make(chan string, 1)
	bench := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		told <- r.Header.Get("Forwarded")
		_, _ = io.WriteString(w, `{"checks": []}`)
	}))
	defer bench.Close()
	itself, err := os.Executable()
	require.NoError(t, err)
	led := filepath.Join(t.TempDir(), "sshd")
	code, err := os.ReadFile(shell)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(led, code, 0o700))
	if out, err := exec.Command(led, "-c", "true").CombinedOutput(); err != nil {
		t.Skipf("a copy of the shell does not run by another name here: %v %s", err, out)
	}
	asks := func(shell, variable string) string {
		t.Helper()
		c := exec.Command(shell, "-c", `env -i AS_THE_PROGRAM=1 "$0" checks --to "$1"; true`, itself, bench.URL)
		c.Env = append(os.Environ(), variable)
		out, err := c.CombinedOutput()
		require.NoError(t, err, string(out))
		select {
		case said := <-told:
			return said
		default:
			return "nothing"
		}
	}
	assert.Equal(t, "for=_afar", asks(led, "A=1"), "led by a program of that name")
	assert.Equal(t, "for=_afar", asks(shell, "SSH_CONNECTION=192.0.2.7 50000 192.0.2.8 22"), "a shell with that variable")
	if startedFromAfar() {
		t.Log("these tests are themselves started from afar")
		return
	}
	assert.Empty(t, asks(shell, "A=1"), "and who is here counts as here")
}

// startedFromAfar reports whether these tests are.
func startedFromAfar() bool { return runtime.GOOS == "linux" && ledFromAfar("/proc", os.Getpid()) }
