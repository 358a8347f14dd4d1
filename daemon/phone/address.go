package phone

import (
	"cmp"
	"net"
	"net/netip"
	"os"
	"slices"
	"strings"
)

// Address is one under which a phone may reach this computer.
type Address struct {
	Host, Port string
	// On is the network interface that it belongs to; "" for a name.
	On string
	// Public is true of an address that is not of a network of one's own, so that others
	// may reach it.
	Public bool
	rank   int
}

// URL is the address of a path there.
func (a Address) URL(path string) string {
	return "http://" + net.JoinHostPort(a.Host, a.Port) + path
}

// Addresses are those under which phones may reach a daemon that listens on host and
// port, the likeliest first; none where it listens to this computer only.
func Addresses(listen string) []Address {
	host, port, err := net.SplitHostPort(listen)
	if err != nil || host == "localhost" {
		return nil
	}
	ip, err := netip.ParseAddr(host)
	switch {
	case host != "" && err != nil:
		return []Address{{Host: host, Port: port}} // a name
	case host == "" || ip.IsUnspecified():
		return everyAddress(port)
	case ip.IsLoopback():
		return nil
	}
	return []Address{{Host: host, Port: port, Public: public(ip)}}
}

// The ranks of addresses: where this computer goes out by comes first, a name that only
// some networks know comes last.
const (
	rankOut = iota
	rankOwn
	rankPublic
	rankNew // of the new protocol: few people type those
	rankAlone
	rankName
)

func everyAddress(port string) []Address {
	all := slices.Clone(ofInterfaces(port))
	if name, err := os.Hostname(); err == nil {
		all = append(all, Address{Host: strings.ToLower(name) + ".local", Port: port, rank: rankName}) // multicast DNS, RFC 6762
	}
	slices.SortStableFunc(all, func(a, b Address) int { return cmp.Compare(a.rank, b.rank) })
	return all
}

func ofInterfaces(port string) (all []Address) {
	interfaces, _ := net.Interfaces() // without any, the name has to do
	out := goesOutBy()
	for _, i := range interfaces {
		if i.Flags&net.FlagUp == 0 || i.Flags&net.FlagLoopback != 0 {
			continue
		}
		addresses, _ := i.Addrs()
		for _, a := range addresses {
			n, ok := a.(*net.IPNet)
			if !ok {
				continue
			}
			ip, ok := netip.AddrFromSlice(n.IP)
			if ip = ip.Unmap(); !ok || ip.IsLoopback() || ip.Is6() && ip.IsLinkLocalUnicast() {
				continue // one that needs the name of an interface can not be opened in a browser
			}
			all = append(all, Address{Host: ip.String(), Port: port, On: i.Name, Public: public(ip), rank: rankOf(ip, out)})
		}
	}
	return all
}

func rankOf(ip, out netip.Addr) int {
	switch {
	case ip == out:
		return rankOut
	case ip.Is6():
		return rankNew
	case ip.IsLinkLocalUnicast():
		return rankAlone
	case public(ip):
		return rankPublic
	}
	return rankOwn
}

func public(ip netip.Addr) bool {
	return !ip.IsPrivate() && !ip.IsLinkLocalUnicast() && !ip.IsLoopback()
}

// goesOutBy is the address by which this computer would reach another network. Nothing is
// sent: a datagram socket only asks for the way.
func goesOutBy() netip.Addr {
	way, err := net.Dial("udp", "198.51.100.1:9") // RFC 5737: nobody is there
	if err != nil {
		return netip.Addr{}
	}
	defer way.Close()
	local, err := netip.ParseAddrPort(way.LocalAddr().String())
	if err != nil {
		return netip.Addr{}
	}
	return local.Addr()
}
