package dashboards_test

import (
	"bytes"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestWhoHearsOfWhat: every kind of alert that the rules give has a receiver that fits how
// soon a person is needed, by the alert manager's own tool.
func TestWhoHearsOfWhat(t *testing.T) {
	amtool := tool(t, "amtool")
	folder := filepath.Join(written(t), "alertmanager")
	out := says(t, folder, amtool, "check-config", "alertmanager.yaml")
	assert.Contains(t, out, "SUCCESS")
	hears := map[string]string{"high": "danger", "medium": "workshop", "low": "notes"}
	asked := map[string]bool{}
	for _, a := range alerts(t) {
		labels := []string{"bench=north", "kind=" + a.Labels["kind"], "priority=" + a.Labels["priority"]}
		if asked[strings.Join(labels, " ")] {
			continue
		}
		asked[strings.Join(labels, " ")] = true
		want := hears[a.Labels["priority"]]
		if a.Labels["kind"] == "heartbeat" {
			want = "heartbeat"
		}
		command := append([]string{amtool, "config", "routes", "test", "--config.file=alertmanager.yaml", "--verify.receivers=" + want}, labels...)
		assert.Contains(t, says(t, folder, command...), want, labels)
	}
	t.Logf("%d kinds of alerts", len(asked))
}

// TestReceiversArePlaceholders: nothing goes anywhere until its owner says where to.
func TestReceiversArePlaceholders(t *testing.T) {
	text, err := os.ReadFile("alertmanager/alertmanager.yaml")
	require.NoError(t, err)
	urls := 0
	for line := range strings.Lines(string(text)) {
		if strings.Contains(line, "url:") {
			urls++
			assert.Contains(t, line, "http://placeholder.invalid/")
		}
	}
	assert.Equal(t, urls, strings.Count(string(text), "# PLACEHOLDER"))
}

// free is an address that nobody listens on.
func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// starts runs a server until the test ends, and returns once its address answers.
func starts(t *testing.T, folder, address string, command ...string) {
	t.Helper()
	var said bytes.Buffer
	c := exec.Command(command[0], command[1:]...)
	c.Dir, c.Stdout, c.Stderr = folder, &said, &said
	require.NoError(t, c.Start())
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait() // it was killed
		if t.Failed() {
			t.Log(said.String())
		}
	})
	require.Eventually(t, func() bool {
		answer, err := http.Get("http://" + address + "/-/ready")
		if err != nil {
			return false
		}
		answer.Body.Close()
		return answer.StatusCode == http.StatusOK
	}, 30*time.Second, 50*time.Millisecond, "%s is not ready", command[0])
}

// message is what a receiver is sent.
type message struct {
	Receiver string
	Alerts   []struct{ Labels map[string]string }
}

// TestOneCauseOneAlarm: a real alert manager gets everything that an overheated pot on a
// bad line sets off, and calls with the cause.
func TestOneCauseOneAlarm(t *testing.T) {
	manager := tool(t, "prometheus-alertmanager")
	t.Parallel()
	got := make(chan message, 20)
	receiver := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m message
		if json.NewDecoder(r.Body).Decode(&m) == nil {
			got <- m
		}
	}))
	t.Cleanup(receiver.Close) // after the manager has ended
	folder := filepath.Join(written(t), "alertmanager")
	file := filepath.Join(folder, "alertmanager.yaml")
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, []byte(strings.ReplaceAll(string(text), "http://placeholder.invalid", receiver.URL)), 0o600))
	address := free(t)
	starts(t, folder, address, manager, "--config.file=alertmanager.yaml", "--web.listen-address="+address, "--cluster.listen-address=", "--storage.path="+t.TempDir())

	byName := map[string]map[string]string{}
	for _, a := range alerts(t) {
		byName[a.Alert] = a.Labels
	}
	var sent []map[string]any
	for _, a := range [][4]string{
		{"MeltOverTemperature", "north", "left"}, {"MeltHigh", "north", "left"}, {"HeatTripped", "north", ""}, {"PotTripped", "north", "left"},
		{"MeltHigh", "north", "right"}, {"PotTripped", "south", "left"}, {"ReadingStale", "south", "left"}, {"MeltUnusable", "south", "left"},
		{"BenchSilentWhileHot", "yard", ""}, {"BenchSilent", "yard", ""}, {"LineFailing", "yard", ""}, {"EStopOpen", "yard", ""},
		{"LineFailing", "door", ""}, {"ReadingStale", "door", ""}, {"LineLost", "south", ""}, {"HeaterUnheard", "south", ""},
		{"LineLost", "shed", "", "lamps"}, {"LineFailing", "shed", "", "lamps"}, {"LineFailing", "shed", "", "probes"}, {"ReadingStale", "shed", ""},
	} {
		labels := map[string]string{"alertname": a[0], "bench": a[1], "pot": a[2], "line": a[3]}
		for k, v := range byName[a[0]] {
			labels[k] = v
		}
		sent = append(sent, map[string]any{"labels": labels})
	}
	body, err := json.Marshal(sent)
	require.NoError(t, err)
	answer, err := http.Post("http://"+address+"/api/v2/alerts", "application/json", bytes.NewReader(body))
	require.NoError(t, err)
	answer.Body.Close()
	require.Equal(t, http.StatusOK, answer.StatusCode)

	heard := map[string][]string{}
	for range 3 { // north, south and yard
		select {
		case m := <-got:
			assert.Equal(t, "danger", m.Receiver)
			for _, a := range m.Alerts {
				heard[a.Labels["bench"]] = append(heard[a.Labels["bench"]], a.Labels["alertname"])
			}
		case <-time.After(20 * time.Second):
			require.Fail(t, "no message came", heard)
		}
	}
	for _, list := range heard {
		slices.Sort(list)
	}
	assert.Equal(t, map[string][]string{"north": {"MeltOverTemperature"}, "south": {"HeaterUnheard", "MeltUnusable"}, "yard": {"BenchSilentWhileHot", "EStopOpen"}}, heard)

	var all []struct {
		Labels map[string]string
		Status struct{ InhibitedBy []string }
	}
	answer, err = http.Get("http://" + address + "/api/v2/alerts")
	require.NoError(t, err)
	defer answer.Body.Close()
	text, err = io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &all))
	var held, calls []string
	for _, a := range all {
		name := strings.TrimSpace(a.Labels["bench"] + " " + a.Labels["alertname"] + " " + a.Labels["pot"] + a.Labels["line"])
		if len(a.Status.InhibitedBy) > 0 {
			held = append(held, name)
			continue
		}
		calls = append(calls, name)
	}
	slices.Sort(held)
	slices.Sort(calls)
	assert.Equal(t, []string{"north HeatTripped", "north MeltHigh left", "north PotTripped left", "shed LineFailing lamps", "south PotTripped left", "south ReadingStale left",
		"yard BenchSilent", "yard LineFailing"}, held)
	assert.Equal(t, []string{"door LineFailing", "door ReadingStale", "north MeltHigh right", "north MeltOverTemperature left", "shed LineFailing probes", "shed LineLost lamps", "shed ReadingStale",
		"south HeaterUnheard", "south LineLost", "south MeltUnusable left", "yard BenchSilentWhileHot", "yard EStopOpen"}, calls)
}
