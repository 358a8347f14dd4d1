package scan

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// shortest is the time-out that a device is given at least, and longest at most, which is the
// most that a bench file takes; one that was late gets patient.
const (
	shortest = 100 * time.Millisecond
	patient  = 500 * time.Millisecond
	longest  = 800 * time.Millisecond
)

// Timeout is what to give the device in a bench file: four times the longest answer that
// was seen, since a scan sees few.
func (f Found) Timeout() time.Duration {
	t := (4*f.Worst + 49*time.Millisecond) / (50 * time.Millisecond) * (50 * time.Millisecond)
	if f.Late {
		t = patient
	}
	return min(max(t, shortest), longest)
}

// BenchLines are what was found as lines of a bench file, with the port as it was named.
// Names are to be changed, and channels to be added.
func (r Result) BenchLines(port string) string {
	var lines, devices strings.Builder
	named := map[Setting]string{}
	for _, f := range r.Found {
		s := f.Settings[0]
		if named[s] == "" {
			named[s] = string(rune('a' + len(named)))
			fmt.Fprintf(&lines, "  - {name: %s, port: %q, baud: %d, parity: %s, stop-bits: 1}\n", named[s], port, s.Baud, s.Parity)
		}
		fmt.Fprintf(&devices, "  - {name: unit-%d, line: %s, unit: %d, timeout: %d ms}\n", f.Unit, named[s], f.Unit, f.Timeout().Milliseconds())
	}
	if len(r.Found) == 0 {
		return ""
	}
	return "lines:\n" + lines.String() + "devices:\n" + devices.String()
}

// Notes say what of a result is in doubt, and what to do.
func (r Result) Notes() []string {
	notes := []string{}
	if len(r.Found) == 0 {
		notes = append(notes, "Nothing answered. Look at its supply, and whether the two wires of the line are swapped; try every unit number with --units 1-247, and longer answers with --wait 500ms.")
	}
	var first []Setting
	for _, f := range r.Found {
		if speeds(f.Settings) > 1 {
			notes = append(notes, fmt.Sprintf("Unit %d answers at several speeds, so this line takes any, as a pseudo-terminal or a network does: its own speed and parity are not known.", f.Unit))
		} else if len(f.Settings) > 1 {
			notes = append(notes, fmt.Sprintf("Unit %d answers with several parities: it checks none. Use the one that it is set to.", f.Unit))
		}
		if f.Late {
			notes = append(notes, fmt.Sprintf("Unit %d answers later than was waited for: try --wait 500ms, and give it time in the bench file.", f.Unit))
		}
		if !slices.Contains(first, f.Settings[0]) {
			first = append(first, f.Settings[0])
		}
	}
	if len(first) > 1 {
		notes = append(notes, "Not all devices have the same speed and parity. On one line they must: set them alike, one at a time, as their manuals say.")
	}
	for _, s := range r.Heard {
		notes = append(notes, fmt.Sprintf("At %s something came that is no answer: the right speed with another parity perhaps, or two devices with one number.", s))
	}
	return notes
}

func speeds(all []Setting) int {
	bauds := map[int]bool{}
	for _, s := range all {
		bauds[s.Baud] = true
	}
	return len(bauds)
}
