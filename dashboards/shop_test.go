package dashboards_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/demo"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/devices/simbench"
)

// shop is a shop of simulated benches, watched by a real metrics server.
type shop struct {
	t       *testing.T
	server  string // its address
	mu      sync.Mutex
	alerted map[string]bool // what the metrics server has sent on, as "bench alert"
}

// bench is one of them.
type bench struct {
	*demo.Demo
	address string
	end     func()
}

// opens starts a bench at an address, five times faster than life.
func (s *shop) opens(address string, seed uint64, past *history.Store) *bench {
	s.t.Helper()
	file, err := config.DemoBench(nil)
	require.NoError(s.t, err)
	listener, err := net.Listen("tcp", address)
	require.NoError(s.t, err)
	d, err := demo.New(demo.Options{
		Bench: file, Speed: 5, Seed: seed, Listener: listener, InMemory: true, History: past, Version: "test", Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(s.t, err)
	ctx, cancel := context.WithCancel(context.Background())
	over := make(chan struct{})
	go func() {
		defer close(over)
		assert.NoError(s.t, d.Run(ctx, func(*frames.Frame) {}))
	}()
	b := &bench{Demo: d, address: listener.Addr().String(), end: sync.OnceFunc(func() { cancel(); <-over })}
	s.t.Cleanup(b.end)
	return b
}

// answer is what the metrics server says to a query.
type answer struct {
	Status, Error string
	Data          struct {
		Result []struct {
			Metric map[string]string
			Value  [2]any
		}
	}
}

func (s *shop) ask(query string) answer {
	s.t.Helper()
	got, err := http.Get("http://" + s.server + "/api/v1/query?query=" + url.QueryEscape(query))
	require.NoError(s.t, err)
	defer got.Body.Close()
	var a answer
	require.NoError(s.t, json.NewDecoder(got.Body).Decode(&a))
	return a
}

// values are the answers to a query by a label, empty where it is not understood.
func (s *shop) values(query, label string) map[string]string {
	all := map[string]string{}
	for _, r := range s.ask(query).Data.Result {
		all[r.Metric[label]] = fmt.Sprint(r.Value[1])
	}
	return all
}

// comes waits until a query has the answers, by bench.
func (s *shop) comes(want map[string]string, query string) {
	s.t.Helper()
	var got map[string]string
	require.Eventually(s.t, func() bool {
		got = s.values(query, "bench")
		return fmt.Sprint(got) == fmt.Sprint(want)
	}, 40*time.Second, 200*time.Millisecond, "%s: %v", query, &got)
}

// TestShopOfFiveBenches: five daemons and a real metrics server with the files as the
// program writes them. It hears all, understands every query of the rules and dashboards,
// sees one bench go away while it is heated and an emergency stop is open, keeps both
// alerts up, and lets go of them when the bench is back.
//
// Only times are shorter than in the files: it asks every second instead of every five,
// and waits three seconds instead of fifteen before it calls. On a busy computer a bench
// can have troubles of its own, so nothing is said of alerts of the others but these two.
func TestShopOfFiveBenches(t *testing.T) {
	prometheus := tool(t, "prometheus")
	if testing.Short() {
		t.Skip("five benches in real time")
	}
	t.Parallel()
	began := time.Now()
	s := &shop{t: t, alerted: map[string]bool{}}
	calls := httptest.NewServer(http.HandlerFunc(s.called))
	t.Cleanup(calls.Close)

	past, err := history.Open(t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, past.Close()) })
	names := []string{"north", "south", "window", "door", "yard"}
	benches := map[string]*bench{}
	for i, name := range names {
		kept := past
		if i > 0 {
			kept = nil // a disk is enough
		}
		benches[name] = s.opens("127.0.0.1:0", uint64(i+1), kept)
	}
	folder := s.configured(benches, strings.TrimPrefix(calls.URL, "http://"))
	s.server = free(t)
	starts(t, folder, s.server, prometheus, "--config.file=shop.yaml", "--web.listen-address="+s.server, "--storage.tsdb.path="+t.TempDir(), "--log.level=error",
		"--rules.alert.resend-delay=1s") // what is sent before the server has found its alert manager is lost

	all := map[string]string{}
	for _, name := range names {
		all[name] = "1"
	}
	s.comes(all, `meltwarden_live`)
	s.comes(all, `meltwarden_heat_state{state="heat enabled"}`)
	s.marks(benches["north"])

	north := benches["north"]
	require.NoError(t, north.Bench.Inject(simbench.EStopOpened, simbench.Place{}))
	s.comes(map[string]string{"north": "1"}, `ALERTS{alertname="EStopOpen",alertstate="firing"}`)
	s.comes(map[string]string{"north": "1"}, `ALERTS{alertname="HeatTripped"}`)
	s.understands()
	s.gathered(all)
	benches["yard"].end()
	s.comes(map[string]string{"yard": "1"}, `ALERTS{alertname="BenchSilentWhileHot"}`) // pending at first
	north.end()
	s.comes(map[string]string{"yard": "1"}, `ALERTS{alertname="BenchSilentWhileHot",alertstate="firing"}`)
	assert.Empty(t, s.values(`meltwarden_live{bench="yard"} or meltwarden_heat_state{bench="yard"}`, "bench"), "nothing is heard of it")
	s.comes(map[string]string{"south": "1", "window": "1", "door": "1"}, `meltwarden_live`)
	s.comes(map[string]string{"north": "1"}, `ALERTS{alertname="EStopOpen",alertstate="firing"}`)
	s.comes(map[string]string{"north": "0", "yard": "0"}, "("+s.states()+") == 0")

	s.opens(north.address, 1, nil)
	s.comes(map[string]string{}, `ALERTS{alertname="EStopOpen"}`)
	s.comes(map[string]string{"yard": "1"}, `ALERTS{alertname="BenchSilentWhileHot",alertstate="firing"}`)
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, call := range []string{"north EStopOpen", "yard BenchSilentWhileHot", " MessagesArrive"} {
		assert.True(t, s.alerted[call], "%s was not sent on: %v", call, s.alerted)
	}
	for _, name := range names[1:] {
		assert.False(t, s.alerted[name+" EStopOpen"], "that was north alone")
	}
	t.Logf("five benches for %.0f s of wall time", time.Since(began).Seconds())
}

// called takes in what the metrics server sends to its alert manager.
func (s *shop) called(_ http.ResponseWriter, r *http.Request) {
	var all []struct{ Labels, Annotations map[string]string }
	if json.NewDecoder(r.Body).Decode(&all) != nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, a := range all {
		if a.Annotations["instruction"] != "" && a.Annotations["caution"] != "" {
			s.alerted[a.Labels["bench"]+" "+a.Labels["alertname"]] = true
		}
	}
}

// configured writes the files with the addresses of the benches, and shorter times.
func (s *shop) configured(benches map[string]*bench, alertmanager string) string {
	s.t.Helper()
	folder := filepath.Join(written(s.t), "prometheus")
	change := func(name string, pairs ...string) {
		text, err := os.ReadFile(filepath.Join(folder, name))
		require.NoError(s.t, err)
		for i := 0; i < len(pairs); i += 2 {
			require.True(s.t, bytes.Contains(text, []byte(pairs[i])), "%s: %s", name, pairs[i])
		}
		require.NoError(s.t, os.WriteFile(filepath.Join(folder, name), []byte(strings.NewReplacer(pairs...).Replace(string(text))), 0o600))
	}
	var addresses []string
	for name, b := range benches {
		addresses = append(addresses, name+".shop.invalid:8420", b.address)
	}
	change("benches.yaml", addresses...)
	change("shop.yaml", "scrape_interval: 5s", "scrape_interval: 1s", "scrape_timeout: 4s", "scrape_timeout: 1s",
		"evaluation_interval: 5s", "evaluation_interval: 500ms", "127.0.0.1:9093", alertmanager)
	change("bench.rules.yaml", "for: 15s", "for: 3s")
	return folder
}

// gathered asks a second metrics server that gathers what the first has, as gather.yaml
// says: the benches keep their labels.
func (s *shop) gathered(all map[string]string) {
	s.t.Helper()
	folder := filepath.Join(written(s.t), "prometheus")
	text, err := os.ReadFile(filepath.Join(folder, "gather.yaml"))
	require.NoError(s.t, err)
	there := strings.NewReplacer(`"shop-one.invalid:9090", "shop-two.invalid:9090"`, `"`+s.server+`"`, "scrape_interval: 15s", "scrape_interval: 1s\n  scrape_timeout: 1s").Replace(string(text))
	require.NoError(s.t, os.WriteFile(filepath.Join(folder, "gather.yaml"), []byte(there), 0o600))
	g := &shop{t: s.t, server: free(s.t)}
	starts(s.t, folder, g.server, "prometheus", "--config.file=gather.yaml", "--web.listen-address="+g.server, "--storage.tsdb.path="+s.t.TempDir(), "--log.level=error")
	g.comes(all, `meltwarden_live{shop="invented-shop",job="meltwarden"}`)
	g.comes(map[string]string{"north": "1"}, `ALERTS{alertname="EStopOpen"}`)
}

// states is the shop dashboard's own query of how the benches stand, for all of them.
func (s *shop) states() string {
	for _, q := range queries(s.t) {
		if strings.HasSuffix(q.where, ": How the benches stood") {
			return strings.ReplaceAll(q.expr, "$bench", ".*")
		}
	}
	s.t.Fatal("the shop's dashboard has no such panel")
	return ""
}

// marks pushes a shot, as the page does, and follows the bench, as a page does: both are
// counted.
func (s *shop) marks(b *bench) {
	s.t.Helper()
	ctx, leave := context.WithCancel(s.t.Context())
	defer leave()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+b.address+"/api/v1/events", nil)
	require.NoError(s.t, err)
	stream, err := http.DefaultClient.Do(r)
	require.NoError(s.t, err)
	defer stream.Body.Close()
	pushed, err := http.Post("http://"+b.address+"/api/v1/shot", "", nil)
	require.NoError(s.t, err)
	pushed.Body.Close()
	require.Less(s.t, pushed.StatusCode, 300)
	s.comes(map[string]string{"north": "1"}, `meltwarden_shots_total > 0`)
	s.comes(map[string]string{"north": "1"}, `meltwarden_stream_clients > 0`)
	s.comes(map[string]string{"north": "0"}, `meltwarden_history_failing`)
	s.comes(map[string]string{"north": "3"}, `count by (bench) (meltwarden_melt_dose_seconds)`)
}

// understands asks every query of the rules and dashboards.
func (s *shop) understands() {
	s.t.Helper()
	answered, all := 0, queries(s.t)
	for _, q := range all {
		expr := strings.NewReplacer(`bench=~"$bench"`, `bench=~".*"`, `bench="$bench"`, `bench="north"`, "$pot", ".*").Replace(q.expr)
		a := s.ask(expr)
		assert.Equal(s.t, "success", a.Status, "%s: %s", q.where, a.Error)
		if len(a.Data.Result) > 0 {
			answered++
		}
	}
	s.t.Logf("of %d queries of rules and dashboards all are understood, and %d have an answer on a bench that heats up", len(all), answered)
	assert.Greater(s.t, answered, 30)
}
