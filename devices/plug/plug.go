// Package plug opens the port of a line, whatever it is called today: it looks for the
// line's adapter each time, or for the port by its name, and holds it against the adapter
// that was there when the line was first opened.
//
// A line never gets another adapter than at first, for that may lead to the devices of
// another bench: it stays shut until the old one is back, or until a person has ended the
// program and begun anew, and where it was commissioned with one, has commissioned it anew.
// It gets none of several that fit either. Where a system does not say
// which adapter is behind a port, its name is all that is looked at.
package plug

import (
	"errors"
	"fmt"
	"sync"

	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/ports"
	"meltwarden/devices/serialport"
)

// Plugs opens ports, and remembers which adapter each line has.
type Plugs struct {
	list ports.Source
	open Open

	mu   sync.Mutex
	seen map[string]had // by the line's name; of lines whose adapter is known
}

// had is the adapter that a line had, and since when that counts.
type had struct {
	ports.Identity
	since string
	cause devices.Cause // of a line that has another one
}

// Open opens the port of a name as a line is spoken to. It may block.
type Open func(name string, l devices.LineConfig) (modbus.Port, error)

// New returns plugs that remember nothing yet.
func New(list ports.Source, open Open) *Plugs {
	return &Plugs{list: list, open: open, seen: map[string]had{}}
}

// Expect has a line opened on no other adapter than the one it was commissioned with.
func (p *Plugs) Expect(line string, is ports.Identity, since string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seen[line] = had{is, since, devices.Uncommissioned}
}

// Seen returns the adapter that a line has to have, where that is known.
func (p *Plugs) Seen(line string) (ports.Identity, bool) {
	was, known := p.before(line)
	return was.Identity, known
}

// Serial opens a real port.
func Serial(name string, l devices.LineConfig) (modbus.Port, error) {
	return serialport.Open(name, serialport.Mode{Baud: l.Baud, Parity: serialport.Parity(l.Parity), StopBits: l.StopBits})
}

// Open implements devices.Opener. What is wrong is a *devices.Trouble, which names what
// there is and what to do.
func (p *Plugs) Open(l devices.LineConfig) (modbus.Port, error) {
	name, found, err := p.find(l)
	if err != nil {
		return nil, err
	}
	port, err := p.open(name, l)
	if err != nil {
		return nil, &devices.Trouble{Cause: causeOf(err), What: "port " + name, Err: err}
	}
	// Names may change between the look and the opening, as they do while a hub comes back.
	// From now on this one stays, for the port is held.
	again, still, err := p.find(l)
	if err == nil && (again != name || still.Name != found.Name || found.Adapter.Known() && !still.Same(found)) {
		err = &devices.Trouble{Cause: devices.Unclear, What: "port " + name, Err: fmt.Errorf("port %s changed while it was opened: it is looked for again", name)}
	}
	if err != nil {
		_ = port.Close() // what comes of it changes nothing
		return nil, err
	}
	p.remember(l.Name, still)
	return placed{port, name, adapterWords(still)}, nil
}

// find returns the name that a line's port has now, and which adapter that is.
func (p *Plugs) find(l devices.LineConfig) (string, ports.Identity, error) {
	list, err := p.list()
	_, known := p.before(l.Name)
	switch {
	case err != nil && (known || l.Port == ""):
		return "", ports.Identity{}, &devices.Trouble{Cause: devices.Unclear, What: l.Where(), Err: fmt.Errorf(
			"%s: the ports of this computer can not be listed, so its adapter is not known: %w", l.Where(), err)}
	case l.Port == "":
		return p.findAdapter(l, list)
	}
	return p.findName(l, list)
}

// findAdapter looks for the adapter that a bench file names.
func (p *Plugs) findAdapter(l devices.LineConfig, list ports.List) (string, ports.Identity, error) {
	found, err := list.Find(l.Adapter)
	if err != nil {
		return "", ports.Identity{}, &devices.Trouble{Cause: causeOf(err), What: l.Where(), Err: err}
	}
	is := list.Identify(found)
	if was, known := p.before(l.Name); known && !is.Same(was.Identity) {
		return "", is, exchanged(l, is, was)
	}
	return found.Name, is, nil
}

// findName looks at the port that a bench file names.
func (p *Plugs) findName(l devices.LineConfig, list ports.List) (string, ports.Identity, error) {
	found, listed := list.At(l.Port)
	is := list.Identify(found)
	was, known := p.before(l.Name)
	switch {
	case !listed && !known:
		return l.Port, ports.Identity{}, nil
	case !listed:
		return "", is, &devices.Trouble{Cause: devices.Absent, What: "adapter " + was.Adapter.String(), Err: fmt.Errorf(
			"port %s is not there: plug the adapter %v in again; where it has another name now, put the plug back into its socket, or name the adapter in the bench file in place of the port (meltwarden ports)", l.Port, was.Adapter)}
	case known && !is.Same(was.Identity):
		return "", is, exchanged(l, is, was)
	}
	return found.Name, is, nil
}

// exchanged is told of an adapter that is where a line's own was.
func exchanged(l devices.LineConfig, is ports.Identity, was had) error {
	what := fmt.Sprintf("%s is %v now, and was %v %s", l.Where(), is.Adapter, was.Adapter, was.since)
	why := "Another adapter may lead to other devices, so the line stays shut."
	if is.Adapter.Vendor == was.Adapter.Vendor && is.Adapter.Product == was.Adapter.Product && is.Adapter.Serial == was.Adapter.Serial {
		why = "By what it says of itself it may be the same one or another, so the line stays shut."
	}
	meant := "end the program, see where the wires of the new one go, and start it again"
	if was.cause == devices.Uncommissioned {
		meant = "see where the wires of the new one go, and try the bench again with meltwarden commission --anew"
	}
	return &devices.Trouble{Cause: was.cause, What: what, Err: fmt.Errorf(
		"%s. %s Put the old one back into its socket; if the change is meant, %s", what, why, meant)}
}

func (p *Plugs) before(line string) (had, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	was, known := p.seen[line]
	return was, known
}

// remember keeps the first adapter of a line. Where none is known, nothing is looked at.
func (p *Plugs) remember(line string, is ports.Identity) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if _, known := p.seen[line]; !known && is.Adapter.Known() {
		p.seen[line] = had{is, "when this program began", devices.Exchanged}
	}
}

// adapterWords are empty where no adapter is known.
func adapterWords(is ports.Identity) string {
	if !is.Adapter.Known() {
		return ""
	}
	return is.Adapter.String()
}

// causeOf sorts what went wrong.
func causeOf(err error) devices.Cause {
	for _, k := range []struct {
		err   error
		cause devices.Cause
	}{
		{ports.ErrAbsent, devices.Absent}, {ports.ErrSeveral, devices.Several},
		{serialport.ErrBusy, devices.Held}, {serialport.ErrMissing, devices.Absent}, {serialport.ErrPermission, devices.Forbidden},
	} {
		if errors.Is(err, k.err) {
			return k.cause
		}
	}
	return devices.Unclear
}

// placed is a port that knows where it is.
type placed struct {
	modbus.Port
	name, adapter string
}

// Place implements devices.Placed.
func (p placed) Place() (name, adapter string) { return p.name, p.adapter }
