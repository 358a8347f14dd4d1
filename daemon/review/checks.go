package review

import (
	"fmt"

	"meltwarden/daemon/history"
)

// ChecksLine says which of the before-heat checks were written down last, and when.
func (r Review) ChecksLine() string {
	line := NotRecorded
	for _, e := range r.Events {
		if e.Kind == history.Checked {
			line = fmt.Sprintf("%s, at %s", e.Text, e.Wall.Format("15:04"))
		}
	}
	return string(history.Checked) + ": " + line
}
