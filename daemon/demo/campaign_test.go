package demo

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/guard"
	"meltwarden/daemon/history/cycles"
)

// oneSeed runs a session of the campaign alone, with its timeline.
var oneSeed = flag.Uint64("campaign.seed", 0, "the one session of the campaign to run, from 1")

// replayEvery is how many sessions there are to one that is recorded and replayed.
const replayEvery = 20

// TestCampaign makes things go wrong on purpose: seeded sessions of the whole
// program and the simulated bench over Modbus frames in virtual time, at any stage
// of an evening, each with several faults of the bench and its line and follies of
// people. What must always hold is looked at from outside: the bench's truth, what
// goes over the wire, and the frames.
//
// CAMPAIGN sets the number of sessions, CAMPAIGN_FROM the first seed.
func TestCampaign(t *testing.T) {
	first, sessions := 1, campaignSessions(t)
	if text := os.Getenv("CAMPAIGN_FROM"); text != "" {
		var err error
		first, err = strconv.Atoi(text)
		require.NoError(t, err, "CAMPAIGN_FROM")
	}
	if *oneSeed > 0 {
		first, sessions = int(*oneSeed), 1
	}
	cycles.Encode(make([]cycles.Record, 1)) // the packer's own channels are made at its first use: not in a bubble
	goroutines, began := runtime.NumGoroutine(), time.Now()
	all := make([]*findings, sessions)
	var group sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i := range all {
		free <- struct{}{}
		group.Go(func() {
			all[i] = passTrial(t, uint64(first+i))
			<-free
		})
	}
	group.Wait()
	tellBroken(t, all)
	for _, f := range all {
		assert.Empty(t, f.needless, "trips that nothing explains")
	}
	t.Logf("%d sessions, seeds %d to %d, in %.0f s%s", sessions, first, first+sessions-1, time.Since(began).Seconds(), tableOf(all))
	assert.LessOrEqual(t, goroutinesLeft(goroutines), goroutines, "goroutines are left")
}

// goroutinesLeft is how many there are, once no more than so many are: what has just said
// that it is done ends a moment later.
func goroutinesLeft(most int) int {
	for end := time.Now().Add(time.Minute); runtime.NumGoroutine() > most && time.Now().Before(end); {
		runtime.Gosched()
	}
	return runtime.NumGoroutine()
}

// campaignSessions is how many sessions there are, by what the tests are run for.
func campaignSessions(t *testing.T) int {
	if text := os.Getenv("CAMPAIGN"); text != "" {
		n, err := strconv.Atoi(text)
		require.NoError(t, err, "CAMPAIGN")
		return n
	}
	if raced {
		return 3 // it slows everything down
	}
	if testing.Short() {
		return replayEvery
	}
	return 5 * seeds
}

// mostTold is how many sessions that failed are told in full.
const mostTold = 5

// tellBroken fails the test for every session in which something did not hold.
func tellBroken(t *testing.T, all []*findings) {
	told := 0
	for _, f := range all {
		if len(f.broken) == 0 && *oneSeed == 0 {
			continue
		}
		text := fmt.Sprintf("seed %d; alone: go test ./daemon/demo -run TestCampaign -v -campaign.seed=%d", f.seed, f.seed)
		if told++; told <= mostTold {
			text += "\n" + strings.Join(f.timeline, "\n")
		}
		t.Log(text)
		for _, b := range f.broken {
			t.Errorf("seed %d: %s", f.seed, b)
		}
	}
}

// tally is what became of one kind of wrong in all sessions.
type tally struct {
	count int
	// told and gone are how long after it began the heaters concerned were last told
	// to heat, and last drew power, where they drew some as it began.
	told, gone []time.Duration
}

// findings are what a session came to.
type findings struct {
	seed     uint64
	timeline []string
	broken   []string // what did not hold
	kinds    map[string]*tally
	trips    map[guard.Code]int
	needless []string // trips that nothing explains
	frames   int
	enabled  int // frames with heat enabled
	replayed int
	// overC is the most by which a true melt was above the trip with an honest
	// probe in it, blindC with one that was not, both zero where it never was.
	overC, blindC float64
	// bounced is how often heat was enabled by a button that nobody had pressed for
	// long enough, though it was seen so: a contact that bounces.
	bounced int
}

// tableOf sums up a campaign.
func tableOf(all []*findings) string {
	sum := &findings{kinds: map[string]*tally{}, trips: map[guard.Code]int{}}
	over, replays, broken := 0, 0, 0
	for _, f := range all {
		f.addTo(sum)
		broken += len(f.broken)
		if f.overC > 0 || f.blindC > 0 {
			over++
		}
		if f.replayed > 0 {
			replays++
		}
	}
	var text strings.Builder
	fmt.Fprintf(&text, "\n\n%-28s %5s %5s   %-24s %s", "what went wrong", "times", "heats", "told off: median, worst", "power gone: median, worst")
	for _, name := range slices.Sorted(maps.Keys(sum.kinds)) {
		k := sum.kinds[name]
		fmt.Fprintf(&text, "\n%-28s %5d %5d   %-24s %s", name, k.count, len(k.told), spanOf(k.told), spanOf(k.gone))
	}
	trips := 0
	for _, c := range guard.Codes() {
		if n := sum.trips[c]; n > 0 {
			trips += n
			fmt.Fprintf(&text, "\ntrip %-24s %5d", c, n)
		}
	}
	fmt.Fprintf(&text, "\n\nframes looked at %d, %.0f %% of them with heat enabled; sessions replayed bit for bit %d (%d cycles)", sum.frames, 100*float64(sum.enabled)/float64(sum.frames), replays, sum.replayed)
	fmt.Fprintf(&text, "\ntrue melt over its trip in %d sessions: by %.1f °C at most with an honest probe, %.1f °C with one that lies", over, sum.overC, sum.blindC)
	fmt.Fprintf(&text, "\nheat enabled by a contact that bounced: %d", sum.bounced)
	fmt.Fprintf(&text, "\ntrips %d, needless %d\ninvariants broken %d", trips, len(sum.needless), broken)
	for _, n := range sum.needless {
		text.WriteString("\nneedless: " + n)
	}
	return text.String()
}

func (f *findings) addTo(sum *findings) {
	for name, k := range f.kinds {
		s := sum.of(name)
		s.count, s.told, s.gone = s.count+k.count, append(s.told, k.told...), append(s.gone, k.gone...)
	}
	for c, n := range f.trips {
		sum.trips[c] += n
	}
	sum.needless = append(sum.needless, f.needless...)
	sum.frames, sum.replayed, sum.bounced = sum.frames+f.frames, sum.replayed+f.replayed, sum.bounced+f.bounced
	sum.enabled += f.enabled
	sum.overC, sum.blindC = max(sum.overC, f.overC), max(sum.blindC, f.blindC)
}

// of returns the tally of a kind.
func (f *findings) of(name string) *tally {
	if f.kinds[name] == nil {
		f.kinds[name] = &tally{}
	}
	return f.kinds[name]
}

// spanOf is the median and the worst of some durations.
func spanOf(all []time.Duration) string {
	if len(all) == 0 {
		return "-"
	}
	slices.Sort(all)
	return fmt.Sprintf("%.2f s  %.2f s", all[len(all)/2].Seconds(), all[len(all)-1].Seconds())
}
