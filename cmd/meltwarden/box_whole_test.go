//go:build linux

package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// builder is a person with a box of parts: reads what the program asks, answers in plain lines,
// and does with the hands of the box what the program says.
type builder struct {
	*parts
	tap
	keys io.Writer
	file string // the bench file to be
	ctx  context.Context
	busy sync.WaitGroup // what hands do meanwhile, until ctx ends
	quit context.CancelCauseFunc

	mu      sync.Mutex
	since   string // what was said since the last answer
	answer  string // the last one
	again   int    // how often it was given
	presses int
	coldC   float64 // the warmest plate before the first press
}

// mostAgain is how often an answer that was not taken is given once more: a busy computer
// makes a line too slow for it.
const mostAgain = 20

// fails ends all that goes on: nobody knows how to go on, which is no lateness.
func (m *builder) fails(err error) { m.quit(fmt.Errorf("the builder is lost: %w", err)) }

// meanwhile has hands do something beside what is read and typed.
func (m *builder) meanwhile(do func(ctx context.Context) error) {
	ctx := m.ctx
	m.busy.Go(func() {
		if err := do(ctx); err != nil && ctx.Err() == nil {
			m.fails(err)
		}
	})
}

// Write implements io.Writer.
func (m *builder) Write(p []byte) (int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.acts(oneLine(string(p)))
	m.since += string(p)
	if strings.HasSuffix(m.since, "> ") {
		m.types(oneLine(m.since))
		m.since = ""
	}
	return m.tap.Write(p)
}

// types answers the question that stands last in some words. One that nobody knows is an
// answer that was not taken, or a new one, which has to be seen.
func (m *builder) types(words string) {
	last, line := -1, m.answer
	for asks, types := range m.answers() {
		if at := strings.LastIndex(words, asks); at > last {
			last, line = at, types
		}
	}
	if m.again++; last >= 0 {
		m.again = 0
	}
	refused := strings.Contains(words, "Not taken: ") || strings.Contains(words, "Not accepted: ")
	if last < 0 && !refused || m.again > mostAgain {
		m.fails(fmt.Errorf("no answer to %q", words))
		return
	}
	m.answer = line
	keys := m.keys
	m.busy.Go(func() { _, _ = io.WriteString(keys, line+"\n") }) // until the program has ended
}

// answers are what is typed, by what is asked. Words on protection are invented; where heaters
// are is in the sheets of the box, and which probe or contact is where nobody has told.
func (m *builder) answers() map[string]string {
	d := m.Devices
	way := "number"
	if d.Outputs.Relays {
		way = "coil"
	}
	all := map[string]string{
		"What is the bench called?": "bench from a box", "Which unit do you read": "C", "Which voltage": "120 V", "Which breaker": "15 A",
		"How do you call the pots": boxPot, "Which thermocouples has pot": "both",
		"An independent over-temperature cut-out": "a limiter on each plate", "A fuse or breaker suits": "15 A breaker in the box",
		"can be touched, are connected": "braid to every plate", "An emergency stop within reach": "mushroom at the edge",
		"On which serial port": m.paths[0], "How is the bench file to know this adapter": "name",
		"Which speed and parity": "", "Which unit numbers": "", "another serial adapter?": "no",
		fmt.Sprintf("call unit %d?", d.Thermocouples.Unit): "thermocouples", fmt.Sprintf("call unit %d?", d.Outputs.Unit): "outputs", fmt.Sprintf("call unit %d?", d.Inputs.Unit): "inputs",
		"Which device reads the probes?": "thermocouples", "From which address on are they looked for?": "0", "Are these the right readings?": "yes",
		"Is it off?":             "yes",
		"besides emergency stop": "none", "Which device reads the contacts": "inputs", "Is the heaters' supply off?": "yes", "Are these the right contacts?": "yes",
		"Which device switches the heaters?": "outputs", "How is a heater told": way, "By which function is it written?": "16", "Which number means full power?": fmt.Sprint(d.Outputs.Full),
		"What does a heater draw": "smooth", "By which function is the coil written?": "5", "What switches the heater behind it?": "solid-state",
		"Which device switches the contactor?": "outputs", "By which function is the contactor's coil": "5", "the coil that closes the contactor?": fmt.Sprint(d.Outputs.Addresses["contactor"]),
		"Which recipe": "begin", "How much liquid vinyl": "40 mL", "be written now?": "yes", "Is the emergency stop pressed?": "yes", "Calibrate the probes now?": "no",
		"does it open? Such as": "280 C", "Who tried it": "the owner, " + lately, "The bench is behind a residual-current device": "30 mA device in the box",
		"Who pressed its test button": "the owner, " + lately, "Who measured it": "the electrician, " + lately, "Releasing the emergency stop leaves": "latching relay with a button",
		"goes through the one contactor": "every plate, nothing else", "An extraction takes": "fan to the yard", "A fire extinguisher": "foam at the door, lids on the shelf",
		"heat-proof gauntlets": "hook beside the bench", "Which licensed electrician": "the electrician, " + lately, "Is every answer right?": "",
		"What does a thermometer in the same cup say?": "56 C", "When it is dry, type: dry": "dry",
	}
	all["has the heater of pot "+boxPot] = fmt.Sprintf("%d W", m.Watts[boxPot])
	all["is the heater of pot "+boxPot] = fmt.Sprint(d.Outputs.Addresses["heater "+boxPot])
	for _, usual := range []string{"look", "hold", "see", "press"} {
		all["Enter takes "+usual] = "" // also once more, where the line was too slow
	}
	return all
}

// acts does what some words say.
func (m *builder) acts(words string) {
	for probe := range m.Devices.Thermocouples.Addresses {
		m.when(words, "hold the tip of "+probe+" in your hand", "hold "+probe)
		m.when(words, "Take one wire of "+probe+" off", "take off "+probe)
	}
	m.when(words, "Hold the tip of the melt probe of pot "+boxPot+" in the water", "dip melt "+boxPot)
	for says, hands := range map[string][2]string{
		"Press the emergency stop, release it": {"open e-stop", "close e-stop"}, "Open the cut-out (its test button": {"open cut-out", "close cut-out"},
		"Press the enable button, let go": {"press enable", "release enable"},
	} {
		if strings.Contains(words, says) {
			m.thrice(hands[0], hands[1])
		}
	}
	m.when(words, "Lay it down", "let go")
	m.when(words, "Are these the right readings?", "let go")
	m.when(words, "Put the wire back on", "put on melt "+boxPot)
	m.when(words, "The emergency stop has to be released for this", "close e-stop")
	m.when(words, "Is the heaters' supply off?", "mains off")
	m.when(words, "PRESS THE EMERGENCY STOP again", "open e-stop")
	m.when(words, "The heaters' supply has to be on", "mains on")
	m.when(words, "Is the emergency stop pressed?", "open e-stop")
	if strings.Contains(words, "Is the emergency stop pressed?") {
		m.sees(m.patient())
	}
	m.when(words, "Release the emergency stop, and reset", "close e-stop")
	m.when(words, "Press the emergency stop.", "open e-stop")
	m.when(words, "Release it.", "close e-stop")
	m.when(words, "Open the cut-out: press", "open cut-out")
	m.when(words, "Turn its setting back", "close cut-out")
	m.when(words, "Switch the supply of device", "supply off outputs")
	m.when(words, "It is off. Switch it on", "supply on outputs")
	m.when(words, "Take the tip out and DRY IT", "put back")
	if strings.Contains(words, "Press the bench's enable button") || strings.Contains(words, "Still waiting for a press") {
		if m.presses++; m.presses == 1 {
			m.coldC = m.warmest()
		}
		m.press()
	}
}

// patient lets devices take their time by the bench file that was just written, which is whole
// as it is. So what heats has other time-outs than were proposed: at this speed those are some
// milliseconds at the wall, and both ends of the line wait for a processor that others use too.
func (m *builder) patient() error {
	if _, err := config.LoadBench(m.file, nil); err != nil {
		return err
	}
	text, err := os.ReadFile(m.file)
	if err != nil {
		return err
	}
	text = regexp.MustCompile(`timeout: \d+ ms`).ReplaceAll(text, []byte("timeout: 800 ms"))
	return os.WriteFile(m.file, text, 0o600)
}

func (m *builder) when(words, says, hands string) {
	if strings.Contains(words, says) {
		m.sees(m.hands(hands))
	}
}

// sees to it that what went wrong ends the session.
func (m *builder) sees(err error) {
	if err != nil {
		m.fails(err)
	}
}

// thrice presses a contact three times, for two seconds and a half each.
func (m *builder) thrice(away, back string) {
	m.meanwhile(func(ctx context.Context) error {
		defer func() { m.sees(m.hands(back)) }() // also where it is broken off
		for range 3 {
			for _, hands := range []string{back, away} {
				if err := m.hands(hands); err != nil {
					return err
				}
				if !m.clk.Sleep(ctx, 2500*time.Millisecond) {
					return nil
				}
			}
		}
		return nil
	})
}

// press presses the enable button for a second, two seconds from now.
func (m *builder) press() {
	m.meanwhile(func(ctx context.Context) error {
		if !m.clk.Sleep(ctx, 2*time.Second) {
			return nil
		}
		defer func() { m.sees(m.hands("release enable")) }()
		err := m.hands("press enable")
		m.clk.Sleep(ctx, time.Second)
		return err
	})
}

// warmest is the warmest plate, in °C.
func (m *builder) warmest() float64 {
	m.parts.mu.Lock()
	defer m.parts.mu.Unlock()
	most := 0.0
	for _, c := range m.truth.Plates {
		most = max(most, c)
	}
	return most
}

// tells has time go on in a box for which it is told, as it does for the program.
func (b *parts) tells() {
	ctx, end := context.WithCancel(b.t.Context())
	over := make(chan struct{})
	go func() {
		defer close(over)
		for each := time.NewTicker(2 * time.Millisecond); ctx.Err() == nil; <-each.C {
			_, _ = fmt.Fprintf(b.in, "now %.3f\n", b.clk.Now().Seconds()) // until it ends
		}
	}()
	b.t.Cleanup(func() { end(); <-over })
}

// TestFromTheBoxOfPartsToHeat: with an independent peer (pymodbus 3.0.0 of Debian 12) of a map
// that nobody has told, from no bench file at all through the whole session in plain lines to
// a bench file that is what the box's solution says, a complete record, and a pot that is
// heated. What a busy computer stops is gone on with by the same command, as a person does.
func TestFromTheBoxOfPartsToHeat(t *testing.T) {
	if testing.Short() {
		t.Skip("runs another program for half a minute")
	}
	b := startBox(t, boxSeed, 1, boxSpeed, "--told")
	b.tells()
	b.do("set time-out 1.5")
	file, folder := filepath.Join(t.TempDir(), "bench.yaml"), t.TempDir()
	m := &builder{parts: b, file: file}
	began, runs := time.Now(), 1
	ctx, quit := context.WithCancelCause(t.Context())
	m.ctx, m.quit = ctx, quit
	t.Cleanup(func() { quit(nil); m.busy.Wait() })
	soon, end := context.WithTimeout(ctx, b.patience())
	defer end()
	for err := m.session(soon, folder); err != nil; err = m.session(soon, folder) {
		require.NoError(t, context.Cause(ctx), &m.tap)
		t.Logf("after %v: %v", time.Since(began).Round(time.Second), err)
		require.True(t, b.clk.Sleep(soon, 20*time.Second), &m.tap)
		runs++
	}
	status := statusOf(t, file, folder)
	require.True(t, status.Complete, status.Missing)
	m.matches()
	assert.InDelta(t, 21, m.coldC, 1, "nothing is heated before the first press")
	t.Logf("commissioned in %v of wall time, %v of bench time, %d presses, %d runs of the command", time.Since(began).Round(time.Second), b.clk.Now().Round(time.Second), m.presses, runs)

	said := &tap{}
	stop := inBackground(t, serveAt(b.clk), said, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	b.soon(func() bool { return strings.Contains(said.String(), "can switch heat on. On record since") }, "it may heat")
	next := time.Duration(0)
	b.within(b.patience(), func() bool {
		require.NoError(t, context.Cause(ctx))
		hot := b.draws() > 0
		if now := b.clk.Now(); now > next && !hot {
			next = now + 8*time.Second
			m.press()
		}
		return hot && m.warmest() > 40
	}, said)
	require.NoError(t, stop())
	b.soon(func() bool { return b.draws() == 0 }, "off at the end")
}

// draws is what all heaters draw, in watts.
func (b *parts) draws() (sum float64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, watts := range b.truth.Heaters {
		sum += watts
	}
	return sum
}

// One pot and no fan switch: the session has all its steps, and takes a third of the time.
const (
	boxSeed  = 90
	boxSpeed = 30
	boxPot   = "left"
)

// patience is how long a busy computer is waited for, whose fast clock may come down to real
// time: as long as this test may take.
func (b *parts) patience() time.Duration {
	const most, toEnd = 12 * time.Minute, 20 * time.Second
	if end, is := b.t.Deadline(); is {
		return min(most, time.Until(end)-toEnd)
	}
	return most
}

// session runs the command once, with all as it was before.
func (m *builder) session(ctx context.Context, folder string) error {
	for _, hands := range []string{"let go", "put back", "put on melt " + boxPot, "close e-stop", "close cut-out", "release", "supply on all", "mains on"} {
		m.do(hands)
	}
	ctx, over := context.WithCancel(ctx)
	before := m.ctx
	m.ctx = ctx
	in, keys := io.Pipe()
	defer func() {
		over()
		_ = in.Close()
		m.busy.Wait() // nothing of this session reaches into the next
		m.ctx = before
	}()
	m.keys, m.since, m.again = keys, "", 0
	c := commissionAt(m.clk)
	c.SetIn(in)
	c.SetArgs([]string{"--config", m.file, "--data", folder})
	c.SetOut(m)
	c.SetErr(m)
	c.SilenceUsage, c.SilenceErrors = true, true
	return c.ExecuteContext(ctx)
}

// matches holds a bench file against the solution of the box.
func (m *builder) matches() {
	t := m.parts.t
	bench, err := config.LoadBench(m.file, nil)
	require.NoError(t, err)
	probes, outputs, inputs := m.Devices.Thermocouples, m.Devices.Outputs, m.Devices.Inputs
	for _, c := range bench.Channels {
		name := strings.TrimSpace(string(c.Role) + " " + c.Pot)
		switch c.Role {
		case registers.Melt, registers.Plate:
			assert.Equal(t, []any{"thermocouples", uint8(probes.Function), probes.Addresses[name], probes.Type, probes.Scale, probes.Degrees}, []any{c.Device, c.Function, c.Address, c.Type, c.Scale, c.Unit}, name)
		case registers.Heater, registers.Contactor:
			assert.Equal(t, []any{"outputs", outputs.Addresses[name]}, []any{c.Device, c.Address}, name)
		default:
			assert.Equal(t, []any{"inputs", uint8(modbus.ReadInputs), inputs.Addresses[name]}, []any{c.Device, c.Function, c.Address}, name)
		}
	}
	assert.Len(t, bench.Channels, 3+1+3)
}
