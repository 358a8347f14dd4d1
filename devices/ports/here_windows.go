package ports

import (
	"fmt"
	"strings"

	"go.bug.st/serial/enumerator"
)

// Here lists the ports of this computer. The system says nothing of sockets; it gives an
// adapter without a serial number another name in each socket (from memory, no source).
func Here() (List, error) {
	all, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return List{}, fmt.Errorf("the system does not list its serial ports: %w", err)
	}
	var l List
	for _, d := range all {
		p := Port{Name: d.Name, Paths: []string{}}
		if d.IsUSB {
			p.Adapter = Adapter{
				Vendor: strings.ToLower(d.VID), Product: strings.ToLower(d.PID), Serial: plain(d.SerialNumber),
				Text: strings.TrimSpace(strings.TrimSuffix(plain(d.Product), "("+d.Name+")")),
			}
		}
		l.Ports = append(l.Ports, p)
	}
	sorted(l.Ports)
	return l, nil
}
