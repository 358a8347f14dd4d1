//go:build unix

package plug_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/farend"
	"meltwarden/devices/modbus"
	"meltwarden/devices/plug"
	"meltwarden/devices/ports"
	"meltwarden/devices/ports/hub"
	"meltwarden/devices/registers"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// Invented adapters.
var (
	first  = ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A1", Text: "Serial Adapter"}
	second = ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A2", Text: "Serial Adapter"}
	plain  = ports.Adapter{Vendor: "fff2", Product: "00b1", Text: "Plain Adapter"}
)

// bench is a hub with adapters, each with a module behind it at the far end of a real
// pseudo-terminal. A module's one register is what it is known by.
type bench struct {
	t   *testing.T
	hub *hub.Hub

	mu    sync.Mutex
	near  map[string]string   // the terminals by the names of ports
	far   map[string]*os.File // their far ends
	heard map[uint16]int      // how often each module was asked
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, hub: hub.New(t.TempDir()), near: map[string]string{}, far: map[string]*os.File{}, heard: map[uint16]int{}}
	require.NoError(t, b.hub.Rename(nil))
	t.Cleanup(func() {
		for _, name := range slices.Collect(maps.Keys(b.far)) {
			b.pull(name)
		}
	})
	return b
}

// plug puts an adapter in, with the module of a number behind it.
func (b *bench) plug(a ports.Adapter, socket, name string, module uint16) {
	far, near, err := pty.Open()
	require.NoError(b.t, err)
	b.t.Cleanup(func() { near.Close() })
	b.mu.Lock()
	b.near[name], b.far[name] = near.Name(), far
	b.mu.Unlock()
	go b.answer(far, module)
	require.NoError(b.t, b.hub.Plug(a, socket, name))
}

// pull takes it out.
func (b *bench) pull(name string) {
	require.NoError(b.t, b.hub.Pull(name))
	b.mu.Lock()
	defer b.mu.Unlock()
	require.NoError(b.t, b.far[name].Close())
	delete(b.near, name)
	delete(b.far, name)
}

// answer has a module answer every read with its number, and take every write.
func (b *bench) answer(far *os.File, module uint16) {
	farend.Serve(far, func(r modbus.Request) []byte {
		b.mu.Lock()
		b.heard[module]++
		b.mu.Unlock()
		if r.Writes() {
			return r.AppendReply(nil, nil)
		}
		return r.AppendReply(nil, modbus.AppendRegisters(nil, module))
	})
}

// open opens the terminal that a port's name stands for.
func (b *bench) open(name string, l devices.LineConfig) (modbus.Port, error) {
	b.mu.Lock()
	at, is := b.near[strings.TrimPrefix(name, "/dev/")]
	b.mu.Unlock()
	if !is {
		at = name
	}
	return plug.Serial(at, l)
}

func (b *bench) plugs() *plug.Plugs { return plug.New(ports.Sysfs(b.hub.Root), b.open) }

func line(name string) devices.LineConfig {
	return devices.LineConfig{Name: name, Baud: 19200, Parity: "even", StopBits: 1}
}

func byPort(name, port string) devices.LineConfig {
	l := line(name)
	l.Port = port
	return l
}

func byAdapter(name string, w ports.Wanted) devices.LineConfig {
	l := line(name)
	l.Adapter = w
	return l
}

// opened opens a line and reports under which name; it closes it again.
func opened(t *testing.T, p *plug.Plugs, l devices.LineConfig) string {
	t.Helper()
	port, err := p.Open(l)
	require.NoError(t, err)
	name, _ := port.(devices.Placed).Place()
	require.NoError(t, port.Close())
	return name
}

// refused returns why a line is not opened.
func refused(t *testing.T, p *plug.Plugs, l devices.LineConfig) *devices.Trouble {
	t.Helper()
	_, err := p.Open(l)
	trouble, is := errors.AsType[*devices.Trouble](err)
	require.True(t, is, "%v", err)
	return trouble
}

// TestAnAdapterIsFoundUnderAnyName: unplugged, and in again under another name, in another
// socket, and beside others.
func TestAnAdapterIsFoundUnderAnyName(t *testing.T) {
	b := newBench(t)
	p, l := b.plugs(), byAdapter("a", ports.Wanted{Serial: "A1"})
	assert.Equal(t, devices.Absent, refused(t, p, l).Cause)
	b.plug(first, "1.4", "ttyUSB0", 1)
	assert.Equal(t, "/dev/ttyUSB0", opened(t, p, l))
	b.pull("ttyUSB0")
	b.plug(second, "1.4", "ttyUSB0", 2)
	trouble := refused(t, p, l)
	assert.Equal(t, devices.Absent, trouble.Cause, "the socket is another's now")
	assert.Equal(t, `adapter serial "A1"`, trouble.What)
	assert.ErrorContains(t, trouble, `there are /dev/ttyUSB0 (fff1:0001 serial "A2" in socket 0000:00:14.0/1.4)`)
	b.plug(first, "1.2", "ttyUSB1", 1)
	assert.Equal(t, "/dev/ttyUSB1", opened(t, p, l))
	assert.Equal(t, devices.Several, refused(t, p, byAdapter("b", ports.Wanted{Vendor: "fff1", Product: "0001"})).Cause, "none of two is taken")
}

// TestAnotherAdapterUnderTheName of a port, or one that may be another: the line stays shut
// until the old one is back, or a program has begun anew.
func TestAnotherAdapterUnderTheName(t *testing.T) {
	b := newBench(t)
	p, l := b.plugs(), byPort("a", "/dev/ttyUSB0")
	b.plug(first, "1.4", "ttyUSB0", 1)
	opened(t, p, l)
	b.pull("ttyUSB0")
	trouble := refused(t, p, l)
	assert.Equal(t, devices.Absent, trouble.Cause)
	assert.Equal(t, `adapter fff1:0001 serial "A1" in socket 0000:00:14.0/1.4`, trouble.What)
	b.plug(second, "1.4", "ttyUSB0", 2)
	trouble = refused(t, p, l)
	assert.Equal(t, devices.Exchanged, trouble.Cause)
	assert.ErrorContains(t, trouble, `port /dev/ttyUSB0 is fff1:0001 serial "A2" in socket 0000:00:14.0/1.4 now, and was fff1:0001 serial "A1"`)
	assert.Equal(t, "/dev/ttyUSB0", opened(t, b.plugs(), l), "a program that began anew")
	b.plug(first, "1.2", "ttyUSB1", 1)
	assert.Equal(t, devices.Exchanged, refused(t, p, l).Cause, "a port is named, and it is not looked for elsewhere")
	b.pull("ttyUSB0")
	b.pull("ttyUSB1")
	b.plug(first, "1.2", "ttyUSB0", 1)
	assert.Equal(t, "/dev/ttyUSB0", opened(t, p, l), "the old one, in another socket")
}

// TestAnotherAdapterThanWasCommissioned: a program that begins anew does not open it either.
func TestAnotherAdapterThanWasCommissioned(t *testing.T) {
	b := newBench(t)
	l := byPort("a", "/dev/ttyUSB0")
	b.plug(first, "1.4", "ttyUSB0", 1)
	before := b.plugs()
	opened(t, before, l)
	is, known := before.Seen("a")
	require.True(t, known)
	kept, err := json.Marshal(is) // as a record keeps it
	require.NoError(t, err)
	var again ports.Identity
	require.NoError(t, json.Unmarshal(kept, &again))
	anew := func() *plug.Plugs {
		p := b.plugs()
		p.Expect("a", again, "when the bench was commissioned (2026-01-31)")
		return p
	}
	assert.Equal(t, "/dev/ttyUSB0", opened(t, anew(), l))
	b.pull("ttyUSB0")
	b.plug(second, "1.4", "ttyUSB0", 2)
	trouble := refused(t, anew(), l)
	assert.Equal(t, devices.Uncommissioned, trouble.Cause)
	assert.ErrorContains(t, trouble, `and was fff1:0001 serial "A1" in socket 0000:00:14.0/1.4 when the bench was commissioned (2026-01-31)`)
	assert.ErrorContains(t, trouble, "meltwarden commission --anew")
}

// TestPathsOfTheSystem name a port as they lead to it now.
func TestPathsOfTheSystem(t *testing.T) {
	b := newBench(t)
	b.plug(first, "1.4", "ttyUSB0", 1)
	b.plug(second, "1.2", "ttyUSB1", 2)
	p := b.plugs()
	id, path := byPort("a", "/dev/serial/by-id/usb-fff1_Serial_Adapter_A1-if00-port0"), byPort("b", "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1.2:1.0-port0")
	assert.Equal(t, "/dev/ttyUSB0", opened(t, p, id))
	assert.Equal(t, "/dev/ttyUSB1", opened(t, p, path))
	b.pull("ttyUSB0")
	b.pull("ttyUSB1")
	b.plug(first, "1.2", "ttyUSB0", 1)
	b.plug(second, "1.4", "ttyUSB1", 2)
	assert.Equal(t, "/dev/ttyUSB0", opened(t, p, id), "with plugs swapped")
	assert.Equal(t, devices.Exchanged, refused(t, p, path).Cause, "the socket has another adapter")
}

// TestTwoThatSayTheSame are told by their sockets, and where names are swapped refused.
func TestTwoThatSayTheSame(t *testing.T) {
	b := newBench(t)
	p := b.plugs()
	named := []devices.LineConfig{byPort("a", "/dev/ttyUSB0"), byPort("b", "/dev/ttyUSB1")}
	there := []devices.LineConfig{
		byAdapter("c", ports.Wanted{Vendor: "fff2", Product: "00b1", Socket: hub.Socket("1.1")}),
		byAdapter("d", ports.Wanted{Vendor: "fff2", Product: "00b1", Socket: hub.Socket("1.2")}),
	}
	b.plug(plain, "1.1", "ttyUSB0", 1)
	b.plug(plain, "1.2", "ttyUSB1", 2)
	for i, name := range []string{"/dev/ttyUSB0", "/dev/ttyUSB1"} {
		assert.Equal(t, name, opened(t, p, named[i]))
		assert.Equal(t, name, opened(t, p, there[i]))
	}
	b.pull("ttyUSB0")
	b.pull("ttyUSB1")
	b.plug(plain, "1.2", "ttyUSB0", 2)
	b.plug(plain, "1.1", "ttyUSB1", 1)
	for i, name := range []string{"/dev/ttyUSB1", "/dev/ttyUSB0"} {
		trouble := refused(t, p, named[i])
		assert.Equal(t, devices.Exchanged, trouble.Cause)
		assert.ErrorContains(t, trouble, "may be the same one or another")
		assert.Equal(t, name, opened(t, p, there[i]))
	}
	only := byAdapter("e", ports.Wanted{Vendor: "fff2", Product: "00b1"})
	b.pull("ttyUSB0")
	assert.Equal(t, "/dev/ttyUSB1", opened(t, p, only))
	b.pull("ttyUSB1")
	b.plug(plain, "1.2", "ttyUSB1", 2)
	assert.Equal(t, devices.Exchanged, refused(t, p, only).Cause, "the only one that fits, and perhaps the neighbour's")
}

// TestWhatElseKeepsAPortShut: another program, no such name, names that change meanwhile,
// and a system that lists nothing.
func TestWhatElseKeepsAPortShut(t *testing.T) {
	b := newBench(t)
	b.plug(first, "1.4", "ttyUSB0", 1)
	p, l := b.plugs(), byAdapter("a", ports.Wanted{Serial: "A1"})
	other, err := plug.Serial(b.near["ttyUSB0"], l)
	require.NoError(t, err)
	trouble := refused(t, p, l)
	assert.Equal(t, devices.Held, trouble.Cause)
	assert.Equal(t, "port /dev/ttyUSB0", trouble.What)
	require.NoError(t, other.Close())
	assert.Equal(t, "/dev/ttyUSB0", opened(t, p, l))
	assert.Equal(t, devices.Absent, refused(t, p, byPort("b", t.TempDir()+"/none")).Cause)

	renaming := plug.New(ports.Sysfs(b.hub.Root), func(name string, l devices.LineConfig) (modbus.Port, error) {
		port, err := b.open(name, l)
		require.NoError(t, b.hub.Rename(map[string]string{"ttyUSB0": "ttyUSB7"}))
		return port, err
	})
	assert.ErrorContains(t, refused(t, renaming, l), "changed while it was opened")
	require.NoError(t, b.hub.Rename(map[string]string{"ttyUSB7": "ttyUSB0"}))

	list := func() (ports.List, error) { return ports.List{}, errors.New("invented") }
	blind := plug.New(list, b.open)
	assert.ErrorContains(t, refused(t, blind, l), "can not be listed")
	assert.Equal(t, "/dev/ttyUSB0", opened(t, blind, byPort("a", "/dev/ttyUSB0")), "a name is enough where nothing is known")
}

// wiring is a bench of two lines: a probe behind one adapter, a heater behind the other.
func wiring() devices.Config {
	word := func(role registers.Role, device string, function uint8) registers.Channel {
		return registers.Channel{
			Role: role, Pot: "only", Device: device, Function: function, Type: registers.Int16,
			Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: 1, Unit: registers.Celsius,
		}
	}
	heater := word(registers.Heater, "power", modbus.WriteRegisters)
	heater.Unit, heater.Scale = registers.Fraction, 0.001
	return devices.Config{
		Lines:    []devices.LineConfig{byAdapter("probes", ports.Wanted{Serial: "A1"}), byAdapter("power", ports.Wanted{Serial: "A2"})},
		Devices:  []devices.DeviceConfig{{Name: "probe", Line: "probes", Unit: 1, Timeout: time.Second}, {Name: "power", Line: "power", Unit: 1, Timeout: time.Second}},
		Pots:     []string{"only"},
		Channels: []registers.Channel{word(registers.Melt, "probe", modbus.ReadInput), heater},
	}
}

const probeModule, powerModule = 171, 5000

// TestNumbersOfReplugs: hubs that come back with names in any order, and single plugs that
// are pulled, lead every line to its own devices, and each loss is told to whoever decides
// about heat.
func TestNumbersOfReplugs(t *testing.T) {
	const losses = 6
	b := newBench(t)
	b.plug(first, "1.1", "ttyUSB0", probeModule)
	b.plug(second, "1.2", "ttyUSB1", powerModule)
	clk := clock.New(10)
	bus, err := devices.Open(wiring(), b.plugs().Open, clk)
	require.NoError(t, err)
	defer bus.Close(context.Background())
	rng := rand.New(rand.NewPCG(8, 26))
	var in control.Input
	now := func() control.Input {
		bus.Poll(context.Background(), time.Second).Fill(&in, clk.Now())
		return in
	}
	well := func() bool {
		read := now()
		bus.Apply(control.Outputs{Duty: []float64{0}})
		melt, link := read.Pots[0].Melt, read.Contacts.Link
		if melt.Fault == reading.None {
			require.InDelta(t, probeModule, melt.C, 0, "the probe of another module")
		}
		return melt.Usable(time.Second) && link.Known(time.Second) && link.Closed
	}
	require.Eventually(t, well, 10*time.Second, 5*time.Millisecond)
	told, slowest := 0, time.Duration(0)
	names := []string{"ttyUSB0", "ttyUSB1"}
	for loss := range losses {
		gone := []int{loss % 3} // one, the other, or both at once
		if loss%3 == 2 {
			gone = []int{0, 1}
		}
		for _, i := range gone {
			b.pull(names[i])
		}
		rng.Shuffle(len(gone), func(i, j int) { gone[i], gone[j] = gone[j], gone[i] })
		open := false
		require.Eventually(t, func() bool {
			open = open || !now().Contacts.Link.Closed
			lines := bus.Stats().Lines
			return slices.IndexFunc(gone, func(i int) bool { return lines[i].Open }) < 0
		}, 10*time.Second, 5*time.Millisecond)
		free := []string{"ttyUSB0", "ttyUSB1", fmt.Sprintf("ttyUSB%d", 2+rng.IntN(8))}
		free = slices.DeleteFunc(free, func(n string) bool { _, taken := b.near[n]; return taken })
		began := clk.Now()
		for _, i := range gone { // whichever comes first gets the first name
			adapter, socket, module := first, "1.1", uint16(probeModule)
			if i == 1 {
				adapter, socket, module = second, "1.2", powerModule
			}
			names[i], free = free[0], free[1:]
			b.plug(adapter, socket, names[i], module)
		}
		require.Eventually(t, func() bool { open = open || !now().Contacts.Link.Closed; return well() }, 10*time.Second, 5*time.Millisecond)
		slowest = max(slowest, clk.Now()-began)
		if open {
			told++
		}
	}
	assert.Equal(t, losses, told, "losses of which heat was told")
	t.Logf("%d losses: each line at its own devices each time, heat told of %d, back within %.1f s of bench time", losses, told, slowest.Seconds())
	for _, l := range bus.Stats().Lines {
		assert.Contains(t, l.Adapter, "fff1:0001")
		assert.EqualValues(t, 1+losses*2/3, l.Opened)
	}
}
