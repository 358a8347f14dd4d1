package calibrate

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"go.yaml.in/yaml/v3"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/devices/ports"
	"meltwarden/devices/registers"
)

// place is where a probe was when something was put on record of it, as far as that may have
// another name tomorrow: what the bench file says of its bench and of the adapter of its
// device's line. A port tells nothing: the system gives its name to another one.
type place struct {
	Bench   string       `json:"bench"`
	Adapter ports.Wanted `json:"adapter,omitzero"`
}

// same reports whether two places are one. Under one name of a bench they are, unless the
// adapter is another one, as it has to be commissioned then. Under two names only an adapter
// with a serial number shows it: benches on one computer have their histories in one folder,
// and may share the name of a port and the make of their adapters.
func (p place) same(now place) bool {
	if none := (ports.Wanted{}); p.Bench == now.Bench {
		return p.Adapter == none || now.Adapter == none || p.Adapter == now.Adapter
	}
	return p.Adapter.Serial != "" && p.Adapter == now.Adapter
}

// kin is what something on record is to a probe where it is now.
type kin int

const (
	strange kin = iota // it is of another bench
	alike              // of a channel like this of another bench, or of this one under another name
	moved              // of this bench, where its channel or its adapter was another one
	own                // of the probe
)

// known is by what the records of a probe are known again.
type known struct {
	place
	// digest stands for its channel and device, whatever the bench is called.
	digest string
	// before are the places of records that say none and have the name of the bench in their
	// digest instead, by that.
	before map[string]place
}

// knownBy is by what a channel's records are known on a bench. Formerly are bench files as
// they were typed before, of which only the names and lines are read.
func knownBy(c registers.Channel, b *config.Bench, formerly []string) known {
	k := known{place: place{Bench: b.Name}, digest: digest(c, b), before: map[string]place{digestNamed(c, b, b.Name): {Bench: b.Name}}}
	on := deviceOf(c, b).Line
	for _, l := range b.Lines {
		if l.Name == on {
			k.Adapter = l.Adapter
		}
	}
	for _, file := range formerly {
		was := formerPlace(file, on)
		d := digestNamed(c, b, was.Bench)
		if was.Bench != "" && was.Bench != b.Name && !k.before[d].same(k.place) { // any file of that name may show it
			k.before[d] = was
		}
	}
	return k
}

// of says what something on record is to the probe, and where that was. What says neither a
// place nor a name that is known may be of this bench.
func (k known) of(r history.Calibration) (place, kin) {
	was, like := k.before[r.Digest]
	if !like {
		was, like = k.place, r.Digest == k.digest
		if on := placeIn(r); on != nil {
			was = *on
		}
	}
	same := was.same(k.place)
	switch {
	case same && like:
		return was, own
	case same || was.Bench == k.Bench:
		return was, moved
	case like:
		return was, alike
	}
	return was, strange
}

// record is something to be put on record of the probe: what is known, and where that was.
func (k known) record(program, probe string, kind history.CalibrationKind, what any) (history.Calibration, error) {
	text, err := json.Marshal(what)
	if err != nil {
		return history.Calibration{}, err
	}
	all := map[string]json.RawMessage{}
	if err := json.Unmarshal(text, &all); err != nil {
		return history.Calibration{}, err
	}
	if all["on"], err = json.Marshal(k.place); err != nil {
		return history.Calibration{}, err
	}
	text, err = json.Marshal(all)
	return history.Calibration{At: time.Now(), Program: program, Probe: probe, Digest: k.digest, Kind: kind, Record: string(text)}, err
}

// placeIn is where a record says that its probe was; nil where it says none, or can not be
// read, which who reads the rest of it says.
func placeIn(r history.Calibration) *place {
	var kept struct{ On *place }
	if json.Unmarshal([]byte(r.Record), &kept) != nil {
		return nil
	}
	return kept.On
}

// formerPlace is what a bench file that was typed before says of a line: its zero where it
// can not be read. Secrets were taken out of it, so that it may be no good bench file now.
func formerPlace(file, line string) place {
	var was struct {
		Name  string
		Lines []struct {
			Name    string
			Adapter ports.Wanted
		}
	}
	if yaml.Unmarshal([]byte(file), &was) != nil {
		return place{}
	}
	p := place{Bench: was.Name}
	for _, l := range was.Lines {
		if l.Name == line {
			p.Adapter = l.Adapter
		}
	}
	return p
}

func deviceOf(c registers.Channel, b *config.Bench) (found config.Device) {
	for _, d := range b.Devices {
		if d.Name == c.Device {
			found = d
		}
	}
	return found
}

// digest stands for a probe's channel and where its device is: with another address, scale,
// type, unit or typed correction a reading is another one, and so it is with another cold
// junction.
func digest(c registers.Channel, b *config.Bench) string {
	d := deviceOf(c, b)
	at := struct {
		Channel      registers.Channel
		ColdJunction *registers.Channel
		Line         string
		Unit         uint8 // of the device
	}{Channel: bare(c), Line: d.Line, Unit: d.Unit}
	for _, j := range b.Channels {
		if c.Unit == registers.Millivolt && j.Role == registers.ColdJunction && j.Device == c.Device {
			at.ColdJunction = &j
		}
	}
	return sumOf(at)
}

// digestNamed is what stood for a channel while the name of its bench was part of that. The
// unit of the device hid that of the channel in it; it stays so, for what is on record.
func digestNamed(c registers.Channel, b *config.Bench, name string) string {
	d := deviceOf(c, b)
	return sumOf(struct {
		registers.Channel
		Bench, Line string
		Unit        uint8
	}{bare(c), name, d.Line, d.Unit})
}

// bare is a channel without what a calibration adds.
func bare(c registers.Channel) registers.Channel {
	c.Calibrated = registers.Calibrated{}
	return c
}

func sumOf(at any) string {
	text, err := json.Marshal(at)
	if err != nil {
		panic(fmt.Sprintf("a channel that passed its checks can not be written down: %v", err)) // its numbers are finite
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}
