package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices/plug"
	"meltwarden/devices/ports"
)

func portsCommand() *cobra.Command { return portsOf(ports.Here) }

// portsOf is the command over a source of ports.
func portsOf(source ports.Source) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "ports",
		Short: "List the serial ports, and which adapter is behind each",
		Long: "Lists every serial port with its USB adapter: vendor and product, serial number, and the socket it is plugged into " +
			"(the computer's USB controller, and behind the stroke the sockets from there on, through hubs). Below each stands what to write into a bench file, " +
			"so that the same adapter is found again when the system gives it another name. It says which adapters can not be told apart.\n\n" +
			"It opens no port and asks no device. On macOS only names are known.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := source()
			if err != nil {
				return fmt.Errorf("the serial ports of this computer can not be listed: %w", err)
			}
			if asJSON {
				return json.NewEncoder(c.OutOrStdout()).Encode(portsObject(l))
			}
			return tellPorts(c.OutOrStdout(), l)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	return c
}

// portSeen is a port, and how a bench file names it.
type portSeen struct {
	ports.Port
	Write  string        `json:"write"`              // behind port:
	Wanted *ports.Wanted `json:"bench_file_adapter"` // behind adapter:, null where nothing tells it from others
	Doubt  ports.Doubt   `json:"doubt"`
	Alike  []string      `json:"alike"`
}

func portsObject(l ports.List) map[string]any {
	all := []portSeen{}
	for _, p := range l.Ports {
		one := portSeen{Port: p, Write: l.Steady(p), Doubt: l.DoubtOf(p), Alike: []string{}}
		if w, is := l.Wanted(p); is {
			one.Wanted = &w
		}
		for _, o := range l.Alike(p) {
			one.Alike = append(one.Alike, o.Name)
		}
		all = append(all, one)
	}
	return map[string]any{"ports": all, "notes": append([]string{}, l.Notes()...)}
}

func tellPorts(out io.Writer, l ports.List) error {
	table := lines.Table{}
	if len(l.Ports) > 0 {
		table.Row("Port", "USB", "Serial number", "Calls itself", "Socket")
	}
	for _, p := range l.Ports {
		a := p.Adapter
		usb := "-"
		if a.Known() {
			usb = a.Vendor + ":" + a.Product
		}
		table.Row(p.Name, usb, cmp.Or(a.Serial, "-"), cmp.Or(a.Text, "-"), cmp.Or(a.Socket, "-"))
		table.Below(benchFileWords(l, p))
	}
	w := lines.To(out)
	fmt.Fprint(w, table.String())
	if notes := l.Notes(); len(notes) > 0 {
		if len(l.Ports) > 0 {
			w.Line("")
		}
		w.Line("%s", wrapped(notes))
	}
	return w.Err()
}

// benchFileWords are what a bench file may say of a port. They are to be copied, and never
// broken.
func benchFileWords(l ports.List, p ports.Port) string {
	said := "  port: " + l.Steady(p)
	if w, is := l.Wanted(p); is {
		said += "\n  adapter: " + w.String()
	}
	return said
}

// plugsOf opens the ports of a bench's lines, and refuses a line another adapter than it was
// commissioned with. A record that can not be read is complained of where heat rests on it.
func plugsOf(past *history.Store, b *config.Bench) *plug.Plugs {
	plugs := daemon.Plugs()
	if record, err := commission.Load(past); err == nil {
		record.Expect(b, plugs.Expect)
	}
	return plugs
}

// plugsOnRecord is plugsOf also while another meltwarden records, and without a history.
func plugsOnRecord(b *config.Bench) *plug.Plugs {
	past, err := history.OpenExisting(b.Daemon.Data)
	if past == nil {
		return daemon.Plugs()
	}
	defer past.Close()
	if err != nil {
		return daemon.Plugs()
	}
	return plugsOf(past, b)
}
