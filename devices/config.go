package devices

import (
	"fmt"
	"slices"
	"time"

	"meltwarden/devices/modbus"
	"meltwarden/devices/ports"
	"meltwarden/devices/registers"
)

// Config is a bench as the bus sees it.
type Config struct {
	Lines    []LineConfig
	Devices  []DeviceConfig
	Channels []registers.Channel
	Pots     []string // names, in the order of control's pots
	// ReadOnly has every output read back in the place of being written. Nothing is ever
	// written then, no zeros either.
	ReadOnly bool
}

// withReadBack is the bench with every set-point read where it is written, unless the bench
// has another place for that. Of a bench that is only read, that is so anyway.
func (c Config) withReadBack() Config {
	if !c.ReadOnly {
		c.Channels = registers.WithReadBack(c.Channels)
	}
	return c
}

// LineConfig is one serial line.
type LineConfig struct {
	Name     string
	Port     string // path of the port, empty where Adapter says which
	Baud     int    // bits per second
	Parity   string // none, even or odd
	StopBits int    // 1 or 2
	// Adapter is looked for at each opening; zero where Port is named.
	Adapter ports.Wanted
}

// Where names the line's port or adapter as the bench file does.
func (l LineConfig) Where() string {
	if l.Port != "" {
		return "port " + l.Port
	}
	return "adapter " + l.Adapter.Words()
}

// CharacterBits is how many bits a character has on the line.
func (l LineConfig) CharacterBits() int {
	return modbus.CharacterBitsOf(l.Parity != "none", l.StopBits)
}

// DeviceConfig is one unit on a line.
type DeviceConfig struct {
	Name string
	Line string // the line's name
	Unit uint8  // 1 to 247
	// Timeout is how long the device may take to begin a reply, above zero and at
	// most LongestTimeout.
	Timeout time.Duration
	// MaxGap is how many registers that nobody wants may be read along, to join
	// two requests.
	MaxGap int
}

// LongestTimeout is the most a device's Timeout may be: with more, one silent
// device could hold its line until the others' readings are too old to heat on.
const LongestTimeout = time.Second

// check finds what would keep the bus from working.
func (c Config) check() error {
	for _, l := range c.Lines {
		if l.Baud <= 0 {
			return fmt.Errorf("line %s: %d bits per second", l.Name, l.Baud)
		}
	}
	for _, d := range c.Devices {
		if !slices.ContainsFunc(c.Lines, func(l LineConfig) bool { return l.Name == d.Line }) {
			return fmt.Errorf("device %s: there is no line %q", d.Name, d.Line)
		}
		if d.Unit < 1 || d.Unit > 247 {
			return fmt.Errorf("device %s: unit %d, allowed are 1 to 247", d.Name, d.Unit)
		}
		if d.Timeout <= 0 || d.Timeout > LongestTimeout {
			return fmt.Errorf("device %s: time-out %v, allowed are above 0 up to %v", d.Name, d.Timeout, LongestTimeout)
		}
	}
	for _, ch := range c.Channels {
		if err := c.checkChannel(ch); err != nil {
			return fmt.Errorf("channel %s %s: %w", ch.Role, ch.Pot, err)
		}
	}
	return nil
}

func (c Config) checkChannel(ch registers.Channel) error {
	if err := ch.Validate(); err != nil {
		return err
	}
	if !slices.ContainsFunc(c.Devices, func(d DeviceConfig) bool { return d.Name == ch.Device }) {
		return fmt.Errorf("there is no device %q", ch.Device)
	}
	if ch.Pot != "" && !slices.Contains(c.Pots, ch.Pot) {
		return fmt.Errorf("there is no pot %q", ch.Pot)
	}
	return nil
}
