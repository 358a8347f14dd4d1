//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/view"
	"meltwarden/devices"
	"meltwarden/devices/ports"
	"meltwarden/devices/ports/hub"
)

// TestPortsAreListed with what to write into a bench file; adapters that say the same are
// named, and told by their sockets.
func TestPortsAreListed(t *testing.T) {
	h := hub.New(t.TempDir())
	one := ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A1", Text: "Serial Adapter"}
	plain := ports.Adapter{Vendor: "fff2", Product: "00b1", Text: "Plain Adapter"}
	second := one
	second.Serial, second.Interface = "B2", "if00"
	for name, a := range map[string]ports.Adapter{"ttyUSB0": one, "ttyUSB1": plain, "ttyUSB2": plain, "ttyACM3": second} {
		require.NoError(t, h.Plug(a, "1."+name[6:], name))
	}
	said := printed(t, h)
	assert.Equal(t, `Port          USB        Serial number  Calls itself    Socket
/dev/ttyACM3  fff1:0001  B2             Serial Adapter  0000:00:14.0/1.3
  port: /dev/serial/by-id/usb-fff1_Serial_Adapter_B2-if00
  adapter: {vendor: "fff1", product: "0001", serial: "B2"}
/dev/ttyUSB0  fff1:0001  A1             Serial Adapter  0000:00:14.0/1.0
  port: /dev/serial/by-id/usb-fff1_Serial_Adapter_A1-if00-port0
  adapter: {vendor: "fff1", product: "0001", serial: "A1"}
/dev/ttyUSB1  fff2:00b1  -              Plain Adapter   0000:00:14.0/1.1
  port: /dev/serial/by-path/pci-0000:00:14.0-usb-0:1.1:1.0-port0
  adapter: {vendor: "fff2", product: "00b1", socket: "0000:00:14.0/1.1"}
/dev/ttyUSB2  fff2:00b1  -              Plain Adapter   0000:00:14.0/1.2
  port: /dev/serial/by-path/pci-0000:00:14.0-usb-0:1.2:1.0-port0
  adapter: {vendor: "fff2", product: "00b1", socket: "0000:00:14.0/1.2"}

/dev/ttyUSB1 and /dev/ttyUSB2 can not be told apart: they say the same
(fff2:00b1, no serial number). Write the path below each (by-path). It stays
with the socket of the computer, not with the adapter: whoever swaps the plugs
swaps the lines. Mark plugs and sockets.
`, said)
	assertPrinted(t, "ports", said)

	object := struct {
		Ports []struct {
			Name, Write, Doubt string
			Adapter            *ports.Adapter
			BenchFileAdapter   *ports.Wanted `json:"bench_file_adapter"`
			Alike              []string
		}
		Notes []string
	}{}
	require.NoError(t, json.Unmarshal([]byte(printed(t, h, "--json")), &object))
	require.Len(t, object.Ports, 4)
	assert.Equal(t, "B2", object.Ports[0].Adapter.Serial)
	assert.Equal(t, &ports.Wanted{Vendor: "fff2", Product: "00b1", Socket: hub.Socket("1.1")}, object.Ports[2].BenchFileAdapter)
	assert.Equal(t, []string{"/dev/ttyUSB2"}, object.Ports[2].Alike)
	assert.Len(t, object.Notes, 1)
}

// TestCheckNamesASteadierPort where a bench file has a name of today.
func TestCheckNamesASteadierPort(t *testing.T) {
	h := hub.New(t.TempDir())
	require.NoError(t, h.Plug(ports.Adapter{Vendor: "fff1", Product: "0001", Serial: "A1", Text: "Serial Adapter"}, "1.1", "ttyUSB0"))
	here, err := ports.Sysfs(h.Root)()
	require.NoError(t, err)
	assert.Contains(t, steadier(devices.LineConfig{Port: "/dev/ttyUSB0"}, here), `Write in its place: adapter: {vendor: "fff1", product: "0001", serial: "A1"}`)
	assert.Empty(t, steadier(devices.LineConfig{Port: here.Ports[0].Paths[0]}, here))
	assert.Empty(t, steadier(devices.LineConfig{Port: "simulated"}, here))
	assert.Empty(t, alike(view.SerialLine{Port: "/dev/ttyUSB0"}, here))
	require.NoError(t, h.Plug(ports.Adapter{Vendor: "fff2", Product: "00b1", Text: "Plain Adapter"}, "1.2", "ttyUSB1"))
	here, err = ports.Sysfs(h.Root)()
	require.NoError(t, err)
	assert.Contains(t, alike(view.SerialLine{Port: "/dev/ttyUSB1"}, here), "Its adapter has no serial number, and is told from others of its kind by its socket only.")
}

// TestNoPortIsListed where none is there, and only names where nothing is known of adapters.
func TestNoPortIsListed(t *testing.T) {
	h := hub.New(t.TempDir())
	require.NoError(t, h.Rename(nil))
	assert.Contains(t, printed(t, h), "No serial port is there: plug the adapter in.")
	var out bytes.Buffer
	require.NoError(t, tellPorts(&out, ports.List{Ports: []ports.Port{{Name: "/dev/cu.usbserial-1"}}, Without: "only names are known"}))
	assert.Contains(t, out.String(), "  port: /dev/cu.usbserial-1\n\nOnly names are known.")
	_, err := run(t.Context(), "ports", "now")
	assert.Error(t, err)
}

func printed(t *testing.T, h *hub.Hub, args ...string) string {
	t.Helper()
	c := portsOf(ports.Sysfs(h.Root))
	var out bytes.Buffer
	c.SetOut(&out)
	c.SetArgs(args)
	require.NoError(t, c.ExecuteContext(t.Context()))
	return out.String()
}
