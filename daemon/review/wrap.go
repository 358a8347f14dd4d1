package review

import (
	"strings"
	"unicode/utf8"
)

// wide is how long a line of a terminal may be.
const wide = 98

// Wrap breaks words into lines that a terminal has room for, each behind an indent.
func Wrap(indent, words string) string {
	var lines []string
	line := indent
	for _, word := range strings.Fields(words) {
		if len(line) > len(indent) {
			if utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= wide {
				line += " " + word
				continue
			}
			lines = append(lines, line)
			line = indent + hanging(words)
		}
		line += word
	}
	return strings.Join(append(lines, line), "\n")
}

// hanging is how far the second line of an item stands in.
func hanging(words string) string {
	if strings.HasPrefix(words, "- ") {
		return "  "
	}
	return ""
}
