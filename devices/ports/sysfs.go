package ports

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// Sysfs lists the ports of a Linux system whose folders /sys and /dev lie below a root,
// which is "/" but in tests. It reads what the kernel says there, and opens no port.
func Sysfs(root string) Source {
	return func() (List, error) {
		class := filepath.Join(root, "sys/class/tty")
		entries, err := os.ReadDir(class)
		if err != nil {
			return List{}, err
		}
		links := linksTo(root)
		var l List
		for _, e := range entries {
			if a, is := terminal(filepath.Join(class, e.Name())); is {
				name := "/dev/" + strings.ReplaceAll(e.Name(), "!", "/")
				l.Ports = append(l.Ports, Port{Name: name, Adapter: a, Paths: append([]string{}, links[name]...)})
			}
		}
		sorted(l.Ports)
		return l, nil
	}
}

// linksTo are the paths that lead to each device, by its name.
func linksTo(root string) map[string][]string {
	found := map[string][]string{}
	for _, folder := range []string{byID, byPath} {
		entries, err := os.ReadDir(filepath.Join(root, folder))
		if err != nil {
			continue // without adapters the folder is not there
		}
		for _, e := range entries {
			if to, err := os.Readlink(filepath.Join(root, folder, e.Name())); err == nil {
				name := filepath.Join(folder, to)
				found[name] = append(found[name], folder+e.Name())
			}
		}
	}
	return found
}

// terminal reports whether a terminal of the kernel is a serial port, and on which
// adapter. One that has just gone is none.
func terminal(folder string) (Adapter, bool) {
	device, err := filepath.EvalSymlinks(filepath.Join(folder, "device"))
	if err != nil {
		return Adapter{}, false // a console, which is no device
	}
	if word(folder, "type") == "0" {
		return Adapter{}, false // a place for a chip that is not there
	}
	return adapterAbove(device), true
}

// adapterAbove finds the USB device that a port belongs to, in the folders above it.
func adapterAbove(device string) Adapter {
	var a Adapter
	port := word(device, "port_number")
	for dir := device; filepath.Dir(dir) != dir; dir = filepath.Dir(dir) {
		if n := word(dir, "bInterfaceNumber"); n != "" && a.Interface == "" {
			a.Interface = "if" + n
			if port != "" {
				a.Interface += "-port" + port
			}
		}
		if vendor := word(dir, "idVendor"); vendor != "" {
			a.Vendor, a.Product = strings.ToLower(vendor), strings.ToLower(word(dir, "idProduct"))
			a.Serial, a.Text = word(dir, "serial"), word(dir, "product")
			a.Socket = socket(dir)
			return a
		}
	}
	return Adapter{}
}

// rootHub is the folder of a bus, below that of its controller.
var rootHub = regexp.MustCompile(`^usb[0-9]+$`)

// socket is where a USB device is plugged in, from its folder: the kernel calls it by the
// number of its bus and the sockets from there on, like 1-1.4.
func socket(dir string) string {
	_, sockets, _ := strings.Cut(filepath.Base(dir), "-")
	steps := strings.Split(dir, string(filepath.Separator))
	i := slices.IndexFunc(steps, rootHub.MatchString)
	if i < 1 || sockets == "" {
		return ""
	}
	return steps[i-1] + "/" + sockets
}

// word is what a file of the kernel says, in one line, or empty. Devices write what they
// like into theirs.
func word(folder, file string) string {
	said, err := os.ReadFile(filepath.Join(folder, file))
	if err != nil {
		return ""
	}
	return plain(string(said))
}

// plain is a text without what can not be shown in one line.
func plain(said string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) && !unicode.IsSpace(r) || r == unicode.ReplacementChar {
			return -1
		}
		if unicode.IsSpace(r) {
			return ' '
		}
		return r
	}, said))
}
