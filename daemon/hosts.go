package daemon

import (
	"net"
	"os"
)

// Hosts are the names under which other computers reach this one on the address
// that is served on. Where that is every address, they are all that this computer
// knows itself by: the name in a request has to be one of them, so that a page
// from elsewhere can not get in under a name of its own.
func Hosts(listen string) []string {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return nil
	}
	if ip := net.ParseIP(host); host != "" && (ip == nil || !ip.IsUnspecified()) {
		return []string{host}
	}
	var all []string
	if name, err := os.Hostname(); err == nil {
		all = append(all, name, name+".local") // multicast DNS, RFC 6762
	}
	addresses, _ := net.InterfaceAddrs() // without any, the name has to do
	for _, a := range addresses {
		if n, ok := a.(*net.IPNet); ok {
			all = append(all, n.IP.String())
		}
	}
	return all
}

// Served is the address that is served on: as it was asked for, with the port that the
// listener got.
func Served(listen string, l net.Listener) string {
	host, _, err := net.SplitHostPort(listen)
	_, port, errPort := net.SplitHostPort(l.Addr().String())
	if err != nil || errPort != nil {
		return l.Addr().String()
	}
	return net.JoinHostPort(host, port)
}
