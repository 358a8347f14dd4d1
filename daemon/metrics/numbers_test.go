package metrics

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/timing"
)

// crowded is a bench of 48 pots with a warning on each of them.
func crowded() *Metrics {
	const pots = 48
	f := frame()
	good, bad := f.Pots[0], f.Conditions[0]
	good.ReadyIn, good.PeakC, good.PeakWithinC = time.Minute, 171, 2
	good.Plate = reading.Temperature{C: 205, Fault: reading.None}
	f.Pots, f.Conditions = nil, nil
	o := options(f, 0)
	o.Settings.Limits.MeltTripC, o.Settings.Limits.PlateTripC = 190, 250
	o.Settings.Pots = nil
	doses := make([]frames.Figure, pots)
	for i := range pots {
		bad.Code, bad.Pot, bad.Severity = guard.MeltNoisy, i, guard.Warning
		f.Pots, f.Conditions = append(f.Pots, good), append(f.Conditions, bad)
		o.Settings.Pots = append(o.Settings.Pots, control.PotSettings{Name: fmt.Sprintf("pot %d", i+1), HeaterW: 1000})
	}
	o.Beside = func() Beside { return Beside{DoseMin: doses, History: &History{}, Away: &Messages{}} }
	return New(o)
}

// page is a reader of a scrape who keeps nothing but its length.
type page struct {
	header http.Header
	bytes  int
}

func (p *page) Header() http.Header            { return p.header }
func (p *page) WriteHeader(int)                {}
func (p *page) Write(text []byte) (int, error) { p.bytes += len(text); return len(text), nil }

func scrapeOf(m *Metrics) func() int {
	h, r := m.Handler(), httptest.NewRequest(http.MethodGet, "/metrics", nil)
	return func() int {
		p := &page{header: http.Header{}}
		h.ServeHTTP(p, r)
		return p.bytes
	}
}

func BenchmarkScrape48Pots(b *testing.B) {
	scrape := scrapeOf(crowded())
	b.ReportAllocs()
	for b.Loop() {
		scrape()
	}
}

// fromDisks is how many bytes this process has had from disks, by the kernel
// (proc_pid_io(5): read_bytes); empty where no kernel says so. What is written can not be
// held against it: the test's own log is.
func fromDisks(t *testing.T) (bytes string) {
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		t.Log("what goes to disks is not known here:", err)
	}
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "read_bytes") {
			bytes = line
		}
	}
	return bytes
}

// TestNumbersOfAScrape prints what a scrape of 48 pots costs. A busy computer only makes
// it slower, so the fastest of many counts, and that only loosely; what is allocated does
// not depend on who else works.
func TestNumbersOfAScrape(t *testing.T) {
	m := crowded()
	scrape := scrapeOf(m)
	fastest, bytes := time.Hour, 0
	before := fromDisks(t)
	for range 40 {
		began := time.Now()
		bytes = scrape()
		fastest = min(fastest, time.Since(began))
	}
	assert.Equal(t, before, fromDisks(t), "no disk is read in a scrape")
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	series := 0
	for line := range strings.Lines(w.Body.String()) {
		if !strings.HasPrefix(line, "#") {
			series++
		}
	}
	allocs := testing.AllocsPerRun(5, func() { scrape() })
	t.Logf("48 pots: %d series, %d bytes, %v, %.0f allocations", series, bytes, fastest.Round(10*time.Microsecond), allocs)
	assert.Less(t, allocs, 40_000.0)
	if !timing.RaceDetector {
		assert.Less(t, fastest, 20*time.Millisecond, "promised is 5 ms on a computer with nothing else to do")
	}
}
