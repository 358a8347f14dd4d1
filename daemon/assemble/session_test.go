package assemble

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/config"
	"meltwarden/daemon/console"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/ports"
	"meltwarden/devices/registers"
	"meltwarden/devices/scan"
	"meltwarden/devices/simbench"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// box is a person with a simulated bench of two pots whose map he does not know, in
// virtual time: what he holds in the hand he is told to hold.
type box struct {
	*simbench.Bench
	t    *testing.T
	clk  *clock.Clock
	file string

	mu    sync.Mutex
	out   bytes.Buffer
	held  *simbench.Place
	works bool          // does what commissioning asks for
	deaf  bool          // nothing on the line answers
	asked map[uint8]int // requests, by function
}

// atABox runs a test in a bubble.
func atABox(t *testing.T, test func(t *testing.T, b *box)) { atABoxOf(t, false, test) }

// atABoxOf is atABox with controllers in the place of duties, or without.
func atABoxOf(t *testing.T, controllers bool, test func(t *testing.T, b *box)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		b := &box{t: t, clk: clock.New(1), file: filepath.Join(t.TempDir(), "bench.yaml"), asked: map[uint8]int{}}
		var err error
		b.Bench, err = simbench.New(simbench.Config{Seed: 1, Controllers: controllers, Pots: []simbench.Pot{
			{Name: "left", VolumeML: 200, HeaterW: 800}, {Name: "right", VolumeML: 200, HeaterW: 800},
		}}, b.clk)
		require.NoError(t, err)
		test(t, b)
	})
}

// open gives the line a new pipe, over which only one setting is understood.
func (b *box) open(l devices.LineConfig) (modbus.Port, error) {
	if l.Port != "/dev/ttyS7" && l.Port != "" { // in the bench file it is an adapter
		return nil, errors.New("does not exist: is the adapter plugged in, and is this its name?")
	}
	near, far := pipe.New()
	if b.deaf || l.Baud != 19200 || l.Parity != "even" {
		return near, nil
	}
	go func() { _ = b.Serve(context.Background(), far) }() // ends when the near end closes
	return &counted{near, b}, nil
}

// counted is a port that counts what is asked over it.
type counted struct {
	modbus.Port
	*box
}

func (c *counted) Write(p []byte) (int, error) {
	c.mu.Lock()
	c.asked[p[1]]++
	c.mu.Unlock()
	return c.Port.Write(p)
}

var places = map[string]simbench.Place{
	"melt left": {Pot: 0, Probe: registers.Melt}, "plate left": {Pot: 0, Probe: registers.Plate},
	"melt right": {Pot: 1, Probe: registers.Melt}, "plate right": {Pot: 1, Probe: registers.Plate},
}

// Write is the person who reads what the session says.
func (b *box) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for name, at := range places {
		if bytes.Contains(bytes.ReplaceAll(p, []byte("\n"), []byte(" ")), []byte("hold the tip of "+name)) {
			b.layDown()
			b.held = &at
			b.Hold(at, 34)
		}
	}
	if bytes.Contains(p, []byte("Are these the right readings?")) {
		b.layDown()
	}
	b.presses(string(p))
	for said, do := range map[string]func(simbench.Fault, simbench.Place) error{"Take one wire of melt left off": b.Inject, "Put the wire back on": b.Clear} {
		if bytes.Contains(p, []byte(said)) {
			assert.NoError(b.t, do(simbench.OpenProbe, simbench.Place{Pot: 0, Probe: registers.Melt}))
		}
	}
	if b.works {
		b.work(string(p))
	}
	return b.out.Write(p)
}

// presses has contacts pressed three times.
func (b *box) presses(words string) {
	fault := func(f simbench.Fault) (away, back func()) {
		return func() { assert.NoError(b.t, b.Inject(f, simbench.Place{})) }, func() { assert.NoError(b.t, b.Clear(f, simbench.Place{})) }
	}
	for said, do := range map[string]simbench.Fault{
		": Press the emergency stop, release it": simbench.EStopOpened, ": Open the cut-out (its": simbench.CutOutOpened, ": Switch the fan off until": simbench.FanStopped, ": Press the enable button, let": "",
	} {
		if !strings.Contains(words, said) {
			continue
		}
		away, back := fault(do)
		if do == "" {
			away, back = func() { b.HoldEnable(2 * time.Second) }, func() {}
		}
		for n := range time.Duration(3) {
			time.AfterFunc((3+4*n)*time.Second, away)
			time.AfterFunc((5+4*n)*time.Second, back)
		}
	}
}

func (b *box) layDown() {
	if b.held != nil {
		b.LayDown(*b.held)
	}
}

func (b *box) said() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.out.String()
}

// led runs a session on some answers.
func (b *box) led(answers ...string) error {
	b.out.Reset()
	defer func() {
		for function := range b.asked {
			assert.LessOrEqual(b.t, function, modbus.ReadInput, "it only reads")
		}
	}()
	return Run(b.t.Context(), b.options(strings.NewReader(strings.Join(answers, "\n")+"\n")))
}

func (b *box) options(in io.Reader) Options {
	return Options{File: b.file, In: NewTyped(in), Out: b, Clock: b.clk, Open: b.open,
		Ports: func() (ports.List, error) {
			one := ports.Port{Name: "/dev/ttyS7", Adapter: ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A1", Text: "invented"}}
			return ports.List{Ports: []ports.Port{one}}, nil
		},
		Size: func() console.Size { return console.Small }, Echo: true}
}

// whole is all that is typed of the box: what belongs to one question together, a line each.
func whole() []string {
	return []string{
		"bench by the window", "F", "120 V", "20 A", "left, right", "800 W", "", "", "",
		"a limiter on each plate", "16 A breaker in the box", "braid to every plate", "mushroom at the edge",
		"1", "", "look", "", "thermocouples", "power", "contacts", "no",
		"thermocouples", "hold\n0\nyes", "see\nyes",
		"fan", "contacts", "press\nyes\n0\nyes",
		"power", "number", "16", "10000", "smooth", "0", "1", "power", "5", "0",
		"begin", "200 mL", "", "yes",
	}
}

// TestFromABoxToABenchFile: the file says what the bench is, and is one that can be run.
func TestFromABoxToABenchFile(t *testing.T) {
	atABox(t, func(t *testing.T, b *box) {
		began := time.Now()
		require.NoError(t, b.led(whole()...), b.said())
		t.Logf("%v of bench time\n%s", time.Since(began).Round(time.Second), b.said())
		for line := range strings.Lines(b.said()) {
			if !strings.Contains(line, filepath.Dir(b.file)) {
				assert.LessOrEqual(t, len([]rune(strings.TrimSuffix(line, "\n"))), 80, line)
			}
		}
		b.good()
		said := strings.Join(strings.Fields(b.said()), " ")
		readme, err := os.ReadFile("../../README.md")
		require.NoError(t, err)
		require.Contains(t, said, "It takes 30 to 70 minutes in all (an estimate)")
		require.Contains(t, string(readme), "in 30 to 70 minutes with all that follows (an estimate)", "both say the same")
		file, err := os.ReadFile(b.file)
		require.NoError(t, err)
		require.Contains(t, said, strings.Join(strings.Fields(string(file)), " "), "it is shown, and broken between words only")
		require.Contains(t, said, "The register at address 0 of power reads 0 now, as one that is off.")
		require.NotContains(t, said, "under sentinels", "this writes the file")
		pressed, right := strings.Index(said, "PRESS THE EMERGENCY STOP again. Leave the heaters' supply off"), strings.Index(said, "Are these the right contacts?")
		require.Less(t, strings.Index(said, "SWITCH THE HEATERS' SUPPLY OFF"), pressed)
		require.Less(t, pressed, right, "once they were tried")
		require.Contains(t, said, "The coil at address 0 of power reads 0 now")
		require.Equal(t, 2, strings.Count(said, readsFirst[2:]), "nothing shows for seconds")
		require.Contains(t, said, "Reading it for some 8 s: wait")
		require.Contains(t, said, "communication time-out, watchdog or fail-safe time, and set it now")
		require.NotNil(t, Left(b.file))
		require.NoError(t, Drop(b.file))
		require.NoFileExists(t, DraftOf(b.file))
		require.Nil(t, Left(b.file))
	})
}

// TestNobodyAnswers is said, with what to do; and all unit numbers can be asked.
func TestNobodyAnswers(t *testing.T) {
	atABox(t, func(t *testing.T, b *box) {
		b.deaf = true
		all := whole()
		require.ErrorIs(t, b.led(append(all[:15:15], "look", "far")...), ErrStopped)
		said := strings.Join(strings.Fields(b.said()), " ")
		require.Contains(t, said, "Asks units 1 to 16 at 18 speeds and parities")
		require.Contains(t, said, "nothing answered. Look at its supply, and whether the two wires of the line are swapped; or answer far")
		require.Contains(t, said, "Asks units 1 to 247 at 18 speeds and parities")
		require.Contains(t, said, "minutes at most")
	})
}

// TestAUnitIsFoundByItsSupply: what it answered is shown, and which of them it is by switching
// one off.
func TestAUnitIsFoundByItsSupply(t *testing.T) {
	atABox(t, func(t *testing.T, b *box) {
		all := append(whole()[:18:18], "which")
		require.ErrorIs(t, b.led(all...), ErrStopped)
		said := strings.Join(strings.Fields(b.said()), " ")
		require.Contains(t, said, "What do you call unit 1? It answered: input register 0 reads 2")
		require.Contains(t, said, "all units answer. Switch the supply of one module off")
		require.NoError(t, b.Inject(simbench.UnitRestarts, simbench.Place{Unit: simbench.UnitPower}))
		require.ErrorIs(t, b.led("which"), ErrStopped)
		require.Contains(t, strings.Join(strings.Fields(b.said()), " "), "Found: unit 2 is silent now, so it has no supply; units 1, 3 answer.")
		require.NotContains(t, b.said(), "Not taken", "it was found")
		require.Equal(t, 2, strings.Count(b.said(), "What do you call unit 2?"), "and is asked for its name")
	})
}

// TestControllersAreAskedFor, and what each says is shown before it counts.
func TestControllersAreAskedFor(t *testing.T) {
	atABoxOf(t, true, func(t *testing.T, b *box) {
		all := []string{"bench", "C", "120 V", "20 A", "left, right", "600 W", "both", "600 W", "both",
			"a limiter on each plate", "20 A breaker in the box", "braid to every plate", "mushroom at the edge",
			"1", "adapter", "type", "19200 even", "1, 2, 3, 4, 5", "thermocouples", "power", "contacts", "left one", "right one", "no",
			"thermocouples", "4 0 int16 0.1 C\nyes", "1\nyes", "2\nyes", "3\nyes", "0x7FFF",
			"none", "contacts", "2 0\nyes", "1\nyes", "4\nyes",
			"each", "left one", "right one", "setpoint", "elsewhere", "plate", "6 0 int16 0.1 C", "4 0 int16 0.1 C 0x7FFF\nyes", "", "\nyes", "power", "5", "0",
			"begin", "200 mL", "", "yes"}
		require.NoError(t, b.led(all...), b.said())
		file := b.good()
		require.Contains(t, b.said(), "its sensor reads 2")
		require.Contains(t, strings.Join(strings.Fields(b.said()), " "), "only a controller that senses its plate can be told how warm that may get", "nobody's word is taken for it")
		require.True(t, file.Pots[1].Controller.Is())
	})
}

// good holds the files that were written against the bench.
func (b *box) good() *config.Bench {
	file, err := config.LoadBench(b.file, nil)
	require.NoError(b.t, err)
	recipe, err := config.LoadRecipe(file.Recipe)
	require.NoError(b.t, err)
	_, err = config.Settings(file, recipe)
	require.NoError(b.t, err)
	b.sameAs(file)
	assert.Equal(b.t, ports.Wanted{Vendor: "fff1", Product: "0001", Serial: "A1"}, file.Lines[0].Adapter)
	return file
}

// TestStoppedAnywhereItGoesOn: after every single answer the session ends, and the next one
// asks what follows; what comes of it is the same.
func TestStoppedAnywhereItGoesOn(t *testing.T) {
	atABox(t, func(t *testing.T, b *box) {
		all := whole()
		for i, answer := range all {
			err := b.led(answer)
			if i == len(all)-1 {
				require.NoError(t, err)
				break
			}
			require.ErrorIs(t, err, ErrStopped, "%d %q: %s", i, answer, b.said())
			require.ErrorContains(t, err, "run the same command to go on")
			require.NoFileExists(t, b.file)
			if i > 0 {
				require.Contains(t, b.said(), "Going on with what is in")
			}
		}
		b.good()
	})
}

// TestMindsAreChanged: one question back, and any by its number; what rests on the answer is
// asked anew.
func TestMindsAreChanged(t *testing.T) {
	atABox(t, func(t *testing.T, b *box) {
		some := []string{"bench", "C", "<", "F", "120 V", "20 A", "left, right", "800 W", "both", "?\n4", "15 A", "700 W", "<", "650 W", "both"}
		require.ErrorIs(t, b.led(some...), ErrStopped)
		a, err := readDraft(DraftOf(b.file))
		require.NoError(t, err)
		assert.Equal(t, Answers{"name": "bench", "unit": "F", "voltage": "120 V", "breaker": "15 A", "pots": "left, right",
			"pot-1-power": "800 W", "pot-1-probes": "both", "pot-2-power": "650 W", "pot-2-probes": "both"}, a)
		a["line-1-port"], a["line-1-how"], a["line-1-speed"], a["line-1-units"] = "/dev/ttyS7", "type", "19200 even 1", "1"
		s := &session{Options: b.options(nil), Answers: a, was: Answers{}, around: Around{File: b.file}}
		for _, q := range a.script(s.around).asked {
			if q.Key == "pots" {
				s.takeBack(q)
			}
		}
		port := Question{Key: "line-1-port", Voids: []string{"line-1-"}}
		s.takeBack(port)
		_, err = s.take(t.Context(), port, "/dev/ttyS8")
		require.NoError(t, err)
		assert.NotContains(t, a, "line-1-units", "another port has other devices")
	})
}

// TestWhatWasTakenBackStaysSo though the session was stopped before it was answered anew.
func TestWhatWasTakenBackStaysSo(t *testing.T) {
	b := &box{t: t, file: filepath.Join(t.TempDir(), "bench.yaml")}
	require.NoError(t, answered().write(DraftOf(b.file), b.file, nil))
	text, err := os.ReadFile(DraftOf(b.file))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(DraftOf(b.file), bytes.Replace(text, []byte(`pots: "left, right"`), nil, 1), 0o600))
	require.ErrorIs(t, b.led("right, left"), ErrStopped)
	a, err := readDraft(DraftOf(b.file))
	require.NoError(t, err)
	assert.Equal(t, "right, left", a["pots"])
	assert.NotContains(t, a, "pot-1-melt")
	assert.Contains(t, a, "contact-enable")
}

// TestNothingIsWrittenOver: neither a bench file that has come meanwhile nor a recipe.
func TestNothingIsWrittenOver(t *testing.T) {
	b := &box{t: t, file: filepath.Join(t.TempDir(), "bench.yaml")}
	a := answered()
	delete(a, "write")
	require.NoError(t, a.write(DraftOf(b.file), b.file, nil))
	recipe := filepath.Join(filepath.Dir(b.file), "recipe.yaml")
	for _, path := range []string{b.file, recipe} {
		require.NoError(t, os.WriteFile(path, []byte("mine"), 0o600))
	}
	require.ErrorIs(t, b.led("yes"), os.ErrExist)
	for _, path := range []string{b.file, recipe} {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, "mine", string(text))
	}
	require.Nil(t, Left(b.file), "the draft did not lead to that file")
	require.NoError(t, os.Remove(b.file))
	require.NoError(t, b.led())
	file, err := config.LoadBench(b.file, nil)
	require.NoError(t, err)
	require.Equal(t, filepath.Join(filepath.Dir(b.file), "recipe-2.yaml"), file.Recipe)
	require.NotNil(t, Left(b.file))
}

// TestABadDraftIsSaid with its name and what to do.
func TestABadDraftIsSaid(t *testing.T) {
	atABox(t, func(t *testing.T, b *box) {
		require.NoError(t, os.WriteFile(DraftOf(b.file), []byte("name: [\n"), 0o600))
		require.ErrorContains(t, b.led(), "bench.yaml.draft: can not be read")
		require.NoError(t, os.WriteFile(DraftOf(b.file), []byte("name: bench\nunit: K\nvoltage: 12000 V\nbreaker: 20 A\npots: left,right\npot-1-melt: hold\n"), 0o600))
		require.ErrorIs(t, b.led("C", "120 V"), ErrStopped)
		a, err := readDraft(DraftOf(b.file))
		require.NoError(t, err)
		require.Equal(t, "left, right", a["pots"], "as it is kept")
		require.Contains(t, b.said(), `"K": is none of the answers`)
		require.Contains(t, b.said(), `"12000 V": hard to believe; check number and unit: 12 V to 250 V`)
	})
}

// sameAs holds a bench file against what the bench says of itself.
func (b *box) sameAs(file *config.Bench) {
	names := map[uint8]string{}
	for _, d := range file.Devices {
		names[d.Unit] = d.Name
	}
	is := map[string]registers.Channel{}
	for _, c := range file.Channels {
		is[string(c.Role)+c.Pot] = c
	}
	for _, want := range b.Channels() {
		c, has := is[string(want.Role)+want.Pot]
		if !has {
			continue // not asked for
		}
		assert.Equal(b.t, [2]any{want.Function, want.Address}, [2]any{c.Function, c.Address}, "%s %s", want.Role, want.Pot)
		assert.InDelta(b.t, want.Scale, c.Scale, 1e-12)
		assert.Equal(b.t, want.Sentinels, c.Sentinels, "%s %s", want.Role, want.Pot)
	}
}

// TestWhatFitsTwiceIsAsked, and never taken by itself; nor is a probe whose leads are swapped.
func TestWhatFitsTwiceIsAsked(t *testing.T) {
	first := guess.Layout{Function: 4, Type: registers.Float32, Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: 1, Unit: registers.Celsius}
	other := first
	other.Words = registers.LowFirst
	at := []uint16{10, 12, 11}
	r := guess.Result{Layout: &first, Rivals: []guess.Rival{{Layout: other, Addresses: []*uint16{&at[2], nil}, Differs: "part of each number would come from its neighbour"}}}
	for i, name := range []string{"melt left", "plate left", "melt right"} {
		p := guess.Probe{Name: name, Told: true, Address: at[min(i, 1)], Reversed: i == 2}
		p.Channel = registers.Channel{Function: 4, Address: p.Address, Type: first.Type, Words: first.Words, Bytes: first.Bytes, Scale: 1, Unit: first.Unit}
		r.Probes = append(r.Probes, p)
	}
	for typed, want := range map[string]Answers{
		"first":   {"pot-1-melt": "function: 4, address: 10, type: float32, words: high-first, scale: 1, unit: C", "pot-1-plate": "function: 4, address: 12, type: float32, words: high-first, scale: 1, unit: C"},
		"other-1": {"pot-1-melt": "function: 4, address: 11, type: float32, words: low-first, scale: 1, unit: C"},
		"no":      {},
		"yes\nno": {},
	} {
		b := &box{t: t}
		s := &session{Options: b.options(strings.NewReader(typed + "\n")), Answers: Answers{}, was: Answers{}}
		s.asker = plainly(s.Options)
		wrong, err := s.settle(t.Context(), Question{Key: "pot-1-melt"}, []probe{{"pot-1-melt", "melt", "left"}, {"pot-1-plate", "plate", "left"}, {"pot-2-melt", "melt", "right"}}, r)
		require.NoError(t, err)
		require.Equal(t, len(want) == 0, wrong != nil)
		require.Equal(t, want, s.Answers, typed)
		require.Contains(t, b.said(), "NOT CERTAIN")
		require.Contains(t, b.said(), "its two leads are SWAPPED")
	}
}

// TestAnInputThatDriftsIsNoSentinel: only a number that stays, and that no bench has for a
// temperature, is taken for no measurement.
func TestAnInputThatDriftsIsNoSentinel(t *testing.T) {
	c, err := channel{role: "melt", pot: "x", layout: "function: 4, address: 0, type: int16, scale: 0.1, unit: C"}.read()
	require.NoError(t, err)
	reads := func(all ...uint16) (data [][]byte) {
		for _, v := range all {
			data = append(data, modbus.AppendRegisters(nil, v))
		}
		return data
	}
	for _, x := range []struct {
		name  string
		reads [][]byte
		kept  string
		wrong string
	}{
		{"its terminals", reads(350, 350, 350), "", "which a bench can have as well"},
		{"a hot pot's number", reads(1700, 1700, 1700), "", "does not show that a probe is missing"},
		{"drifts far out", reads(9000, 9010, 9020), "", "does not show that a probe is missing"},
		{"the wire is on", reads(221, 221, 221), "", "the wire is on yet"},
		{"the end of the range", reads(13720, 13720, 13720), "13720", ""},
		{"an end of the type", reads(0x8000, 0x8000, 0x8000), "-32768", ""},
		{"minus one", reads(0xFFFF, 0xFFFF, 0xFFFF), "-1", ""},
	} {
		b := &box{t: t}
		s := &session{Options: b.options(nil), Answers: Answers{}}
		err := s.noMeasurement(Question{Key: "open"}, probe{"pot-1-melt", "melt", "left"}, c, reads(220)[0], x.reads)
		if x.wrong != "" {
			assert.ErrorContains(t, err, x.wrong, x.name)
		} else {
			assert.NoError(t, err, x.name)
		}
		assert.Equal(t, x.kept, s.Answers["open"], x.name)
	}
}

// TestTwinsAreSaid: of adapters that can not be told apart, before one is chosen.
func TestTwinsAreSaid(t *testing.T) {
	a := answered()
	for key := range a {
		if strings.HasPrefix(key, "line-1-") {
			delete(a, key)
		}
	}
	b := &box{t: t, file: filepath.Join(t.TempDir(), "bench.yaml")}
	require.NoError(t, a.write(DraftOf(b.file), b.file, nil))
	o := b.options(strings.NewReader("2\npath\n"))
	o.Ports = func() (ports.List, error) {
		one := ports.Port{Name: "/dev/ttyUSB0", Adapter: ports.Adapter{Vendor: "fff1", Product: "0001"}, Paths: []string{"/dev/serial/by-path/pci-1"}}
		two := one
		two.Name, two.Paths = "/dev/ttyUSB1", []string{"/dev/serial/by-path/pci-2"}
		return ports.List{Ports: []ports.Port{one, two}}, nil
	}
	require.ErrorIs(t, Run(t.Context(), o), ErrStopped)
	require.Contains(t, strings.Join(strings.Fields(b.said()), " "), "/dev/ttyUSB0 and /dev/ttyUSB1 can not be told apart")
	a, err := readDraft(DraftOf(b.file))
	require.NoError(t, err)
	require.Equal(t, "/dev/serial/by-path/pci-2", a.line(0).port)
	require.Empty(t, a.line(0).adapter)
}

// TestASlowAnswerFitsTheBenchFile: however long a scan saw a device take, its time-out is one
// that the file may have; nobody could change it in the session.
func TestASlowAnswerFitsTheBenchFile(t *testing.T) {
	for _, worst := range []time.Duration{0, 10 * time.Millisecond, 210 * time.Millisecond, time.Second} {
		for _, late := range []bool{false, true} {
			found := scan.Found{Worst: worst, Late: late}
			_, err := inFile(found.Timeout().String(), func(f *facts, v string) { f.devices[0].timeout = v })
			assert.NoError(t, err, worst)
		}
	}
}
