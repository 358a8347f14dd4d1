//go:build linux

package recognise

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/console"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/readout"
)

// panel has eight discrete inputs, of which a hand presses some: an emergency stop at 3, an
// enable button at 5, and at 7 a bit that changes by itself.
type panel struct {
	clk   *clock.Clock
	began map[uint16]time.Duration // when the hand went to each
	asked []modbus.Request
}

func (p *panel) Exchange(_ *modbus.Device, r modbus.Request) ([]byte, error) {
	p.asked = append(p.asked, r)
	if r.Function != modbus.ReadInputs {
		return nil, modbus.Exception{Code: modbus.IllegalFunction}
	}
	if int(r.Address)+int(r.Quantity) > 8 {
		return nil, modbus.Exception{Code: modbus.IllegalDataAddress}
	}
	var bits []bool
	for at := r.Address; at < r.Address+r.Quantity; at++ {
		bits = append(bits, p.on(at))
	}
	return modbus.AppendBits(nil, bits...), nil
}

// on reports what an input reads: three presses, of two seconds each, after one second.
func (p *panel) on(at uint16) bool {
	since := time.Duration(-1)
	if began, is := p.began[at]; is {
		since = p.clk.Now() - began - time.Second
	}
	pressed := since >= 0 && since < 12*time.Second && since%(4*time.Second) < 2*time.Second
	switch at {
	case 3:
		return !pressed
	case 7:
		return p.clk.Now()%(3*time.Second) < time.Second
	}
	return pressed
}

// presser is an output that presses what it is told to press.
type presser struct {
	text  bytes.Buffer
	panel *panel
}

func (o *presser) Write(b []byte) (int, error) {
	for words, at := range map[string]uint16{"Press the emergency stop": 3, "Press the enable button": 5} {
		if _, is := o.panel.began[at]; !is && strings.Contains(string(b), words) {
			o.panel.began[at] = o.panel.clk.Now()
		}
	}
	return o.text.Write(b)
}

// pressed leads a session at the panel in virtual time.
func pressed(t *testing.T, o Options) (said string, p *panel) {
	t.Helper()
	spans, err := readout.Spans([]uint8{2, 1}, 4, 4)
	require.NoError(t, err)
	o.Clock = clock.New(1)
	p = &panel{clk: o.Clock, began: map[uint16]time.Duration{}}
	out := &presser{panel: p}
	o.Out, o.Words, o.From, o.Device = out, out, 4, "inputs"
	if o.AsJSON {
		o.Words = &presser{panel: p}
	}
	o.Reader = readout.New(p, &modbus.Device{Unit: 1}, spans, o.Clock)
	o.Wiring = []string{"lines: [{name: a, port: x}]", "devices: [{name: inputs, line: a, unit: 1}]"}
	o.Size = func() console.Size { return console.Small }
	require.NoError(t, RunContacts(t.Context(), o))
	return out.text.String(), p
}

// TestAMakerPresses in plain lines, to lines that a bench file takes; nothing is written.
func TestAMakerPresses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		said, p := pressed(t, Options{Contacts: []string{"e-stop", "enable", "cut-out", "draw-button left"}})
		for _, want := range []string{
			"The heaters' supply is off? Then leave all alone for some twelve seconds:", "1 of 4: Press the emergency stop, release it: three times",
			"  discrete input 3 moved, 1 of 3\n  discrete input 3 moved, 2 of 3\n  discrete input 3 moved, 3 of 3\n2 of 4: ",
			"3 of 4: Open the cut-out", "  Nothing moved for a minute.\n4 of 4: Press the draw-button of left, let go", "Leave all alone once more",
			"  e-stop: discrete input 3, which a manual that counts from 1 calls 4, or\n    10004; 1 at rest, 0 when pressed\n",
			"  cut-out: NOT TOLD: nothing moved: is it wired to this device", "- You asked from 4 on, and discrete input 3 is before it: your manual counts",
			"taken for no contact: discrete\n  input 7.", "- The device refuses discrete input 8: refused: illegal data address", "- The device refuses coils 3 to 8: refused: illegal function",
		} {
			assert.Contains(t, said, want)
		}
		for line := range strings.Lines(said) {
			if !strings.HasPrefix(line, "  - {") {
				assert.LessOrEqual(t, len([]rune(line)), 80, line)
			}
		}
		_, lines, found := strings.Cut(said, "# For the bench file:\n")
		require.True(t, found)
		rest := "name: x\nrecipe: r.yaml\nsupply: {voltage: 120 V, breaker: 20 A}\npots: [{name: left, heater: {power: 800 W}}]\n" +
			"protection: {cut-out: x, fuse: x, e-stop: x, earth: x}\n" + lines +
			"  - {role: melt, pot: left, device: inputs, function: 4, address: 0, type: int16, unit: C}\n" +
			"  - {role: plate, pot: left, device: inputs, function: 4, address: 1, type: int16, unit: C}\n" +
			"  - {role: heater, pot: left, device: inputs, function: 5, address: 0, type: bit}\n"
		b, err := config.ParseBench("bench.yaml", []byte(rest), nil)
		require.NoError(t, err)
		assert.Equal(t, []uint16{3, 5}, []uint16{b.Channels[0].Address, b.Channels[1].Address})
		for _, r := range p.asked {
			assert.False(t, r.Writes())
		}
	})
}

// TestPressingOnAScreen draws what was moved and every bit in place.
func TestPressingOnAScreen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		said, _ := pressed(t, Options{Contacts: []string{"enable"}, Screen: true})
		assert.Contains(t, said, "  discrete input 5 moved, 2 of 3")
		assert.Contains(t, said, "discrete inputs (function 2), from the address on the wire on")
		assert.Contains(t, said, "     3  1 0 0 0 ")
	})
}

// TestPressedAsJSON is an object by itself.
func TestPressedAsJSON(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		said, _ := pressed(t, Options{Contacts: []string{"e-stop"}, AsJSON: true})
		var o struct {
			Result struct {
				Contacts []struct {
					Name string
					Told bool
					Rest bool
					Bit  struct{ Function, Address int }
				}
			}
			Channels, Refused []string
			Numbering         string
		}
		require.NoError(t, json.Unmarshal([]byte(said), &o), said)
		require.Len(t, o.Result.Contacts, 1)
		assert.True(t, o.Result.Contacts[0].Told && o.Result.Contacts[0].Rest)
		assert.Equal(t, 3, o.Result.Contacts[0].Bit.Address)
		assert.Len(t, o.Channels, 1)
		assert.Contains(t, o.Numbering, "counts from 1")
	})
}

// TestNumbersOfAnUnknownPanel: independent peer pymodbus 3.0.0 (Debian 12), with a map that
// only its source tells, twenty times faster than real time, over a pseudo-terminal.
func TestNumbersOfAnUnknownPanel(t *testing.T) {
	d := &modbus.Device{Name: "panel", Unit: 9, Timeout: 3 * time.Second}
	in, client, clk := unknown(t, "press/panel.py", d, modbus.ReadInputs)
	spans, err := readout.Spans([]uint8{2, 1, 4, 3}, 1, 11)
	require.NoError(t, err)
	out := &order{in: in}
	require.NoError(t, RunContacts(t.Context(), Options{
		Reader: readout.New(client, d, spans, clk), Clock: clk, Contacts: []string{"e-stop", "pedal"}, Device: "panel", Out: out, Words: out,
	}))
	said := out.text.String()
	t.Log(said)
	assert.Contains(t, said, "  e-stop: discrete input 6, ")
	assert.Contains(t, said, "  pedal: bit 9 (mask 0x0200) of holding register 1, ")
	assert.Contains(t, said, "{role: pedal, device: panel, function: 3, address: 1, type: bit, mask: 0x0200} # 0 at rest, 1 when pressed")
	assert.Contains(t, said, "discrete\n  input 4, holding register 2 (a number).")
	assert.Contains(t, said, "refuses coils 0 to 12")
}

// order is an output that has the peer press what is told.
type order struct {
	text bytes.Buffer
	in   io.Writer
}

func (o *order) Write(p []byte) (int, error) {
	for words, name := range map[string]string{"Press the emergency stop": "e-stop", "Press the pedal": "pedal"} {
		if strings.Contains(string(p), words) {
			fmt.Fprintln(o.in, "press", name)
		}
	}
	return o.text.Write(p)
}
