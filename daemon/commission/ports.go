package commission

import (
	"fmt"
	"regexp"

	"meltwarden/config"
)

// numbered are names that the system gives to USB adapters in the order in which it
// finds them.
var numbered = regexp.MustCompile(`(^|/)tty(USB|ACM)[0-9]+$`)

// warnings returns what is not refused and yet should be changed in a bench file: a
// port whose name may mean another adapter after the next start.
func warnings(b *config.Bench) []string {
	var list []string
	for _, l := range b.Lines {
		if numbered.MatchString(l.Port) {
			list = append(list, fmt.Sprintf("line %s: port %s is numbered in the order of plugging in, and may be another adapter after the next start: name its adapter, its serial number (/dev/serial/by-id) or its socket (/dev/serial/by-path), as meltwarden ports prints them", l.Name, l.Port))
		}
	}
	return list
}
