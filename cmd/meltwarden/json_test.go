package main

import (
	"encoding/json"
	"path/filepath"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// runnable are the commands that do something, by what is written for them.
func runnable() map[string]*cobra.Command {
	found := map[string]*cobra.Command{}
	root := root()
	for _, c := range all(root) {
		if c.Runnable() && !(c.HasSubCommands() && c.Flags().Lookup("data") == nil) && c != root {
			found[c.CommandPath()[len("meltwarden "):]] = c
		}
	}
	return found
}

// TestEveryCommandSpeaksJSON, but for those whose output is itself a text for something
// else, or that go on until they are ended.
func TestEveryCommandSpeaksJSON(t *testing.T) {
	without := map[string]string{
		"serve": "its API answers for it", "completion": "a shell's text", "service": "a unit's text", "api": "--openapi is JSON",
	}
	for name, c := range runnable() {
		_, excused := without[name]
		assert.NotEqual(t, excused, c.Flags().Lookup("json") != nil, name)
	}
}

// TestWhatChangesSpeaksJSON: names stay, and what is not known is null.
func TestWhatChangesSpeaksJSON(t *testing.T) {
	t.Parallel()
	folder, made := aPast(t), t.TempDir()
	out := func(name string) string { return filepath.Join(made, name) }
	object := func(args ...string) map[string]any {
		t.Helper()
		said, err := run(t.Context(), append(args, "--json", "--data", folder)...)
		require.NoError(t, err)
		var o map[string]any
		require.NoError(t, json.Unmarshal([]byte(said), &o), said)
		return o
	}
	for name, c := range map[string]struct {
		args []string
		want []string
	}{
		"verdict": {[]string{"verdict", "7", "2", "dented"}, []string{"run", "shot"}},
		"set":     {[]string{"batches", "set", "8", "1", "1"}, []string{"run", "pot", "batch"}},
		"correct": {[]string{"batches", "correct", "1", "--note", "stirred long"}, []string{"batch"}},
		"text":    {[]string{"recipes", "text", "slate eel v2"}, []string{"recipe"}},
		"diff":    {[]string{"recipes", "diff", "slate eel v1", "slate eel v2"}, []string{"from", "to", "differences"}},
		"edit":    {[]string{"recipes", "edit", "slate eel v2", "--set", "ivory.setpoint=170 C", "--out", out("edited.yaml")}, []string{"file", "recipe", "fingerprint", "differences"}},
		"promote": {[]string{"promote", "9", "--out", out("promoted.yaml")}, []string{"file", "recipe", "differences", "left_out"}},
		"review":  {[]string{"review", "7"}, []string{"run", "recipe", "events", "shots", "corrected"}},
		"report":  {[]string{"report", "7", "--out", out("why.html")}, []string{"run", "file"}},
		"backup":  {[]string{"backup", out("copy.sqlite")}, []string{"file"}},
		"export":  {[]string{"export", "7", "--as", "archive", "--out", out("runs.sqlite")}, []string{"runs", "file"}},
	} {
		got := object(c.args...)
		assert.ElementsMatch(t, c.want, keysIn(got), name)
	}
	assert.Subset(t, keysIn(object("review", "7")["recipe"].(map[string]any)), []string{"number", "source", "runs", "shots", "clean"})
	assert.Len(t, object("verdict", "7", "2", "bled")["shot"].(map[string]any)["verdicts"], 2)
	_, err := run(t.Context(), "export", "7", "--json", "--data", folder)
	assert.ErrorContains(t, err, "write --as json")
}

func keysIn(m map[string]any) (keys []string) {
	for k := range m {
		keys = append(keys, k)
	}
	return keys
}
