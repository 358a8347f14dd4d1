package strict

import "strings"

// Nearest returns the name that a misspelt one most likely stands for, and
// whether any is near enough. Letter case, spaces and the kind of dash do not
// count.
func Nearest(typed string, names []string) (string, bool) {
	best, bestAway := "", len(typed)/4+2 // a slip or two, more in a long word
	for _, name := range names {
		if away := distance(plain(typed), plain(name)); away < bestAway && away < len(name) {
			best, bestAway = name, away
		}
	}
	return best, best != ""
}

func plain(s string) string {
	return strings.NewReplacer("_", "", "-", "", " ", "").Replace(strings.ToLower(s))
}

// distance is the number of letters to insert, delete or change between two
// words (V. I. Levenshtein, Soviet Physics Doklady 10 (1966) 707–710).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
