//go:build unix

package ports_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/ports"
	"meltwarden/devices/ports/hub"
)

// Invented adapters.
var (
	one      = ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A1", Text: "Serial Adapter"}
	two      = ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A2", Text: "Serial Adapter"}
	nameless = ports.Adapter{Vendor: "fff2", Product: "00b1", Text: "Plain Adapter"}
)

func listed(t *testing.T, h *hub.Hub) ports.List {
	t.Helper()
	l, err := ports.Sysfs(h.Root)()
	require.NoError(t, err)
	return l
}

func at(t *testing.T, l ports.List, name string) ports.Port {
	t.Helper()
	p, is := l.At(name)
	require.True(t, is, name)
	return p
}

// TestWhatAPortIs by the kernel's folders: adapter, socket, paths that stay.
func TestWhatAPortIs(t *testing.T) {
	h := hub.New(t.TempDir())
	require.NoError(t, h.Plug(two, "1.4", "ttyUSB10"))
	require.NoError(t, h.Plug(one, "1.3", "ttyUSB2"))
	acm := one
	acm.Serial, acm.Interface = "B7", "if0a"
	require.NoError(t, h.Plug(acm, "2", "ttyACM0"))
	l := listed(t, h)
	assert.Equal(t, []string{"/dev/ttyACM0", "/dev/ttyUSB2", "/dev/ttyUSB10"}, names(l.Ports), "as people count")
	p := at(t, l, "/dev/ttyUSB10")
	want := two
	want.Socket, want.Interface = hub.Socket("1.4"), "if00-port0"
	assert.Equal(t, want, p.Adapter)
	assert.Equal(t, []string{"/dev/serial/by-id/usb-fff1_Serial_Adapter_A2-if00-port0", "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1.4:1.0-port0"}, p.Paths)
	assert.Equal(t, p, at(t, l, p.Paths[1]))
	assert.Equal(t, p.Paths[0], l.Steady(p))
	assert.Equal(t, "if0a", at(t, l, "/dev/ttyACM0").Adapter.Interface, "as the kernel numbers it")
	h.Bus = 3
	require.NoError(t, h.Rename(nil))
	assert.Equal(t, want, at(t, listed(t, h), "/dev/ttyUSB10").Adapter, "the number of a bus is no part of a socket")
}

func names(all []ports.Port) (names []string) {
	for _, p := range all {
		names = append(names, p.Name)
	}
	return names
}

// TestWhatIsNoPort: consoles, and places for chips that are not there. A port that is built
// in is one, and on no adapter.
func TestWhatIsNoPort(t *testing.T) {
	h := hub.New(t.TempDir())
	require.NoError(t, h.Rename(nil))
	for name, kind := range map[string]string{"ttyS0": "4", "ttyS1": "0", "tty1": ""} {
		folder := filepath.Join(h.Root, "sys/class/tty", name)
		require.NoError(t, os.MkdirAll(folder, 0o755))
		if kind != "" {
			require.NoError(t, os.WriteFile(filepath.Join(folder, "type"), []byte(kind+"\n"), 0o644))
			require.NoError(t, os.MkdirAll(filepath.Join(h.Root, "sys/devices/pnp0", name), 0o755))
			require.NoError(t, os.Symlink("../../../devices/pnp0/"+name, filepath.Join(folder, "device")))
		}
	}
	l := listed(t, h)
	require.Equal(t, []string{"/dev/ttyS0"}, names(l.Ports))
	assert.False(t, l.Ports[0].Adapter.Known())
	assert.Equal(t, ports.Told, l.DoubtOf(l.Ports[0]))
	assert.Equal(t, "/dev/ttyS0", l.Steady(l.Ports[0]))
	_, err := ports.Sysfs(t.TempDir())()
	assert.Error(t, err, "a system without these folders")
}

// TestWhatIsToldApart, and which path to use where it is not.
func TestWhatIsToldApart(t *testing.T) {
	h := hub.New(t.TempDir())
	require.NoError(t, h.Plug(nameless, "1.1", "ttyUSB0"))
	l := listed(t, h)
	assert.Equal(t, ports.NoSerial, l.DoubtOf(l.Ports[0]), "another one could be plugged in")
	assert.Contains(t, l.Steady(l.Ports[0]), "by-path")
	require.NoError(t, h.Plug(nameless, "1.2", "ttyUSB1"))
	require.NoError(t, h.Plug(one, "1.3", "ttyUSB2"))
	l = listed(t, h)
	assert.Equal(t, []string{"/dev/ttyUSB1"}, names(l.Alike(at(t, l, "/dev/ttyUSB0"))))
	assert.Equal(t, ports.Told, l.DoubtOf(at(t, l, "/dev/ttyUSB2")))
	require.NoError(t, h.Plug(one, "1.4", "ttyUSB3"))
	l = listed(t, h)
	assert.Equal(t, ports.Twins, l.DoubtOf(at(t, l, "/dev/ttyUSB2")), "makers give all the same number")
	assert.Contains(t, l.Steady(at(t, l, "/dev/ttyUSB2")), "by-path")
}

// TestAnAdapterWithTwoPorts says the same of both, but for its interface.
func TestAnAdapterWithTwoPorts(t *testing.T) {
	h := hub.New(t.TempDir())
	first, second := one, one
	first.Interface, second.Interface = "if00-port0", "if01-port0"
	require.NoError(t, h.Plug(first, "1.1", "ttyUSB0"))
	require.NoError(t, h.Plug(second, "1.1", "ttyUSB1"))
	l := listed(t, h)
	assert.Equal(t, ports.Told, l.DoubtOf(l.Ports[0]))
	_, err := l.Find(ports.Wanted{Serial: "A1"})
	assert.ErrorIs(t, err, ports.ErrSeveral)
	assert.ErrorContains(t, err, "add its interface:")
	p, err := l.Find(ports.Wanted{Serial: "A1", Interface: "if01-port0"})
	require.NoError(t, err)
	assert.Equal(t, "/dev/ttyUSB1", p.Name)
}

// TestFind takes the one that fits, and of several none.
func TestFind(t *testing.T) {
	h := hub.New(t.TempDir())
	wanted := ports.Wanted{Vendor: "fff1", Product: "0001", Serial: "a1"}
	require.NoError(t, h.Rename(nil))
	_, err := listed(t, h).Find(wanted)
	assert.ErrorIs(t, err, ports.ErrAbsent)
	assert.EqualError(t, err, `adapter fff1:0001 serial "a1" is not plugged in: plug it in, or correct the bench file (meltwarden ports lists them); no serial port is there`)
	require.NoError(t, h.Plug(two, "1.2", "ttyUSB0"))
	_, err = listed(t, h).Find(wanted)
	assert.ErrorIs(t, err, ports.ErrAbsent)
	assert.ErrorContains(t, err, `there are /dev/ttyUSB0 (fff1:0001 serial "A2" in socket 0000:00:14.0/1.2)`)
	require.NoError(t, h.Plug(one, "1.3", "ttyUSB1"))
	p, err := listed(t, h).Find(wanted)
	require.NoError(t, err)
	assert.Equal(t, "/dev/ttyUSB1", p.Name)
	_, err = listed(t, h).Find(ports.Wanted{Vendor: "fff1", Product: "0001"})
	assert.ErrorIs(t, err, ports.ErrSeveral)
	assert.ErrorContains(t, err, "add its serial:")
	require.NoError(t, h.Plug(nameless, "1.4", "ttyUSB2"))
	require.NoError(t, h.Plug(nameless, "1.5", "ttyUSB3"))
	_, err = listed(t, h).Find(ports.Wanted{Vendor: "fff2", Product: "00b1"})
	assert.ErrorContains(t, err, "add its socket:")
	p, err = listed(t, h).Find(ports.Wanted{Socket: hub.Socket("1.5")})
	require.NoError(t, err)
	assert.Equal(t, "/dev/ttyUSB3", p.Name)
	_, err = ports.List{Without: "only names are known"}.Find(wanted)
	assert.ErrorIs(t, err, ports.ErrUnknown)
}

// TestTheSameAdapter as before, by its number wherever it is plugged in, else by its socket.
func TestTheSameAdapter(t *testing.T) {
	h := hub.New(t.TempDir())
	for name, a := range map[string]ports.Adapter{"ttyUSB0": one, "ttyUSB1": nameless, "ttyUSB2": nameless} {
		require.NoError(t, h.Plug(a, "1."+name[6:], name))
	}
	before := listed(t, h)
	identity := func(l ports.List, name string) ports.Identity { return l.Identify(at(t, l, name)) }
	require.NoError(t, h.Rename(map[string]string{"ttyUSB1": "ttyUSB2", "ttyUSB2": "ttyUSB1"}))
	after := listed(t, h)
	assert.True(t, identity(after, "/dev/ttyUSB0").Same(identity(before, "/dev/ttyUSB0")))
	assert.False(t, identity(after, "/dev/ttyUSB1").Same(identity(before, "/dev/ttyUSB1")), "two that say the same, with names swapped")
	assert.True(t, identity(after, "/dev/ttyUSB2").Same(identity(before, "/dev/ttyUSB1")), "in the socket of before")
	require.NoError(t, h.Pull("ttyUSB0"))
	require.NoError(t, h.Plug(one, "2.7", "ttyUSB0"))
	moved := listed(t, h)
	assert.True(t, identity(moved, "/dev/ttyUSB0").Same(identity(before, "/dev/ttyUSB0")), "another socket")
	require.NoError(t, h.Plug(one, "1.0", "ttyUSB5"))
	twins := listed(t, h)
	assert.False(t, identity(twins, "/dev/ttyUSB0").Same(identity(before, "/dev/ttyUSB0")), "with a twin, in another socket")
	assert.True(t, identity(twins, "/dev/ttyUSB5").Same(identity(before, "/dev/ttyUSB0")))
	assert.False(t, identity(before, "/dev/ttyUSB0").Same(identity(twins, "/dev/ttyUSB0")), "its twin may be the one that is gone")
	com := func(name string) ports.Identity {
		return ports.Identity{Port: ports.Port{Name: name, Adapter: nameless}, Doubt: ports.NoSerial}
	}
	assert.True(t, com("COM5").Same(com("COM5")))
	assert.False(t, com("COM5").Same(com("COM6")), "where sockets are not known")
}

// TestWhatDevicesSayIsPlain: a word of a device goes to terminals and pages.
func TestWhatDevicesSayIsPlain(t *testing.T) {
	h := hub.New(t.TempDir())
	require.NoError(t, h.Plug(ports.Adapter{Vendor: "FFF1", Product: "0001", Serial: "A\x1b[31m\x00\xff1", Text: "Serial\tAdapter\x07"}, "1.1", "ttyUSB0"))
	a := listed(t, h).Ports[0].Adapter
	assert.Equal(t, []string{"fff1", "A[31m1", "Serial Adapter"}, []string{a.Vendor, a.Serial, a.Text})
}

// TestHere: this computer's own ports are listed.
func TestHere(t *testing.T) {
	l, err := ports.Here()
	require.NoError(t, err)
	t.Logf("%d ports here", len(l.Ports))
}

// TestAnotherLibraryReadsTheSame of a hub: pyserial 3.5, by testdata/ports/listing.py.
func TestAnotherLibraryReadsTheSame(t *testing.T) {
	h := hub.New(t.TempDir())
	acm, second := two, one
	acm.Serial, acm.Interface = "B7", "if00"
	second.Interface = "if01-port0"
	for _, p := range []struct {
		adapter      ports.Adapter
		socket, name string
	}{{one, "1.1", "ttyUSB0"}, {second, "1.1", "ttyUSB1"}, {two, "1.4.2", "ttyUSB2"}, {nameless, "3", "ttyUSB3"}, {acm, "1.3", "ttyACM0"}} {
		require.NoError(t, h.Plug(p.adapter, p.socket, p.name))
	}
	said, err := exec.Command("/usr/bin/python3", "../../testdata/ports/listing.py", h.Root).Output()
	if err != nil {
		if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
			t.Fatal("no python3 with pyserial: ", err)
		}
		t.Skip("no python3 with pyserial: ", err)
	}
	var theirs []struct{ Name, Vendor, Product, Serial, Text, Location string }
	require.NoError(t, json.Unmarshal(said, &theirs))
	l := listed(t, h)
	require.Len(t, theirs, len(l.Ports))
	for _, p := range theirs {
		a := at(t, l, p.Name).Adapter
		assert.Equal(t, []string{p.Vendor, p.Product, p.Serial, p.Text}, []string{a.Vendor, a.Product, a.Serial, a.Text}, p.Name)
		_, socket, _ := strings.Cut(p.Location, "-")
		socket, _, _ = strings.Cut(socket, ":")
		assert.Equal(t, hub.Socket(socket), a.Socket, p.Name)
	}
}
