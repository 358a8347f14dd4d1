package config

import (
	"regexp"
	"strings"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/devices/ports"
)

// readPort reads where a line is: the name of a port, or the adapter that the port is on.
func readPort(m *strict.Map, src *strict.Source) (port string, adapter ports.Wanted) {
	section := m.Map("adapter")
	if !m.Has("adapter") {
		return strict.Required(m, "port", text("the serial port")), adapter
	}
	if port = strict.Optional(m, "port", text("the serial port"), ""); m.Has("port") {
		src.Complain(m.Path("adapter"), "beside port", "keep one of them; adapter finds the port under any name")
	}
	return port, readAdapter(section, src)
}

// listThem is where to look an adapter up.
const listThem = "copy it from what meltwarden ports prints"

func readAdapter(m *strict.Map, src *strict.Source) ports.Wanted {
	defer m.Done()
	w := ports.Wanted{
		Vendor:    strict.Optional(m, "vendor", usbNumber("fff1"), ""),
		Product:   strict.Optional(m, "product", usbNumber("0001"), ""),
		Serial:    strict.Optional(m, "serial", name("A1"), ""),
		Socket:    strict.Optional(m, "socket", formed(socketForm, "no USB controller and sockets", "0000:00:14.0/1.4"), ""),
		Interface: strict.Optional(m, "interface", formed(interfaceForm, "no interface of an adapter", "if00-port0"), ""),
	}
	switch {
	case m.Has("vendor") != m.Has("product"):
		src.Complain(m.Path(""), "vendor and product go together", "write both, or neither; "+listThem)
	case !m.Has("vendor") && !m.Has("serial") && !m.Has("socket"):
		src.Complain(m.Path(""), "nothing in it says which adapter", "write vendor and product, serial or socket; "+listThem)
	}
	return w
}

var (
	usbDigits     = regexp.MustCompile(`^[0-9a-f]{4}$`)
	socketForm    = regexp.MustCompile(`^[^\s/]+/[0-9]+(\.[0-9]+)*$`)
	interfaceForm = regexp.MustCompile(`^if[0-9a-f]{2}(-port[0-9]+)?$`)
)

// usbNumber is a vendor's or a product's, as digits: a file that has them in large letters
// means the same hardware.
func usbNumber(example string) strict.Kind[string] {
	return kind(func(typed string) (string, error) {
		if small := strings.ToLower(typed); usbDigits.MatchString(small) {
			return small, nil
		}
		return "", &quantity.Fault{Wrong: "not four hexadecimal digits", Fix: listThem}
	}, example)
}

// formed is a text of one form.
func formed(form *regexp.Regexp, wrong, example string) strict.Kind[string] {
	return kind(func(typed string) (string, error) {
		if form.MatchString(typed) {
			return typed, nil
		}
		return "", &quantity.Fault{Wrong: wrong, Fix: listThem + ", like " + example}
	}, example)
}
