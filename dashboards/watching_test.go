package dashboards_test

import (
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"meltwarden/control/guard"
	"meltwarden/daemon/view"
	"meltwarden/dashboards"
	"meltwarden/devices"
)

// tool is the path of a program of Debian's prometheus or prometheus-alertmanager, or
// skips the test where there is none.
func tool(t *testing.T, name string) string {
	t.Helper()
	found, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
			t.Fatal(name + " is not installed, and MELTWARDEN_TEST_ALL asks for every test")
		}
		t.Skip(name + " is not installed")
	}
	return found
}

// written is a folder with the files as the program writes them, and the tokens that their
// owner adds.
func written(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	require.NoError(t, os.CopyFS(folder, dashboards.Watching))
	for _, name := range []string{"token", "token-gathered"} {
		require.NoError(t, os.WriteFile(filepath.Join(folder, "prometheus", name), []byte("invented"), 0o600))
	}
	return folder
}

// says runs a tool, which must succeed, and returns what it printed.
func says(t *testing.T, folder string, command ...string) string {
	t.Helper()
	c := exec.Command(command[0], command[1:]...)
	c.Dir = folder
	out, err := c.CombinedOutput()
	require.NoError(t, err, "%s\n%s", strings.Join(command, " "), out)
	return string(out)
}

// rule is one of a rule file.
type rule struct {
	Record, Alert, Expr, For string
	Labels, Annotations      map[string]string
}

// allRules are the rules of every file, in order.
func allRules(t *testing.T) (all []rule) {
	t.Helper()
	for _, name := range glob(t, "prometheus/*.rules.yaml") {
		var file struct{ Groups []struct{ Rules []rule } }
		text, err := dashboards.Watching.ReadFile(name)
		require.NoError(t, err)
		require.NoError(t, yaml.Unmarshal(text, &file), name)
		for _, g := range file.Groups {
			all = append(all, g.Rules...)
		}
	}
	return all
}

func alerts(t *testing.T) (all []rule) {
	for _, r := range allRules(t) {
		if r.Alert != "" {
			all = append(all, r)
		}
	}
	return all
}

func glob(t *testing.T, pattern string) []string {
	t.Helper()
	names, err := fs.Glob(dashboards.Watching, pattern)
	require.NoError(t, err)
	require.NotEmpty(t, names, pattern)
	return names
}

// TestRulesAreAcceptedAndPassTheirCases, by the metrics server's own tool.
func TestRulesAreAcceptedAndPassTheirCases(t *testing.T) {
	promtool := tool(t, "promtool")
	if testing.Short() {
		t.Skip("some ten minutes of several benches")
	}
	t.Parallel()
	folder := filepath.Join(written(t), "prometheus")
	for _, kind := range []string{"rules", "test"} {
		command := map[string][]string{"rules": {promtool, "check", "rules"}, "test": {promtool, "test", "rules"}}[kind]
		for _, name := range glob(t, "prometheus/*."+kind+".yaml") {
			command = append(command, path.Base(name))
		}
		assert.Contains(t, says(t, folder, command...), "SUCCESS")
	}
}

// TestExamplesAreAccepted by the tools of those who read them.
func TestExamplesAreAccepted(t *testing.T) {
	promtool := tool(t, "promtool")
	folder := filepath.Join(written(t), "prometheus")
	for _, name := range []string{"shop.yaml", "gather.yaml", "send.yaml"} {
		assert.Contains(t, says(t, folder, promtool, "check", "config", name), "is valid prometheus config", name)
	}
}

// story is a test group of promtool's.
type story struct {
	Name  string
	Exprs []struct {
		Expr     string
		EvalTime string                    `yaml:"eval_time"`
		Samples  []struct{ Labels string } `yaml:"exp_samples"`
	} `yaml:"promql_expr_test"`
}

// TestEveryAlertHasItsCases: one in which it does not fire, one in which it does, and one
// in which it still does although its bench is not heard, which the same group shows.
func TestEveryAlertHasItsCases(t *testing.T) {
	quiet, fires, stays := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for _, name := range glob(t, "prometheus/*.test.yaml") {
		text, err := dashboards.Watching.ReadFile(name)
		require.NoError(t, err)
		var file struct{ Tests []story }
		require.NoError(t, yaml.Unmarshal(text, &file), name)
		for _, s := range file.Tests {
			unheard := map[string]bool{}
			for _, e := range s.Exprs {
				if strings.HasPrefix(e.Expr, "meltwarden_live") && len(e.Samples) == 0 {
					unheard[e.EvalTime] = true
				}
			}
			for _, e := range s.Exprs {
				_, rest, is := strings.Cut(e.Expr, `ALERTS{alertname="`)
				alert, _, _ := strings.Cut(rest, `"`)
				firing := len(e.Samples) > 0 && strings.Contains(e.Samples[0].Labels, `alertstate="firing"`)
				switch {
				case !is:
				case len(e.Samples) == 0:
					quiet[alert] = true
				case firing && unheard[e.EvalTime]:
					stays[alert] = true
				}
				fires[alert] = fires[alert] || firing
			}
		}
	}
	for _, a := range alerts(t) {
		assert.True(t, fires[a.Alert], "%s: no case in which it fires", a.Alert)
		assert.True(t, stays[a.Alert], "%s: no case in which it stays while nothing is heard", a.Alert)
		assert.True(t, quiet[a.Alert] || a.Alert == "MessagesArrive", "%s: no case in which it does not fire", a.Alert)
	}
}

// TestEveryAlertSaysWhatToDo: a summary, a cause, an instruction and the same caution, a
// priority of ISA-18.2, and the bench's own words where the guard has a row for it, and of heat on
// a line that is lost.
func TestEveryAlertSaysWhatToDo(t *testing.T) {
	instructions := map[string]string{}
	for _, a := range alerts(t) {
		require.Empty(t, instructions[a.Alert], "%s stands twice", a.Alert)
		for _, what := range []string{"summary", "instruction"} {
			assert.NotEmpty(t, a.Annotations[what], "%s: %s", a.Alert, what)
		}
		assert.True(t, strings.HasPrefix(a.Annotations["caution"], "This message protects nobody:"), a.Alert)
		assert.Contains(t, []string{"high", "medium", "low"}, a.Labels["priority"], a.Alert)
		assert.Contains(t, []string{"finding", "state", "bench", "line", "melt", "record", "heartbeat"}, a.Labels["kind"], a.Alert)
		instructions[a.Alert] = a.Annotations["instruction"]
	}
	found := 0
	for c := guard.Code(1); c.Rule().Name != "unknown"; c++ {
		if c.Rule().Severity == guard.Note {
			continue
		}
		found++
		assert.Contains(t, slices.Collect(maps.Values(instructions)), c.Instruction(), c.String())
	}
	t.Logf("%d alerts, %d of them findings of the guard", len(instructions), found)
	cools, _ := view.FirstSentence(instructions["LineLost"])
	assert.Contains(t, cools, "See that the plates cool: ")
	for what, s := range map[string]devices.Stats{
		"the port is lost": {Lines: []devices.LineStatus{{Cause: devices.Pulled}}},
		"nothing answers":  {Lines: []devices.LineStatus{{Open: true}}, Devices: []devices.DeviceStats{{Dead: true}}},
	} {
		assert.Contains(t, view.LinesLost(s)[0].Instruction, cools, "%s: the bench's own words of heat", what)
	}
	for alert, c := range map[string]guard.Code{"HistoryTrouble": guard.HistoryUnwritten, "MeltDoseHigh": guard.HeldLong} {
		assert.Equal(t, c.Instruction(), instructions[alert], alert)
	}
}
