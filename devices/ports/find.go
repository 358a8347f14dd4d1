package ports

import (
	"errors"
	"fmt"
	"strings"
)

// Wanted is what an adapter has to be. What is empty may be anything.
type Wanted struct {
	Vendor    string `json:"vendor,omitempty"` // like Product four hexadecimal digits in small letters
	Product   string `json:"product,omitempty"`
	Serial    string `json:"serial,omitempty"`
	Socket    string `json:"socket,omitempty"` // as Adapter has it
	Interface string `json:"interface,omitempty"`
}

// Fits reports whether a port's adapter is what is wanted. Systems write the letters of a
// serial number large or small.
func (w Wanted) Fits(p Port) bool {
	a := p.Adapter
	fits := func(want, is string) bool { return want == "" || want == is }
	return a.Known() && fits(w.Vendor, a.Vendor) && fits(w.Product, a.Product) && fits(w.Socket, a.Socket) &&
		fits(w.Interface, a.Interface) && (w.Serial == "" || strings.EqualFold(w.Serial, a.Serial))
}

// String is what is wanted as a bench file has it.
func (w Wanted) String() string {
	var all []string
	for _, k := range []struct{ key, value string }{
		{"vendor", w.Vendor}, {"product", w.Product}, {"serial", w.Serial}, {"socket", w.Socket}, {"interface", w.Interface},
	} {
		if k.value != "" {
			all = append(all, fmt.Sprintf("%s: %q", k.key, k.value))
		}
	}
	return "{" + strings.Join(all, ", ") + "}"
}

// Words name what is wanted as Adapter.String names what is there.
func (w Wanted) Words() string {
	var all []string
	if w.Vendor != "" {
		all = append(all, w.Vendor+":"+w.Product)
	}
	if w.Serial != "" {
		all = append(all, fmt.Sprintf("serial %q", w.Serial))
	}
	if w.Socket != "" {
		all = append(all, "in socket "+w.Socket)
	}
	if w.Interface != "" {
		all = append(all, "at "+w.Interface)
	}
	return strings.Join(all, " ")
}

// Why no port is found.
var (
	ErrAbsent  = errors.New("is not plugged in")
	ErrSeveral = errors.New("is not one adapter")
	ErrUnknown = errors.New("can not be looked for")
)

// Find returns the one port whose adapter is what is wanted. Its error says which ports
// there are and what to do; of several that fit none is taken.
func (l List) Find(w Wanted) (Port, error) {
	if l.Without != "" {
		return Port{}, fmt.Errorf("adapter %s %w: %s", w.Words(), ErrUnknown, l.Without)
	}
	var fit []Port
	for _, p := range l.Ports {
		if w.Fits(p) {
			fit = append(fit, p)
		}
	}
	switch len(fit) {
	case 0:
		return Port{}, fmt.Errorf("adapter %s %w: plug it in, or correct the bench file (meltwarden ports lists them); %s", w.Words(), ErrAbsent, l.names())
	case 1:
		return fit[0], nil
	}
	return Port{}, fmt.Errorf("adapter %s %w, and none is taken: %s; %s", w.Words(), ErrSeveral, w.tell(fit), List{Ports: fit}.names())
}

// tell is what would tell ports apart that all fit.
func (w Wanted) tell(fit []Port) string {
	differ := func(of func(Adapter) string) bool {
		seen := map[string]bool{}
		for _, p := range fit {
			if of(p.Adapter) == "" {
				return false
			}
			seen[of(p.Adapter)] = true
		}
		return len(seen) == len(fit)
	}
	switch {
	case w.Serial == "" && differ(func(a Adapter) string { return a.Serial }):
		return "add its serial: to the bench file"
	case w.Interface == "" && differ(func(a Adapter) string { return a.Interface }):
		return "add its interface: to the bench file"
	case w.Socket == "" && differ(func(a Adapter) string { return a.Socket }):
		return "add its socket: to the bench file, and swap no plugs"
	}
	return "add serial:, interface: or socket: to the bench file, or unplug the others"
}

// Wanted is what a bench file has to say so that a port's adapter is found again, and no
// other. It reports false where nothing tells it from the others.
func (l List) Wanted(p Port) (Wanted, bool) {
	w := Wanted{Vendor: p.Adapter.Vendor, Product: p.Adapter.Product}
	if l.DoubtOf(p) == Told {
		w.Serial = p.Adapter.Serial
	} else {
		w.Socket = p.Adapter.Socket
	}
	if found, err := l.Find(w); err == nil {
		return w, found.Name == p.Name && w.Serial+w.Socket != ""
	}
	w.Interface = p.Adapter.Interface
	found, err := l.Find(w)
	return w, err == nil && found.Name == p.Name && w.Serial+w.Socket != ""
}
