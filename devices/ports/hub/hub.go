// Package hub lays out, in a folder, what a Linux system says of the adapters on one of
// its USB hubs, and changes it as they are plugged in and pulled out. It is for tests
// only. The layout is that of the kernel's sysfs (from memory) and of the links that the file
// 60-serial.rules of systemd 252 makes; that an independent library reads it is tested in
// package ports.
package hub

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"meltwarden/devices/ports"
)

// controller is the USB controller that the hub is at.
const controller = "0000:00:14.0"

// Socket is how package ports calls a socket of the hub, like 1.4.
func Socket(number string) string { return controller + "/" + number }

// Hub is such a folder.
type Hub struct {
	Root string
	// Bus is the number of the hub's bus, which the kernel gives anew at each start.
	Bus int

	plugged []plug
}

// plug is one port of an adapter.
type plug struct {
	ports.Adapter
	number, name string // of its socket; of the port
}

// odd is what udev leaves out of a link's name.
var odd = regexp.MustCompile(`[^A-Za-z0-9#+.:=@_-]`)

// New returns a hub without adapters.
func New(root string) *Hub { return &Hub{Root: root, Bus: 1} }

// Plug puts an adapter into a socket, like 1.4, where the kernel calls its port a name,
// like ttyUSB0. An adapter with several ports is plugged in once for each Interface; one
// that says none has if00-port0.
func (h *Hub) Plug(a ports.Adapter, number, name string) error {
	if a.Interface == "" {
		a.Interface = "if00-port0"
	}
	h.plugged = append(h.plugged, plug{a, number, name})
	return h.layOut()
}

// Pull takes the port of a name away.
func (h *Hub) Pull(name string) error {
	h.plugged = slices.DeleteFunc(h.plugged, func(p plug) bool { return p.name == name })
	return h.layOut()
}

// Rename gives the ports the names that a kernel may give them after the hub was reset.
func (h *Hub) Rename(names map[string]string) error {
	for i, p := range h.plugged {
		if to, is := names[p.name]; is {
			h.plugged[i].name = to
		}
	}
	return h.layOut()
}

// layOut makes the whole folder anew.
func (h *Hub) layOut() error {
	for _, folder := range []string{"sys", "dev"} {
		if err := os.RemoveAll(filepath.Join(h.Root, folder)); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(filepath.Join(h.Root, "sys/class/tty"), 0o755); err != nil {
		return err
	}
	for _, p := range h.plugged {
		if err := h.write(p); err != nil {
			return err
		}
	}
	return nil
}

// write lays out one port.
func (h *Hub) write(p plug) error {
	number, port, several := strings.Cut(strings.TrimPrefix(p.Interface, "if"), "-port")
	n, err := strconv.ParseUint(number, 16, 8)
	if err != nil {
		return fmt.Errorf("interface %q: %w", p.Interface, err)
	}
	device := filepath.Join(h.Root, "sys/devices/pci0000:00", controller, fmt.Sprintf("usb%d", h.Bus), fmt.Sprintf("%d-%s", h.Bus, p.number))
	function := filepath.Join(device, fmt.Sprintf("%d-%s:1.%d", h.Bus, p.number, n))
	at := function
	files := map[string]string{"idVendor": p.Vendor, "idProduct": p.Product, "product": p.Text, "serial": p.Serial, "bNumInterfaces": fmt.Sprintf("%2x", n+1)}
	bus := "usb"
	if several {
		at, bus = filepath.Join(function, p.name), "usb-serial"
	}
	terminal := filepath.Join(at, "tty", p.name)
	if err := os.MkdirAll(terminal, 0o755); err != nil {
		return err
	}
	for file, says := range files {
		if err := say(device, file, says); err != nil {
			return err
		}
	}
	if err := say(function, "bInterfaceNumber", number); err != nil {
		return err
	}
	if err := say(at, "port_number", port); err != nil {
		return err
	}
	if err := link(filepath.Join(h.Root, "sys/bus", bus), filepath.Join(at, "subsystem")); err != nil {
		return err
	}
	if err := link(at, filepath.Join(terminal, "device")); err != nil {
		return err
	}
	if err := link(terminal, filepath.Join(h.Root, "sys/class/tty", p.name)); err != nil {
		return err
	}
	return h.links(p, n, several, port)
}

// links makes a port's node in /dev, and the paths that lead to it.
func (h *Hub) links(p plug, number uint64, several bool, port string) error {
	node := filepath.Join(h.Root, "dev", p.name)
	if err := os.MkdirAll(filepath.Dir(node), 0o755); err != nil {
		return err
	}
	if err := os.WriteFile(node, nil, 0o644); err != nil {
		return err
	}
	words := odd.ReplaceAllString(strings.TrimSuffix("usb-"+p.Vendor+"_"+p.Text+"_"+p.Serial, "_"), "_")
	if err := link(node, filepath.Join(h.Root, "dev/serial/by-id", words+"-"+p.Interface)); err != nil {
		return err
	}
	path := fmt.Sprintf("pci-%s-usb-0:%s:1.%d", controller, p.number, number)
	if several {
		path += "-port" + port
	}
	return link(node, filepath.Join(h.Root, "dev/serial/by-path", path))
}

// say has a file of the kernel say something; of what is empty there is no file.
func say(folder, file, says string) error {
	if says == "" {
		return nil
	}
	return os.WriteFile(filepath.Join(folder, file), []byte(says+"\n"), 0o644)
}

// link makes a link as the kernel and udev do, relative to where it lies. A later one of
// the same name takes the place of an earlier.
func link(to, from string) error {
	if err := os.MkdirAll(filepath.Dir(from), 0o755); err != nil {
		return err
	}
	relative, err := filepath.Rel(filepath.Dir(from), to)
	if err != nil {
		return err
	}
	_ = os.Remove(from) // mostly it is not there
	return os.Symlink(relative, from)
}
