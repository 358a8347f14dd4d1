//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices/clock"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// owner is the person at a bench: reads what the program says, answers, and presses
// the enable button when told to.
type owner struct {
	tap
	hands hands
}

// hands are what a person can do at a bench. Contacts are e-stop and cut-out.
type hands interface {
	press()
	set(contact registers.Role, closed bool)
	supply(on bool) // of the device with the heaters
	dip()           // holds the first pot's melt probe in a cup of 60 °C
	dry()           // and puts it back
}

// cups are what is typed of one melt probe.
const cups = "60 C\ndry\n"

func (o *owner) Write(p []byte) (int, error) {
	for words, do := range map[string]func(){
		"Press the bench's enable button": o.hands.press,
		"Still waiting for a press":       o.hands.press,
		"Press the emergency stop.":       func() { o.hands.set(registers.EStop, false) },
		"Release it.":                     func() { o.hands.set(registers.EStop, true) },
		"Open the cut-out":                func() { o.hands.set(registers.CutOut, false) },
		"reset it by hand.\n":             func() { o.hands.set(registers.CutOut, true) },
		"Switch the supply of device":     func() { o.hands.supply(false) },
		"It is off. Switch it on":         func() { o.hands.supply(true) },
		"Hold the tip":                    o.hands.dip,
		"DRY IT":                          o.hands.dry,
	} {
		if bytes.Contains(p, []byte(words)) {
			do()
		}
	}
	return o.tap.Write(p)
}

// fastHands are hands at a simulated bench that is faster than the wall.
type fastHands struct {
	*testing.T
	bench *simbench.Bench
	clk   *clock.Clock
}

// after does something in bench time from now: a fast clock slows down while a unit
// does not answer.
func after(clk *clock.Clock, span time.Duration, do func()) {
	go func() {
		if clk.Sleep(context.Background(), span) {
			do()
		}
	}()
}

func (s fastHands) press() { after(s.clk, 2*time.Second, s.bench.PressEnable) }

func (s fastHands) set(contact registers.Role, closed bool) {
	fault := map[registers.Role]simbench.Fault{registers.EStop: simbench.EStopOpened, registers.CutOut: simbench.CutOutOpened}[contact]
	do := map[bool]func(simbench.Fault, simbench.Place) error{false: s.bench.Inject, true: s.bench.Clear}[closed]
	after(s.clk, time.Second, func() { assert.NoError(s, do(fault, simbench.Place{})) })
}

func (s fastHands) supply(on bool) {
	do := map[bool]func(simbench.Fault, simbench.Place) error{false: s.bench.Inject, true: s.bench.Clear}[on]
	after(s.clk, time.Second, func() { assert.NoError(s, do(simbench.UnitRestarts, simbench.Place{Unit: simbench.UnitPower})) })
}

func (s fastHands) dip() { after(s.clk, time.Second, func() { s.bench.DipMelt(0, 60) }) }
func (s fastHands) dry() { s.bench.PutMeltBack(0) }

// soon is how long a busy computer is waited for.
const soon = time.Minute

// lately is a day that is not long ago.
var lately = time.Now().AddDate(0, 0, -20).Format(time.DateOnly)

// theAnswers are invented; the empty line says that they are right.
var theAnswers = "a limiter on each plate\n280 C\nthe owner, " + lately + "\n16 A breaker in the box\n30 mA device in the box\nthe owner, " + lately + "\n" +
	"braid to every plate\nthe electrician, " + lately + "\nmushroom at the edge\nthe owner, " + lately + "\nlatching relay with a button\nevery plate, nothing else\n" +
	"fan to the yard\nfoam at the door, lids on the shelf\nhook beside the bench\nthe electrician, " + lately + "\n\n"

// onePot is the bench file of a simulated bench with one pot; the recipe beside it is
// the demo's first colour.
const onePot = `name: small bench
recipe: recipe.yaml
supply: {voltage: 120 V, breaker: 20 A}
pots: [{name: left, heater: {power: 800 W}}]
protection: {cut-out: invented, fuse: invented, e-stop: invented, earth: invented}
lines: [{name: a, port: "PORT"}]
devices:
  - {name: probes, line: a, unit: 1, timeout: 800 ms}
  - {name: power, line: a, unit: 2, timeout: 800 ms}
  - {name: contacts, line: a, unit: 3, timeout: 800 ms}
channels:
  - {role: melt, pot: left, device: probes, function: 4, address: 0, type: int16, scale: 0.1, unit: C}
  - {role: plate, pot: left, device: probes, function: 4, address: 1, type: int16, scale: 0.1, unit: C}
  - {role: heater, pot: left, device: power, function: 16, address: 0, type: uint16, scale: 0.0001, unit: fraction}
  - {role: contactor, device: power, function: 5, address: 0, type: bit}
  - {role: e-stop, device: contacts, function: 2, address: 0, type: bit}
  - {role: cut-out, device: contacts, function: 2, address: 1, type: bit}
  - {role: enable, device: contacts, function: 2, address: 4, type: bit}
`

// onePotRecipe is invented.
const onePotRecipe = `name: slate stick
colours:
  - {name: slate, pot: left, position: whole, base: invented, volume: 200 mL, setpoint: 168 C, cure: {temperature: 172 C}}
`

// fastBench is a simulated bench of one pot behind a pseudo-terminal, ten times
// faster than the wall, and its bench file.
func fastBench(t *testing.T) (*simbench.Bench, *clock.Clock, string) {
	t.Helper()
	clk := clock.New(10)
	bench, err := simbench.New(simbench.Config{Seed: 1, Pots: []simbench.Pot{{Name: "left", VolumeML: 200, HeaterW: 800}}}, clk)
	require.NoError(t, err)
	terminal, err := simbench.OpenTerminal()
	require.NoError(t, err)
	ctx, end := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- bench.Serve(ctx, terminal) }()
	t.Cleanup(func() {
		end()
		assert.NoError(t, <-served)
		assert.NoError(t, terminal.Close())
	})
	return bench, clk, small(t, terminal.Path())
}

// small writes the small bench's two files and returns the path of the bench file.
func small(t *testing.T, port string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "bench.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(onePot, "PORT", port, 1)), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(file), "recipe.yaml"), []byte(onePotRecipe), 0o600))
	return file
}

// edit replaces every occurrence in a file.
func edit(t *testing.T, file, old, new string) {
	t.Helper()
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, string(text), old)
	require.NoError(t, os.WriteFile(file, []byte(strings.ReplaceAll(string(text), old, new)), 0o600))
}

// inBackground runs a command until end is called.
func inBackground(t *testing.T, c *cobra.Command, out io.Writer, args ...string) (end func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	c.SetArgs(args)
	c.SetOut(out)
	c.SetErr(out)
	c.SilenceUsage, c.SilenceErrors = true, true
	over := make(chan error, 1)
	go func() { over <- c.ExecuteContext(ctx) }()
	end = sync.OnceValue(func() error { cancel(); return <-over })
	t.Cleanup(func() { _ = end() })
	return end
}

func statusOf(t *testing.T, file, folder string) commission.Status {
	t.Helper()
	out, err := run(t.Context(), "commission", "--config", file, "--data", folder, "--status", "--json")
	var s commission.Status
	require.NoError(t, json.Unmarshal([]byte(out), &s), out)
	require.Equal(t, s.Complete, err == nil, "the exit status says it as well: %v", err)
	return s
}

// nudged puts on record that heaters have been nudged, and all melt probes but the first
// tried: minutes of bench time, which the commissioning's own tests pass in virtual time.
func nudged(t *testing.T, file, folder string, pots ...string) {
	t.Helper()
	onRecord(t, file, folder, nudges(pots...))
}

func nudges(pots ...string) (done commission.Record) {
	for _, pot := range pots {
		done.Nudges = append(done.Nudges, commission.Nudge{Pot: pot, At: time.Now(), Result: commission.Right, OpenS: 45, HeatedS: 30})
	}
	for _, pot := range pots[1:] {
		done.Melts = append(done.Melts, dipped(pot))
	}
	return done
}

func dipped(pot string) commission.Dip {
	return commission.Dip{Pot: pot, At: time.Now(), Result: commission.Right, ThermometerC: new(60.0), ShownC: new(60.0)}
}

// onRecord keeps a record of what was done at the bench of a file.
func onRecord(t *testing.T, file, folder string, done commission.Record) {
	t.Helper()
	bench, err := config.LoadBench(file, nil)
	require.NoError(t, err)
	done.Digest, done.Saved = commission.Digest(bench), time.Now()
	record, err := json.Marshal(done)
	require.NoError(t, err)
	past, err := history.Open(folder)
	require.NoError(t, err)
	require.NoError(t, past.KeepCommission(history.Commission{At: time.Now(), Program: "test", Record: string(record)}))
	require.NoError(t, past.Close())
}

// TestCommissionThenServeHeats: over a real pseudo-terminal a bench is commissioned,
// and then heated after a press of its button; not before, and not once its file has
// changed.
func TestCommissionThenServeHeats(t *testing.T) {
	t.Parallel()
	bench, clk, file := fastBench(t)
	folder := t.TempDir()
	require.False(t, statusOf(t, file, folder).Complete)

	nudged(t, file, folder, "left")
	began := time.Now()
	person := &owner{hands: fastHands{t, bench, clk}}
	c := commissionAt(clk)
	c.SetIn(strings.NewReader(theAnswers + cups))
	c.SetArgs([]string{"--config", file, "--data", folder})
	c.SetOut(person)
	require.NoError(t, c.ExecuteContext(t.Context()), person)
	status := statusOf(t, file, folder)
	require.True(t, status.Complete, status.Missing)
	require.Empty(t, status.Warnings)
	t.Logf("commissioned in %v of wall time, let go after %v s", time.Since(began).Round(time.Second), status.Record.Proofs[0].LetGoS)

	said := &tap{}
	heat := func() float64 { return bench.Truth().Pots[0].HeatJ }
	end := inBackground(t, serveAt(clk), said, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "can switch heat on. On record since") }, soon, 10*time.Millisecond, said)
	require.Contains(t, oneLine(said.String()), "melt probe left is on its own channel and no other, shows ")
	require.Contains(t, oneLine(said.String()), "heater left is behind the contactor, and warms plate left and no other")
	for line := range strings.Lines(said.String()) {
		if !strings.HasPrefix(line, "time=") { // its log
			require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), lines.Wide, line)
		}
	}
	require.Contains(t, said.String(), "never replaces them")
	before, at := heat(), bench.Truth().At
	require.Eventually(t, func() bool { return bench.Truth().At > at+5*time.Second }, soon, 10*time.Millisecond)
	require.Equal(t, before, heat(), "nobody has pressed")
	heatsAfterPress(t, bench, clk, said)
	require.NoError(t, end())
	require.False(t, bench.Truth().Contactor)

	edit(t, file, "power: 800 W", "power: 900 W")
	require.Contains(t, strings.Join(statusOf(t, file, folder).Missing, "\n"), "the bench file has changed since")
	end = inBackground(t, serveAt(clk), said, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "Heat is refused") }, soon, 10*time.Millisecond)
	before, at = heat(), bench.Truth().At
	bench.PressEnable()
	require.Eventually(t, func() bool { return bench.Truth().At > at+10*time.Second }, soon, 10*time.Millisecond)
	require.Equal(t, before, heat())
	require.NoError(t, end())
}

// heatsAfterPress presses the button, and the bench is heated. On a busy computer a cycle is
// missed now and then, which voids a press: a person presses again, and here no more than twice.
func heatsAfterPress(t *testing.T, bench *simbench.Bench, clk *clock.Clock, said *tap) {
	t.Helper()
	before := bench.Truth().Pots[0].HeatJ
	for press := 1; press <= 3; press++ {
		bench.PressEnable()
		require.True(t, clk.Sleep(t.Context(), 10*time.Second))
		if bench.Truth().Pots[0].HeatJ > before {
			t.Logf("heated after press %d", press)
			return
		}
	}
	require.Fail(t, "pressed three times, and not heated", said.String())
}

func TestCommissionMistakes(t *testing.T) {
	file := benchIn(t, t.TempDir(), "/dev/there-is-no-such-port")
	folder := t.TempDir()
	for want, args := range map[string][]string{
		"--json: add --status":  {"--config", file, "--json"},
		"give only one of them": {"--config", file, "--status", "--anew"},
		"no such file":          {"--config", filepath.Join(folder, "none.yaml"), "--status"},
		"stopped; what was":     {"--config", filepath.Join(folder, "none.yaml")},
		"cut-out: not answered": {"--config", file, "--data", folder},
	} {
		_, err := run(t.Context(), append([]string{"commission"}, args...)...)
		require.ErrorContains(t, err, want)
	}
	c := commissionAt(clock.New(20)) // it waits ten seconds for the port
	c.SetIn(strings.NewReader(theAnswers))
	c.SetArgs([]string{"--config", file, "--data", folder})
	c.SetOut(io.Discard)
	c.SilenceUsage, c.SilenceErrors = true, true
	require.ErrorContains(t, c.ExecuteContext(t.Context()), "is the adapter plugged in")
	out, err := run(t.Context(), "commission", "--config", file, "--data", folder, "--status")
	require.ErrorContains(t, err, "not all that heat needs is on record")
	require.Contains(t, out, "extraction: fan to the yard")
	require.Contains(t, out, "device power: not tried whether it reports its outputs off")
}
