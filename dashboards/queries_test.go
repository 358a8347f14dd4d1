package dashboards_test

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/pour"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/metrics"
	"meltwarden/daemon/wear"
	"meltwarden/dashboards"
	"meltwarden/devices/modbus"
)

// labelled is what is exported: of each metric the labels, of each label the values; nil
// for a label that can have any.
type labelled map[string]map[string][]string

func (l labelled) add(metric string, labels map[string]string) {
	if l[metric] == nil {
		l[metric] = map[string][]string{}
	}
	for name, value := range labels {
		if !slices.Contains(l[metric][name], value) {
			l[metric][name] = append(l[metric][name], value)
		}
	}
}

var (
	sampleLine = regexp.MustCompile(`^([a-zA-Z_:][a-zA-Z0-9_:]*)(\{(.*)\})? \S+$`)
	labelPair  = regexp.MustCompile(`([a-zA-Z_][a-zA-Z0-9_]*)="((?:[^"\\]|\\.)*)"`)
)

// scraped reads a page of the metrics handler.
func (l labelled) scraped(t *testing.T, page string) {
	t.Helper()
	for line := range strings.Lines(page) {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "#") {
			continue
		}
		m := sampleLine.FindStringSubmatch(line)
		require.NotNil(t, m, line)
		labels := map[string]string{}
		for _, pair := range labelPair.FindAllStringSubmatch(m[3], -1) {
			labels[pair[1]] = pair[2]
		}
		l.add(m[1], labels)
	}
}

// inEveryState are frames of an invented pot and bench in every state that there is, with
// every finding of the guard.
func inEveryState() (all []*frames.Frame) {
	good := reading.Temperature{C: 168, Fault: reading.None}
	for i, state := range control.PotStates() {
		f := &frames.Frame{At: time.Now()}
		f.Heat = []control.HeatState{control.HeatBlocked, control.HeatEnabled, control.HeatTripped}[i%3]
		f.Mould, f.Room, f.ReadyIn = good, good, time.Minute
		f.Pots = []control.PotFrame{
			{State: state, Melt: good, Plate: good, SetpointC: 168, TargetC: 168, BandC: 2, PeakC: 169, Pour: pour.Left{Known: true}},
			{State: state, Melt: reading.Temperature{Fault: reading.NotWired}, Plate: good, MeltC: math.NaN(), ReadyIn: -1,
				MeltEstimate: control.Estimate{C: 160, WithinC: 5}, PlateEstimate: control.Estimate{C: 160, WithinC: 5}},
		}
		for c := guard.Code(1); c.Rule().Name != "unknown"; c++ {
			f.Conditions = append(f.Conditions, guard.Condition{Code: c, Pot: i%3 - 1, Severity: c.Rule().Severity, Active: true})
		}
		all = append(all, f)
	}
	return all
}

// exported is what the real handler exports in all those states, with what the metrics
// server adds.
func exported(t *testing.T) labelled {
	t.Helper()
	l := labelled{"up": {}, "ALERTS": {"alertstate": {"pending", "firing"}, "pot": nil, "probe": nil, "device": nil, "line": nil}}
	for _, f := range inEveryState() {
		m := metrics.New(metrics.Options{
			Latest: func() *frames.Frame { return f },
			Settings: control.Settings{
				Period:  200 * time.Millisecond,
				Pots:    []control.PotSettings{{Name: "left", HeaterW: 900}, {Name: "right", HeaterW: 900}},
				Limits:  guard.Limits{MeltTripC: 190, PlateTripC: 250},
				Circuit: circuit.Rating{MaxW: 2400, ContinuousW: 1920},
			},
			Exchanges: func() (all []metrics.Exchanges) {
				for _, o := range modbus.Outcomes() {
					all = append(all, metrics.Exchanges{Line: "invented", Device: "invented", Outcome: o.String()})
				}
				return all
			},
			Serial: func() []metrics.Serial {
				one := metrics.Serial{Device: "invented", Troubles: map[string]uint64{}, Under: map[time.Duration]uint64{time.Second: 0}}
				for _, k := range modbus.Kinds() {
					one.Troubles[k.String()] = 0
				}
				return []metrics.Serial{one}
			},
			Lines: func() []metrics.Line { return []metrics.Line{{Name: "invented", Tried: true}} },
			Beside: func() metrics.Beside {
				return metrics.Beside{LastShot: f.At, DoseMin: []frames.Figure{1, 2}, History: &metrics.History{}, Away: &metrics.Messages{}, Relays: []wear.Standing{{Pot: "left", Rated: 100000}}}
			},
			Run: metrics.Run{Name: "invented", Began: f.At}, Cleared: metrics.Cleared{Holds: true, Until: f.At}, Now: time.Now,
		})
		m.ObserveCycle(time.Millisecond, 0)
		w := httptest.NewRecorder()
		m.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		require.Equal(t, 200, w.Code)
		l.scraped(t, w.Body.String())
	}
	return l
}

// query is one that somebody asks, and where it stands.
type query struct{ where, expr string }

// chosen is what the reader of a dashboard has chosen.
var chosen = strings.NewReplacer("${degrees:raw}", "* 1.8 + 32", "$__range", "1h")

// queries are those of all rules and dashboards.
func queries(t *testing.T) (all []query) {
	t.Helper()
	for _, r := range allRules(t) {
		all = append(all, query{r.Record + r.Alert, r.Expr})
	}
	for _, name := range glob(t, "grafana/*.json") {
		text, err := dashboards.Watching.ReadFile(name)
		require.NoError(t, err)
		var board any
		require.NoError(t, json.Unmarshal(text, &board))
		before := len(all)
		walk(board, "", func(title, key, value string) {
			if key == "expr" {
				all = append(all, query{name + ": " + title, chosen.Replace(value)})
			}
			if asked, is := strings.CutPrefix(value, "label_values("); is {
				metric, label, _ := strings.Cut(strings.TrimSuffix(asked, ")"), ", ")
				all = append(all, query{name + ": " + title, "count by (" + label + ") (" + metric + ")"})
			}
		})
		require.Greater(t, len(all), before+8, name)
	}
	return all
}

// walk shows every text of a JSON value, with the title or name of what it is in.
func walk(v any, title string, see func(title, key, value string)) {
	switch v := v.(type) {
	case []any:
		for _, e := range v {
			walk(e, title, see)
		}
	case map[string]any:
		for _, key := range []string{"title", "name"} {
			if s, is := v[key].(string); is && s != "" {
				title = s
				break
			}
		}
		for key, e := range v {
			if s, is := e.(string); is {
				see(title, key, s)
				continue
			}
			walk(e, title, see)
		}
	}
}

// TestEveryQueryIsUnderstood by the metrics server's own tool, those of dashboards too.
func TestEveryQueryIsUnderstood(t *testing.T) {
	promtool := tool(t, "promtool")
	type record struct{ Record, Expr string }
	var group struct {
		Name  string
		Rules []record
	}
	group.Name = "queries"
	for i, q := range queries(t) {
		group.Rules = append(group.Rules, record{fmt.Sprintf("query:%d", i), q.expr})
	}
	text, err := yaml.Marshal(map[string]any{"groups": []any{group}})
	require.NoError(t, err)
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "queries.yaml"), text, 0o600))
	assert.Contains(t, says(t, folder, promtool, "check", "rules", "queries.yaml"), fmt.Sprintf("SUCCESS: %d rules found", len(group.Rules)))
}

// TestEveryLossOfALineIsCounted on the bench's dashboard, by the query that a case of the
// metrics server's own tool has for a line which is there at every look.
func TestEveryLossOfALineIsCounted(t *testing.T) {
	cases, err := os.ReadFile("prometheus/bench.test.yaml")
	require.NoError(t, err)
	counted := false
	for _, q := range queries(t) {
		if q.where == "grafana/bench.json: How often a line was lost" {
			counted = true
			assert.Contains(t, string(cases), "'"+strings.ReplaceAll(q.expr, "$bench", "east")+"'")
		}
	}
	assert.True(t, counted)
}

// TestEveryQueryAsksForWhatThereIs: metrics, labels and values of labels that the daemon
// exports, that the rules record, or that the metrics server adds.
func TestEveryQueryAsksForWhatThereIs(t *testing.T) {
	there := exported(t)
	for _, r := range allRules(t) {
		if r.Record != "" {
			there[r.Record] = map[string][]string{"pot": nil, "line": nil, "device": nil}
			continue
		}
		there.add("ALERTS", map[string]string{"alertname": r.Alert})
		there.add("ALERTS", r.Labels)
	}
	labels := map[string]bool{"bench": true}
	for _, of := range there {
		for name := range of {
			labels[name] = true
		}
	}
	asked := map[string]bool{}
	for _, q := range queries(t) {
		r := reader{query: q, there: there, labels: labels, asked: asked}
		for _, trouble := range r.read() {
			t.Errorf("%s: %s in\n%s", q.where, trouble, q.expr)
		}
	}
	t.Logf("%d queries ask for %d metrics of %d", len(queries(t)), len(asked), len(there))
	for _, metric := range []string{"meltwarden_live", "meltwarden_melt_temperature_celsius", "ALERTS", "up"} {
		assert.True(t, asked[metric], "%s: the reader of queries has missed it", metric)
	}
	for _, r := range allRules(t) {
		assert.True(t, r.Record == "" || asked[r.Record], "%s: nobody asks for what is recorded", r.Record)
	}
	// The reader itself: it must see what is wrong.
	for wrong, trouble := range map[string]string{
		`max by (bench) (meltwarden_nothing)`:                              "no metric meltwarden_nothing",
		`meltwarden_heat_state{stat="tripped"}`:                            "no label stat",
		`meltwarden_heat_state{state="enabled"}`:                           `no state "enabled"`,
		`meltwarden_pot_state{state=~"holding|redy"} == 1`:                 `no state "redy"`,
		`sum by (bnech) (rate(meltwarden_shots_total[5m])) > 0`:            "no label bnech",
		`meltwarden_ready unless on (bench) last_over_time(meltwrden[1m])`: "no metric meltwrden",
	} {
		r := reader{query: query{"test", wrong}, there: there, labels: labels, asked: map[string]bool{}}
		assert.Contains(t, strings.Join(r.read(), "\n"), trouble)
	}
}

// reader is a light one of queries that are known to be well formed: it looks at names,
// and at the labels in braces and in lists.
type reader struct {
	query
	there  labelled
	labels map[string]bool
	asked  map[string]bool

	troubles []string
}

var (
	matcher = regexp.MustCompile(`([a-zA-Z_][a-zA-Z0-9_]*)\s*(=~|!~|!=|=)\s*"((?:[^"\\]|\\.)*)"`)
	listed  = regexp.MustCompile(`\b(by|on|ignoring|without|group_left|group_right)\s*\(([^()]*)\)`)
	braces  = regexp.MustCompile(`\{[^}]*\}`)
	names   = regexp.MustCompile(`[a-zA-Z_:][a-zA-Z0-9_:]*`)
	called  = regexp.MustCompile(`^\s*\(`)
	ranges  = regexp.MustCompile(`\[[^\]]*\]`)
)

// operators are the words of the language that stand where a metric could.
var operators = []string{"and", "or", "unless", "by", "on", "ignoring", "without", "group_left", "group_right", "bool", "sum", "max", "min", "count", "avg"}

func (r *reader) read() []string {
	expr := r.expr
	for _, list := range listed.FindAllStringSubmatch(expr, -1) {
		for _, label := range names.FindAllString(list[2], -1) {
			r.check(r.labels[label], "no label "+label)
		}
	}
	expr = listed.ReplaceAllString(expr, "")
	expr = ranges.ReplaceAllString(expr, "")
	for at := 0; ; {
		found := names.FindStringIndex(expr[at:])
		if found == nil {
			return r.troubles
		}
		from, to := at+found[0], at+found[1]
		name, rest := expr[from:to], expr[to:]
		at = to
		switch {
		case from > 0 && expr[from-1] >= '0' && expr[from-1] <= '9', called.MatchString(rest), slices.Contains(operators, name):
			continue
		}
		inside := ""
		if b := braces.FindStringIndex(rest); b != nil && strings.TrimSpace(rest[:b[0]]) == "" {
			inside, at = rest[b[0]:b[1]], to+b[1]
		}
		r.metric(name, inside)
	}
}

func (r *reader) check(is bool, trouble string) {
	if !is {
		r.troubles = append(r.troubles, trouble)
	}
}

// metric looks at one metric with what stands in its braces.
func (r *reader) metric(name, inside string) {
	of, is := r.there[name]
	r.check(is, "no metric "+name)
	r.asked[name] = true
	for _, m := range matcher.FindAllStringSubmatch(inside, -1) {
		label, value := m[1], m[3]
		if label == "bench" || label == "job" && value == "meltwarden" {
			continue
		}
		values, is := of[label]
		r.check(is, "no label "+label+" of "+name)
		if values == nil || strings.HasPrefix(value, "$") {
			continue
		}
		for one := range strings.SplitSeq(value, "|") {
			r.check(slices.Contains(values, one), fmt.Sprintf("no %s %q of %s; there are %q", label, one, name, slices.Sorted(slices.Values(values))))
		}
	}
}
