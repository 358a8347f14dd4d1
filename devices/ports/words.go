package ports

import (
	"fmt"
	"slices"
	"strings"
)

// Notes say what has to be known before one of the ports is written into a bench file:
// which adapters can not be told apart, and what to do about it.
func (l List) Notes() (notes []string) {
	if l.Without != "" {
		notes = append(notes, strings.ToUpper(l.Without[:1])+l.Without[1:]+".")
	}
	if len(l.Ports) == 0 {
		notes = append(notes, "No serial port is there: plug the adapter in. If it is, look at its cable, and whether the system knows it.")
	}
	var said []string
	for _, p := range l.Ports {
		if d := l.DoubtOf(p); d != Told && !slices.Contains(said, p.Name) {
			same := []string{p.Name}
			for _, o := range l.Alike(p) {
				same = append(same, o.Name)
			}
			said = append(said, same...)
			notes = append(notes, l.alikeWords(p, same, d))
		}
	}
	return notes
}

// alikeWords are about ports that can not be told apart, or one that could not be told from
// a second.
func (l List) alikeWords(p Port, same []string, d Doubt) string {
	do := " Write the path below each (by-path). It stays with the socket of the computer, not with the adapter: whoever swaps the plugs swaps the lines. Mark plugs and sockets."
	if l.Steady(p) == p.Name {
		do = " No path is known that stays with the socket. The name may mean another one after plugs were moved: mark plugs and sockets, and try each line before heating."
	}
	what := fmt.Sprintf("%s:%s, %s", p.Adapter.Vendor, p.Adapter.Product, d)
	if d == Twins {
		what = fmt.Sprintf("%s:%s, serial number %q", p.Adapter.Vendor, p.Adapter.Product, p.Adapter.Serial)
	}
	if len(same) == 1 {
		return fmt.Sprintf("%s says only what any other of its kind says (%s): a second one could not be told from it.%s", p.Name, what, do)
	}
	return fmt.Sprintf("%s can not be told apart: they say the same (%s).%s", strings.Join(same, " and "), what, do)
}
