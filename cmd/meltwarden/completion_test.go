package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/phone"
)

// completed are the words that the program offers at the end of a command line.
func completed(t *testing.T, args ...string) (words []string) {
	t.Helper()
	words, _ = offered(t, args...)
	return words
}

// offered are these words, and whether files are offered beside them.
func offered(t *testing.T, args ...string) (words []string, files bool) {
	t.Helper()
	out, err := run(t.Context(), append([]string{"__complete"}, args...)...)
	require.NoError(t, err)
	for line := range strings.Lines(out) {
		if strings.HasPrefix(line, ":") {
			directive, err := strconv.Atoi(strings.TrimSpace(line[1:]))
			require.NoError(t, err)
			return words, cobra.ShellCompDirective(directive)&cobra.ShellCompDirectiveNoFileComp == 0
		}
		word, _, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
		words = append(words, word)
	}
	return words, false
}

// TestFilesAreOffered where one may stand, and nowhere else.
func TestFilesAreOffered(t *testing.T) {
	take := []string{"recipes diff", "recipes edit", "recipes scale", "recipes contrast", "plan", "backup", "import"}
	for name, c := range runnable() {
		_, files := offered(t, append(strings.Fields(name), "")...)
		assert.Equal(t, slices.Contains(take, name), files, name)
		c.Flags().VisitAll(func(f *pflag.Flag) {
			if f.Value.Type() == "bool" || f.Name == "help" {
				return
			}
			_, files := offered(t, append(strings.Fields(name), "--"+f.Name, "")...)
			assert.Equal(t, takesFile(name, f.Name), files, "%s --%s", name, f.Name)
		})
	}
	_, files := offered(t, "photo", "7", "1", "")
	assert.True(t, files, "the photo itself")
}

// takesFile reports whether a flag of a command takes a file or a folder.
func takesFile(command, flag string) bool {
	switch flag {
	case "config", "data", "out":
		return true
	case "recipe":
		return slices.Contains([]string{"demo", "serve", "check", "first-heat"}, command)
	}
	return false
}

// TestPhonesAreOffered to be put out: those that are not out yet.
func TestPhonesAreOffered(t *testing.T) {
	folder := t.TempDir()
	assert.Empty(t, completed(t, "phone", "put-out", "--data", folder, ""))
	assert.Empty(t, contents(t, folder), "nothing is made")
	s := phone.Open(folder)
	defer s.Close()
	for _, name := range []string{"blue", "red", "green"} {
		_, _, err := s.Add(name, phone.DefaultFor, time.Now())
		require.NoError(t, err)
	}
	_, err := s.Revoke("red", time.Now())
	require.NoError(t, err)
	assert.Equal(t, []string{"green", "blue"}, completed(t, "phone", "put-out", "--data", folder, ""))
}

// TestWordsFromTheDataFolder are offered where they fit, in a moment, and the history is not
// touched by that.
func TestWordsFromTheDataFolder(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	before := contents(t, folder)["history.sqlite"]
	began := time.Now()
	cases := []struct {
		want  string // how they begin
		typed string
	}{
		{"18 17 16", "review "}, {"18", "export 17 16 "}, {"1 2 3", "why 7 "}, {"clean bled", "verdict 7 1 "},
		{"slate ivory rust", "verdict 7 1 bled --colour "}, {"clean bled", "runs --fault "}, {"v2 [0-9a-f]{12} [0-9a-f]{12}$", "recipes text "}, {"v2", "recipes diff v1 "},
		{"slate eel", "runs --recipe "}, {"1 2 3", "batches set 7 "}, {"1 2 3", "review 7 --shot "}, {"18/1", "why 7 1 --beside "},
		{"open finished interrupted", "runs --state "}, {"csv json archive", "export --as "}, {"bash zsh fish powershell", "completion "},
		{"ready shot", "review 7 --align "}, {"--config v2 ", "plan "}, {"watch", "wat"}, {"--once", "watch --on"},
		{"clean bled .*slate eel", "find eel "}, {"extraction gloves", "checks --tick "},
	}
	for _, c := range cases {
		args := strings.Split(c.typed, " ")
		args = append(args[:1:1], append([]string{"--data", folder}, args[1:]...)...)
		if strings.HasPrefix(c.typed, "completion") || strings.HasPrefix(c.typed, "wat") || strings.HasPrefix(c.typed, "checks") {
			args = strings.Split(c.typed, " ")
		}
		got := strings.Join(completed(t, args...), " ")
		assert.Regexp(t, "^"+c.want, got, c.typed)
	}
	t.Logf("%d completions of 18 runs took %.0f ms each", len(cases), float64(time.Since(began).Milliseconds())/float64(len(cases)))
	assert.True(t, before == contents(t, folder)["history.sqlite"], "byte for byte")
	assert.NotContains(t, completed(t, "export", "--data", folder, "17", ""), "17", "none twice")
	assert.Contains(t, completed(t, "batches", "set", "--data", folder, "7", "1", ""), "new")
}

// contents are the files of a folder.
func contents(t *testing.T, folder string) map[string]string {
	t.Helper()
	found := map[string]string{}
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(folder, e.Name()))
		require.NoError(t, err)
		found[e.Name()] = string(b)
	}
	return found
}

// TestNothingIsOffered, and nothing said or made, where there is no history, or none that
// can be read.
func TestNothingIsOffered(t *testing.T) {
	empty, broken := t.TempDir(), t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(broken, "history.sqlite"), []byte("no history at all"), 0o600))
	for _, folder := range []string{empty, broken, filepath.Join(empty, "none")} {
		for _, line := range [][]string{
			{"review"}, {"why", "7"}, {"recipes", "text"}, {"batches", "show"}, {"runs", "--recipe"}, {"runs", "--mould"}, {"attempts", "--end"},
			{"verdict", "7", "1", "bled", "--colour"}, {"photo", "7", "1", "--number"}, {"why", "seven"}, {"batches", "set", "x"},
		} {
			args := append(append(line[:1:1], "--data", folder), line[1:]...)
			assert.Empty(t, completed(t, append(args, "")...), "%v", args)
		}
	}
	assert.Empty(t, contents(t, empty))
	assert.NoDirExists(t, filepath.Join(empty, "none"))
}

// TestRealShells take what is offered: their own completion is the judge.
func TestRealShells(t *testing.T) {
	if testing.Short() {
		t.Skip("programs of their own take real time")
	}
	t.Parallel()
	folder := aPast(t)
	bin := t.TempDir()
	itself, err := os.Executable()
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(bin, "meltwarden"), []byte("#!/bin/sh\nAS_THE_PROGRAM=1 exec "+itself+" \"$@\" 2>/dev/null\n"), 0o700))
	s := phone.Open(folder)
	_, _, err = s.Add("blue", phone.DefaultFor, time.Now())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	asks := map[string]string{
		"bash": `. /usr/share/bash-completion/bash_completion
. <(meltwarden completion bash)
COMP_WORDS=(meltwarden why 7 "") COMP_CWORD=3 COMP_LINE="meltwarden why 7 " COMP_POINT=17 COMP_TYPE=63
__start_meltwarden
printf '%s\n' "${COMPREPLY[@]}"
COMP_WORDS=(meltwarden phone put-out "") COMP_LINE="meltwarden phone put-out " COMP_POINT=25
__start_meltwarden
printf '%s\n' "${COMPREPLY[@]}"`,
		"fish": `meltwarden completion fish | source
complete --do-complete "meltwarden why 7 "
complete --do-complete "meltwarden phone put-out "`,
		"zsh": `autoload -U compinit && compinit -u -d $PWD/dump
compadd() { print -rl -- "$@" }
_describe() { shift $(( $# - 2 )); print -rl -- ${(P)1} ${(P)2} }
eval "$(meltwarden completion zsh)" 2>/dev/null
words=(meltwarden why 7 "") CURRENT=4
_meltwarden
words=(meltwarden phone put-out "") CURRENT=4
_meltwarden`,
	}
	for shell, ask := range asks {
		_, missing := exec.LookPath(shell)
		if shell == "bash" && missing == nil {
			_, missing = os.Stat("/usr/share/bash-completion/bash_completion")
		}
		if missing != nil {
			if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
				t.Errorf("%s: %v", shell, missing)
			}
			t.Logf("%s is not asked: %v", shell, missing)
			continue
		}
		c := exec.Command(shell, "-c", ask)
		c.Dir = bin
		c.Env = append(os.Environ(), "PATH="+bin+":"+os.Getenv("PATH"), "MELTWARDEN_DATA="+folder, "HOME="+bin)
		out, err := c.CombinedOutput()
		require.NoError(t, err, "%s: %s", shell, out)
		for _, want := range []string{"1", "2", "3", "blue"} {
			assert.Regexp(t, `(?m)^`+want+`\b`, string(out), shell)
		}
		t.Logf("%s offers: %s", shell, strings.Join(strings.Fields(string(out)), " "))
	}
}
