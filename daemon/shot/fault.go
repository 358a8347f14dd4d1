package shot

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// Clean is the verdict on a bait without a fault.
const Clean = "clean"

// verdicts are the words for what became of a bait; a shot has a set of them.
var verdicts = []string{
	Clean, "bled", "swirled", "seam", "dented", "short", "flash", "bubbles",
	"scorched", "cloudy", "dull", "low contrast", "flake sunk",
}

// Verdicts lists every verdict, "clean" first.
func Verdicts() []string { return slices.Clone(verdicts) }

// Verdict is one word of the maker's about one shot.
type Verdict struct {
	Fault string `json:"fault"`
	// Colours are those it concerns: one, or two whose boundary it is; none is the
	// whole bait.
	Colours []string `json:"colours"`
	// Cavity of the mould, as the maker calls it; "" is all of them.
	Cavity string `json:"cavity"`
	// Day is how many days after the shot it was seen: 0 is at demould. What shows
	// only later has other causes than heat.
	Day int       `json:"day"`
	At  time.Time `json:"at"` // when it was written down
}

// LastDay is the latest day of a re-inspection (E: whoever looks after a year looks
// at storage).
const LastDay = 366

// Check returns why a verdict can not be right, for a run with these colours.
func (v Verdict) Check(colours []string) error {
	if !slices.Contains(verdicts, v.Fault) {
		return fmt.Errorf("fault %q: not known; write one of: %s", v.Fault, strings.Join(verdicts, ", "))
	}
	for i, c := range v.Colours {
		if !slices.Contains(colours, c) {
			return fmt.Errorf("colour %q: not in this run; write one or two of: %s", c, strings.Join(colours, ", "))
		}
		if slices.Contains(v.Colours[:i], c) {
			return fmt.Errorf("colour %q: named twice; name the two colours that meet, or one", c)
		}
	}
	if len(v.Colours) > 2 {
		return errors.New("colours: more than two; name the two that meet, or one, or none for the whole bait")
	}
	if len(v.Cavity) > mostCavity || strings.ContainsFunc(v.Cavity, unicode.IsControl) {
		return fmt.Errorf("cavity: longer than %d letters, or more than a line; write what is stamped on it", mostCavity)
	}
	if v.Day < 0 || v.Day > LastDay {
		return fmt.Errorf("day %d: write 0 for at demould, or the day of the re-inspection, up to %d", v.Day, LastDay)
	}
	return nil
}

const mostCavity = 20

// String is the verdict in words: "bled: slate and ivory, cavity 2, day 3".
func (v Verdict) String() string {
	var about []string
	if len(v.Colours) > 0 {
		about = append(about, strings.Join(v.Colours, " and "))
	}
	if v.Cavity != "" {
		about = append(about, "cavity "+v.Cavity)
	}
	if v.Day > 0 {
		about = append(about, "day "+strconv.Itoa(v.Day))
	}
	if len(about) == 0 {
		return v.Fault
	}
	return v.Fault + ": " + strings.Join(about, ", ")
}
