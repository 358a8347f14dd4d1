// Package ports says which serial ports a computer has and which adapter each of them
// is: by what the adapter says of itself (USB vendor, product and serial number) and by
// the socket it is plugged into. Names like ttyUSB0 are given in the order of finding,
// and may lead to another adapter after the next plugging in.
//
// It opens no port and writes nothing. What a system does not say is empty, and which
// adapters can not be told apart is said; nothing is guessed.
package ports

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// Port is one serial port.
type Port struct {
	// Name is what the port is opened by, like /dev/ttyUSB0, COM5 or /dev/cu.usbserial-1.
	Name string `json:"name"`
	// Adapter is zero, and left out of JSON, where the port is on none or nothing is known.
	Adapter Adapter `json:"adapter,omitzero"`
	// Paths are other names that lead to the port, in order: of Linux those by the
	// adapter's own words and by its socket.
	Paths []string `json:"paths"`
}

// Adapter is what is known of a USB adapter. What is not known is empty.
type Adapter struct {
	// Vendor and Product are the numbers of USB, four hexadecimal digits in small letters.
	Vendor  string `json:"vendor"`
	Product string `json:"product"`
	// Serial is its serial number. Many adapters have none, some all the same.
	Serial string `json:"serial"`
	// Text is how it calls itself.
	Text string `json:"text"`
	// Socket is where it is plugged in: the computer's USB controller, and after a stroke
	// the numbers of the sockets from there on, through hubs, like 0000:00:14.0/1.4. It does
	// not depend on the number that a bus has until the next start.
	Socket string `json:"socket"`
	// Interface is which of an adapter's ports it is, like if00-port0.
	Interface string `json:"interface"`
}

// Known reports whether anything is known of the adapter.
func (a Adapter) Known() bool { return a.Vendor != "" }

// String names the adapter by what tells it from others.
func (a Adapter) String() string {
	if !a.Known() {
		return "no USB adapter that is known"
	}
	said := a.Vendor + ":" + a.Product
	if a.Serial == "" {
		said += " without serial number"
	} else {
		said += fmt.Sprintf(" serial %q", a.Serial)
	}
	if a.Socket != "" {
		said += " in socket " + a.Socket
	}
	return said
}

// List is the ports of a computer at one moment, by name.
type List struct {
	Ports []Port `json:"ports"`
	// Without says why nothing is known of adapters on this system, and is empty where
	// something is.
	Without string `json:"without,omitempty"`
}

// Source lists the ports. It may be asked from several goroutines.
type Source func() (List, error)

// sorted puts ports in the order in which people count them: ttyUSB2 before ttyUSB10.
func sorted(all []Port) []Port {
	slices.SortFunc(all, func(a, b Port) int {
		return cmp.Or(cmp.Compare(len(a.Name), len(b.Name)), cmp.Compare(a.Name, b.Name))
	})
	return all
}

// At returns the port that a name or a path leads to; a link that somebody made of their
// own is followed. Windows writes COM5 large or small.
func (l List) At(path string) (Port, bool) {
	real := path
	if to, err := filepath.EvalSymlinks(path); err == nil {
		real = to
	}
	i := slices.IndexFunc(l.Ports, func(p Port) bool {
		return strings.EqualFold(p.Name, path) || p.Name == real || slices.Contains(p.Paths, path)
	})
	if i < 0 {
		return Port{}, false
	}
	return l.Ports[i], true
}

// names are those of all ports, for a message.
func (l List) names() string {
	if len(l.Ports) == 0 {
		return "no serial port is there"
	}
	all := make([]string, len(l.Ports))
	for i, p := range l.Ports {
		all[i] = p.Name
		if p.Adapter.Known() {
			all[i] += " (" + p.Adapter.String() + ")"
		}
	}
	return "there are " + strings.Join(all, ", ")
}
