package commission

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

// complete is a record of everything a bench needs.
func complete(b *config.Bench) *Record {
	r := &Record{Program: "test", Digest: Digest(b), Saved: time.Now()}
	words := strings.Split(answers, "\n")
	for i, q := range questions {
		r.Answers = append(r.Answers, Answer{q.key, words[i], time.Now()})
	}
	for _, d := range outputDevices(b.Channels) {
		r.Proofs = append(r.Proofs, Proof{Device: d, At: time.Now(), AgainS: 2, LetGoS: 1.5, StillOnS: 1, ReadS: 2})
	}
	for _, k := range interlocks {
		r.Interlocks = append(r.Interlocks, Interlock{k.role, time.Now()})
	}
	for _, p := range b.Pots {
		r.Nudges = append(r.Nudges, Nudge{Pot: p.Name, At: time.Now(), Result: Right, OpenS: 45, HeatedS: 45})
		r.Melts = append(r.Melts, Dip{Pot: p.Name, At: time.Now(), Result: Right, ThermometerC: new(60.0), ShownC: new(59.5)})
	}
	return r
}

// TestClearanceNeedsEverything: whatever is taken away, nothing is cleared, and it is
// named.
func TestClearanceNeedsEverything(t *testing.T) {
	b := benchFile(t, nil)
	cleared, missing := complete(b).Against(b)
	require.True(t, cleared.Holds())
	require.Empty(t, missing)
	require.False(t, Clearance{}.Holds())

	ago := time.Now().Add(-yearly - time.Minute)
	for want, spoil := range map[string]func(r *Record){
		"earth: not answered":                 func(r *Record) { r.Answers[6].Words = "" },
		"electrician: not answered":           func(r *Record) { r.Answers = r.Answers[:15] },
		`e-stop: answered "none"; fit it, or`: func(r *Record) { r.Answers[8].Words = "none" },
		"fuse: answered 2":                    func(r *Record) { r.Answers[3].At = ago },
		"fuse: that says too little":          func(r *Record) { r.Answers[3].Words = "yes" },
		"cut-out-opens: 220 °C; it must open above the bench's plate limit of 230 °C": func(r *Record) { r.Answers[1].Words = "220 C" },
		"device power: tried 2": func(r *Record) { r.Proofs[0].At = ago },
		"heater left: tried 2":  func(r *Record) { r.Nudges[0].At = ago },
		"e-stop: tried 2":       func(r *Record) { r.Interlocks[0].At = ago },
		"device power: not tried again once its supply was off":      func(r *Record) { r.Proofs[0].AgainS = 0 },
		"device power: not proven":                                   func(r *Record) { r.Proofs[0].ReadS = 0 },
		"cut-out: not tried whether its contact shows it":            func(r *Record) { r.Interlocks = slices.Delete(r.Interlocks, 1, 2) },
		"device power: not tried whether it reports its outputs off": func(r *Record) { r.Proofs = nil },
		"device power: it holds":                                     func(r *Record) { r.Proofs[0].Trouble = "it holds" },
		"device power: ":                                             func(r *Record) { r.Proofs[0].LetGoS = 2.1 },
		"heater middle: not tried which plate it warms":              func(r *Record) { r.Nudges[1].Pot = "other" },
		"heater right moves plate left by +0.0 °C":                   func(r *Record) { r.Nudges[2].Result, r.Nudges[2].Other = Crossed, "left" },
		"heater right: not tried for long enough whether it is behi": func(r *Record) { r.Nudges[2].OpenS = 0 },
		"heater left: not tried for long enough whether it is behin": func(r *Record) { r.Nudges[0].HeatedS = 46 },
		"heater right moves its plate by only +0.0 °C in 45 s: too ": func(r *Record) { r.Nudges[2].Result = Weak },
		"melt probe left: not tried in hot water which channel it i": func(r *Record) { r.Melts = r.Melts[1:] },
		"melt probe right: tried 2":                                  func(r *Record) { r.Melts[2].At = ago },
		"the melt probe of pot left moves melt right by +0.0 °C. Sw": func(r *Record) { r.Melts[0].Result, r.Melts[0].Other = Crossed, "right" },
		"the reading of melt left falls by ":                         func(r *Record) { r.Melts[0].Result = Reversed },
		"no melt moves when the probe of pot middle is in hot water": func(r *Record) { r.Melts[1].Result = Missing },
		"the melt probe of pot left moves melt right by +0.0 °C as ": func(r *Record) { r.Melts[0].Result, r.Melts[0].Other = Both, "right" },
		"the melt probe of pot left shows 59.5 °C where a thermomet": func(r *Record) { r.Melts[0].Result = Differs },
		"no plate moves when heater left is on":                      func(r *Record) { r.Nudges[0].Result = Missing },
		"heater left moves plate right by +0.0 °C as well":           func(r *Record) { r.Nudges[0].Result, r.Nudges[0].Other = Both, "right" },
		"the bench file has changed since":                           func(r *Record) { r.Digest = "other" },
	} {
		r := complete(b)
		spoil(r)
		cleared, missing := r.Against(b)
		assert.False(t, cleared.Holds(), want)
		require.Len(t, missing, 1, want)
		assert.Contains(t, missing[0], want)
	}
	cleared, missing = (*Record)(nil).Against(b)
	assert.False(t, cleared.Holds())
	assert.Equal(t, []string{"nothing is on record of this bench"}, missing)
}

// TestDigest changes with the hardware and with nothing else.
func TestDigest(t *testing.T) {
	of := func(old, new string) string {
		return Digest(benchFile(t, func(text string) string {
			require.Contains(t, text, old)
			return strings.Replace(text, old, new, 1)
		}))
	}
	same := Digest(benchFile(t, nil))
	for old, new := range map[string]string{
		"recipe: recipe.yaml":      "recipe: other.yaml",
		"name: demo bench":         "name: another bench",
		"melt-trip: 190 C":         "melt-trip: 185 C",
		"plate-limit: 230 C":       "plate-limit: 220 C",
		"listen: 127.0.0.1:8420":   "listen: 127.0.0.1:8421",
		"continuous-share: 80 %":   "continuous-share: 70 %",
		"fuse: \"invented: 20 A":   "fuse: \"invented: 16 A",
		"data: meltwarden-data":    "data: elsewhere",
		"# Demo bench: everything": "# everything",
	} {
		assert.Equal(t, same, of(old, new), old)
	}
	for old, new := range map[string]string{
		"port: simulated":          "port: other",
		"baud: 19200":              "baud: 9600",
		"parity: even":             "parity: odd",
		"power: 1000 W":            "power: 900 W",
		"unit: 3":                  "unit: 4",
		"function: 16, address: 0": "function: 16, address: 3",
		"function: 4, address: 1":  "function: 3, address: 1",
		"scale: 0.1, unit: C":      "scale: 0.2, unit: C",
		"open: 0x0001":             "open: 0x0004",
		"role: pedal, device: contacts, function":   "invert: true, role: pedal, device: contacts, function",
		"{role: lamp, device: contacts,":            "{role: lamp, device: thermocouples,",
		"- {role: fan, device: contacts, function:": "- {role: fan, device: contacts, function: 1, address: 9, type: bit}\n  #",
	} {
		assert.NotEqual(t, same, of(old, new), old)
	}
}

// TestEveryStateIsKept, and the newest counts; what is damaged is said.
func TestEveryStateIsKept(t *testing.T) {
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer s.Close()
	r, err := Load(s)
	require.NoError(t, err)
	require.Nil(t, r)
	for _, text := range []string{`{"digest":"a"}`, `{"digest":"b"}`} {
		require.NoError(t, s.KeepCommission(history.Commission{At: time.Now(), Program: "test", Record: text}))
	}
	r, err = Load(s)
	require.NoError(t, err)
	require.Equal(t, "b", r.Digest)
	require.NoError(t, s.KeepCommission(history.Commission{At: time.Now(), Record: "{"}))
	_, err = Load(s)
	require.ErrorContains(t, err, "commission --anew")
}

// TestStatus says what is there and what is missing, to a person and to a program.
func TestStatus(t *testing.T) {
	b := benchFile(t, nil)
	r := complete(b)
	r.Nudges[1].Result = Missing
	r.Proofs[0].Trouble = "still holds"
	var out bytes.Buffer
	StatusOf(r, b).Tell(&out)
	for _, want := range []string{"earth: braid to every plate", "power: NOT PROVEN", "middle: missing", "serve refuses heat", "device power: still holds"} {
		require.Contains(t, out.String(), want)
	}
	out.Reset()
	StatusOf(complete(b), b).Tell(&out)
	require.Contains(t, out.String(), "complete: the bench's own enable button can switch heat on")
	text, err := json.Marshal(StatusOf(nil, b))
	require.NoError(t, err)
	require.JSONEq(t, `{"bench":"demo bench","digest":"`+Digest(b)+`","complete":false,"missing":["nothing is on record of this bench"],"warnings":[],"record":null,"relays":[]}`, string(text))
}

// TestNumberedPortsAreWarnedOf, and not refused.
func TestNumberedPortsAreWarnedOf(t *testing.T) {
	for port, warned := range map[string]bool{
		"/dev/ttyUSB0": true, "/dev/ttyACM12": true, "/dev/ttyS0": false, "COM3": false,
		"/dev/serial/by-id/usb-invented-if00-port0": false, "/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0": false,
	} {
		b := benchFile(t, func(text string) string { return strings.Replace(text, "port: simulated", "port: "+port, 1) })
		var out bytes.Buffer
		s := StatusOf(complete(b), b)
		s.Tell(&out)
		require.True(t, s.Complete)
		require.Equal(t, warned, len(s.Warnings) > 0, port)
		require.Equal(t, warned, strings.Contains(out.String(), "name its adapter"), port)
	}
}

// TestWarmedIsForgotten after two hours.
func TestWarmedIsForgotten(t *testing.T) {
	r := &Record{Nudges: []Nudge{{Pot: "left", At: time.Now(), Moved: map[string]float64{"left": 5, "right": 3}}}}
	require.True(t, r.warmed("left"))
	require.True(t, r.warmed("right"))
	require.False(t, r.warmed("middle"))
	r.Nudges[0].At = time.Now().Add(-coldAgain)
	require.False(t, r.warmed("left"))
}

// TestCarelessAnswers do not count, and what to write is said.
func TestCarelessAnswers(t *testing.T) {
	b := benchFile(t, nil)
	find := func(key string) *question {
		return &questions[slices.IndexFunc(questions, func(q question) bool { return q.key == key })]
	}
	for key, refused := range map[string][]string{
		"fuse": {"no", "No.", "NOT YET", "none", "Nothing so far", "nein", "n/a", "N/A.", "unknown, ask", "later", "todo: ask", "don't have it", "don’t know",
			"never", "nobody", "yes", "Yes!", "y", "ok", "16", "16 A", "--", "\x1b[2J", strings.Repeat("a", 501)},
		"e-stop-tried":  {"yes", "the owner", "3 5", "no, 3 May"},
		"cut-out-opens": {"280", "hot", "230 C", "301 C", "430 F", "600 F", "no"},
	} {
		for _, words := range refused {
			require.Error(t, find(key).accept(words, b), "%s: %q", key, words)
		}
	}
	for key, accepted := range map[string][]string{
		"fuse":          {"16 A breaker", "northern box, 16 A", "nota bene: at the box", "Sicherung im Kasten"},
		"e-stop-tried":  {"the owner, 3 May", "a friend, 2026-05-03"},
		"cut-out-opens": {"280 C", "280 °C.", "518 F", "300 C"},
	} {
		for _, words := range accepted {
			require.NoError(t, find(key).accept(words, b), "%s: %q", key, words)
		}
	}
}

// TestABenchIsKnownAgainAfterAnUpdate: the digest was printed by the program that knew no
// adapters in a bench file, so what is on record holds.
func TestABenchIsKnownAgainAfterAnUpdate(t *testing.T) {
	b, err := config.LoadBench("../../testdata/config/bench-small.good.yaml", nil)
	require.NoError(t, err)
	assert.Equal(t, "704f9830f8d1361d187e94f60d80a4e903a21880a574f5c0a44c5fbf27bac93f", Digest(b))
}

// TestAnAdapterIsPartOfTheDigest, however its numbers are written, and no name of a port is.
func TestAnAdapterIsPartOfTheDigest(t *testing.T) {
	of := func(adapter string) string {
		return Digest(benchFile(t, func(text string) string { return strings.Replace(text, "port: simulated", "adapter: "+adapter, 1) }))
	}
	one := of("{vendor: fff1, product: 00b1, serial: A1}")
	assert.Equal(t, one, of("{product: 00B1, vendor: FFF1, serial: A1}"))
	assert.NotEqual(t, one, of("{vendor: fff1, product: 00b1, serial: A2}"))
	assert.NotEqual(t, one, of("{vendor: fff1, product: 00b1, socket: h/1.4}"))
	assert.NotEqual(t, one, Digest(benchFile(t, nil)))
}
