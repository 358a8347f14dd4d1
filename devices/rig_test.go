package devices_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/control"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/farend"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/registers"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	probes  = 1 // the unit of the thermocouple module
	heaters = 2 // the unit of the output module
	period  = 200 * time.Millisecond
	patient = 120 * time.Millisecond
	timeout = 100 * time.Millisecond
)

// asked is a request as a unit got it.
type asked struct {
	at time.Duration // since the rig was made
	modbus.Request
}

// rig is a far end of lines whose devices do as a test says.
type rig struct {
	start time.Time

	mu      sync.Mutex
	words   map[uint8]map[uint16]uint16
	bits    map[uint8]map[uint16]bool
	silent  map[uint8]bool
	refuses map[uint8]bool
	spoils  func(r modbus.Request, good []byte) []byte // makes of a reply what it likes
	takes   func(bytes int) time.Duration              // from the first byte of a request to the last of its reply
	log     []asked
	ends    []*pipe.End // the far ends of the openings, in order
	names   []string    // the lines that they are of
	deaf    bool        // nobody reads at the far end
	absent  error       // why a port does not open
	opening chan struct{}
}

func newRig() *rig {
	return &rig{
		start: time.Now(),
		words: map[uint8]map[uint16]uint16{}, bits: map[uint8]map[uint16]bool{},
		silent: map[uint8]bool{}, refuses: map[uint8]bool{},
	}
}

// do changes the rig.
func (g *rig) do(change func()) {
	g.mu.Lock()
	defer g.mu.Unlock()
	change()
}

// open is the opener of all lines.
func (g *rig) open(l devices.LineConfig) (modbus.Port, error) {
	if g.opening != nil {
		<-g.opening
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.absent != nil {
		return nil, g.absent
	}
	near, far := pipe.New()
	g.ends, g.names = append(g.ends, far), append(g.names, l.Name)
	if !g.deaf {
		go g.serve(far)
	}
	return near, nil
}

// serve answers on one line until it closes.
func (g *rig) serve(end *pipe.End) {
	farend.Serve(end, func(r modbus.Request) []byte {
		reply := g.answer(r)
		span := 2 * time.Millisecond
		if g.takes != nil {
			span = g.takes(len(r.Append(nil)) + len(reply))
		}
		time.Sleep(span)
		return reply
	})
}

func (g *rig) answer(r modbus.Request) []byte {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.log = append(g.log, asked{time.Since(g.start), r})
	reply := g.obey(r)
	if g.spoils != nil {
		reply = g.spoils(r, reply)
	}
	return reply
}

// obey does what a request says and returns the reply.
func (g *rig) obey(r modbus.Request) []byte {
	switch {
	case g.silent[r.Unit]:
		return nil
	case g.refuses[r.Unit]:
		return r.AppendException(nil, modbus.Exception{Code: modbus.IllegalDataAddress})
	case r.Writes():
		g.keep(r)
		return r.AppendReply(nil, nil)
	}
	var data []byte
	var bits []bool
	for i := range r.Quantity {
		if r.Function <= modbus.ReadInputs {
			bits = append(bits, g.bits[r.Unit][r.Address+i])
		} else {
			data = modbus.AppendRegisters(data, g.words[r.Unit][r.Address+i])
		}
	}
	return r.AppendReply(nil, modbus.AppendBits(data, bits...))
}

// keep does what a write says.
func (g *rig) keep(r modbus.Request) {
	if g.words[r.Unit] == nil {
		g.words[r.Unit], g.bits[r.Unit] = map[uint16]uint16{}, map[uint16]bool{}
	}
	switch r.Function {
	case modbus.WriteCoil:
		g.bits[r.Unit][r.Address] = r.Data[0] != 0
	case modbus.WriteCoils:
		for i, on := range modbus.Bits(r.Data, int(r.Quantity)) {
			g.bits[r.Unit][r.Address+uint16(i)] = on
		}
	default:
		for i, v := range modbus.Registers(r.Data) {
			g.words[r.Unit][r.Address+uint16(i)] = v
		}
	}
}

// set gives a unit's registers values, from an address on.
func (g *rig) set(unit uint8, address uint16, values ...uint16) {
	g.do(func() {
		if g.words[unit] == nil {
			g.words[unit], g.bits[unit] = map[uint16]uint16{}, map[uint16]bool{}
		}
		for i, v := range values {
			g.words[unit][address+uint16(i)] = v
		}
	})
}

// duties returns the two heaters' registers and the contactor's coil.
func (g *rig) duties() (first, second uint16, contactor bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.words[heaters][0], g.words[heaters][1], g.bits[heaters][0]
}

// writes returns the requests to the heaters' registers since a time.
func (g *rig) writes(since time.Duration) []asked {
	g.mu.Lock()
	defer g.mu.Unlock()
	var some []asked
	for _, a := range g.log {
		if a.Unit == heaters && a.Function == modbus.WriteRegisters && a.at >= since {
			some = append(some, a)
		}
	}
	return some
}

func (g *rig) now() time.Duration { return time.Since(g.start) }

// hangUp ends the latest opening from the far end.
func (g *rig) hangUp() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.ends[len(g.ends)-1].Close()
}

func number(role registers.Role, pot string, device string, function uint8, address uint16, scale float64, unit registers.Unit) registers.Channel {
	return registers.Channel{
		Role: role, Pot: pot, Device: device, Function: function, Address: address, Type: registers.Int16,
		Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: scale, Unit: unit,
	}
}

func bit(role registers.Role, device string, function uint8, address uint16) registers.Channel {
	return registers.Channel{Role: role, Device: device, Function: function, Address: address, Type: registers.Bit, Scale: 1}
}

// benchConfig is a bench with two pots, a module for probes and one for outputs.
func benchConfig() devices.Config {
	return devices.Config{
		Lines: []devices.LineConfig{{Name: "line", Port: "invented", Baud: 19200, Parity: "even", StopBits: 1}},
		Devices: []devices.DeviceConfig{
			{Name: "probes", Line: "line", Unit: probes, Timeout: timeout},
			{Name: "outputs", Line: "line", Unit: heaters, Timeout: timeout},
		},
		Pots: []string{"left", "right"},
		Channels: []registers.Channel{
			number(registers.Melt, "left", "probes", modbus.ReadInput, 0, 0.1, registers.Celsius),
			number(registers.Plate, "left", "probes", modbus.ReadInput, 1, 0.1, registers.Celsius),
			number(registers.Melt, "right", "probes", modbus.ReadInput, 2, 0.1, registers.Celsius),
			number(registers.Plate, "right", "probes", modbus.ReadInput, 3, 0.1, registers.Celsius),
			bit(registers.EStop, "outputs", modbus.ReadInputs, 8),
			number(registers.Heater, "left", "outputs", modbus.WriteRegisters, 0, 0.001, registers.Fraction),
			number(registers.Heater, "right", "outputs", modbus.WriteRegisters, 1, 0.001, registers.Fraction),
			bit(registers.Contactor, "outputs", modbus.WriteCoil, 0),
			bit(registers.Lamp, "outputs", modbus.WriteCoil, 1),
		},
	}
}

// bench runs a test on a bus in virtual time.
func bench(t *testing.T, cfg devices.Config, prepare func(g *rig), test func(t *testing.T, g *rig, b *devices.Bus, clk *clock.Clock)) {
	synctest.Test(t, func(t *testing.T) {
		g := newRig()
		if prepare != nil {
			prepare(g)
		}
		clk := clock.New(1)
		b, err := devices.Open(cfg, g.open, clk)
		require.NoError(t, err)
		test(t, g, b, clk)
		b.Close(context.Background())
		g.do(func() {
			for _, end := range g.ends {
				end.Close()
			}
		})
	})
}

// cycles polls and applies, as the daemon does, and returns the last input.
func cycles(b *devices.Bus, clk *clock.Clock, n int, out control.Outputs, each func(control.Input)) control.Input {
	var in control.Input
	due := clk.Now()
	for range n {
		s := b.Poll(context.Background(), patient)
		s.Fill(&in, clk.Now())
		b.Apply(out)
		if each != nil {
			each(in)
		}
		due += period
		clk.Sleep(context.Background(), due-clk.Now())
	}
	return in
}

var errAbsent = errors.New("does not exist")
