package ports

import (
	"slices"
	"strings"
)

// Doubt is why an adapter can not be told from others by its own words.
type Doubt string

// The doubts.
const (
	// Told: it can be told from all others, or is no USB adapter.
	Told Doubt = ""
	// NoSerial: it has no serial number, and any other of its kind says the same.
	NoSerial Doubt = "no serial number"
	// Twins: another one that is plugged in says the same, down to its serial number.
	Twins Doubt = "the same serial number as another"
)

// DoubtOf says whether a port's adapter can be told from others by its own words.
func (l List) DoubtOf(p Port) Doubt {
	switch {
	case !p.Adapter.Known():
		return Told
	case p.Adapter.Serial == "":
		return NoSerial
	case len(l.Alike(p)) > 0:
		return Twins
	}
	return Told
}

// Alike are the other ports whose adapters say of themselves what this one's says.
func (l List) Alike(p Port) (others []Port) {
	for _, o := range l.Ports {
		a, b := o.Adapter, p.Adapter
		if o.Name != p.Name && b.Known() && a.Vendor == b.Vendor && a.Product == b.Product && a.Serial == b.Serial && a.Interface == b.Interface {
			others = append(others, o)
		}
	}
	return others
}

// The folders of Linux in which the paths lie that stay.
const (
	byID   = "/dev/serial/by-id/"
	byPath = "/dev/serial/by-path/"
)

// Steady is the name to write in a bench file: the one that goes with the adapter where
// that can be told from others, else the one that stays with the socket, else the port's
// own name.
func (l List) Steady(p Port) string {
	folders := []string{byID, byPath}
	if l.DoubtOf(p) != Told {
		folders = []string{byPath}
	}
	for _, folder := range folders {
		if i := slices.IndexFunc(p.Paths, func(path string) bool { return strings.HasPrefix(path, folder) }); i >= 0 {
			return p.Paths[i]
		}
	}
	return p.Name
}

// Identity is which adapter a port led to at one moment.
type Identity struct {
	Port
	Doubt Doubt `json:"doubt"`
}

// Identify keeps which adapter a port leads to.
func (l List) Identify(p Port) Identity { return Identity{p, l.DoubtOf(p)} }

// Same reports whether both are, as far as can be told, the same adapter. One without a
// serial number, or with that of another, is the same only in the same socket; where
// sockets are not known, only under the same name.
func (i Identity) Same(o Identity) bool {
	a, b := i.Adapter, o.Adapter
	if a.Vendor != b.Vendor || a.Product != b.Product || a.Serial != b.Serial || a.Interface != b.Interface {
		return false
	}
	if a.Known() && i.Doubt == Told && o.Doubt == Told {
		return true
	}
	return a.Socket == b.Socket && (a.Socket != "" || i.Name == o.Name)
}
