package lines

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Table is rows of cells, set in columns that stand two blanks apart. Where that would be
// wider than a terminal, cells are broken between words, so that the fewest lines come of
// it; a figure and its unit stay together. Only words that are too long make a line wider.
type Table struct {
	// Indent stands before every line.
	Indent string
	// Right is how many columns, from the left, are set to the right, as figures are.
	Right int

	rows   [][]string
	below  map[int]string // what stands below a row, by its number
	widths []int
}

// apart is what stands between two columns.
const apart = 2

// Row adds a row.
func (t *Table) Row(cells ...string) { t.rows = append(t.rows, cells) }

// Below has a text stand below the row that was added last, as wide as it is.
func (t *Table) Below(text string) {
	if t.below == nil {
		t.below = map[int]string{}
	}
	t.below[len(t.rows)-1] = text
}

// String is the table, each line with its end.
func (t *Table) String() string {
	t.fit()
	var out strings.Builder
	for n, row := range t.rows {
		var broken [][]string
		height := 1
		for c, cell := range row {
			broken = append(broken, breakCell(cell, t.widths[c]))
			height = max(height, len(broken[c]))
		}
		for i := range height {
			out.WriteString(t.line(broken, i) + "\n")
		}
		if text := t.below[n]; text != "" {
			out.WriteString(text + "\n")
		}
	}
	return out.String()
}

// line is line i of a row.
func (t *Table) line(cells [][]string, i int) string {
	line := t.Indent
	for c, cell := range cells {
		text := ""
		if i < len(cell) {
			text = cell[i]
		}
		blanks := strings.Repeat(" ", max(0, t.widths[c]-utf8.RuneCountInString(text)))
		if c < t.Right {
			text = blanks + text
		} else {
			text += blanks
		}
		if c > 0 {
			line += strings.Repeat(" ", apart)
		}
		line += text
	}
	return strings.TrimRight(line, " ")
}

// fit chooses the widths of the columns.
func (t *Table) fit() {
	t.widths = nil
	for _, row := range t.rows {
		for c, cell := range row {
			if c == len(t.widths) {
				t.widths = append(t.widths, 0)
			}
			t.widths[c] = max(t.widths[c], utf8.RuneCountInString(cell))
		}
	}
	for over := t.over(); over > 0; over = t.over() {
		column, width := t.cheapest(over)
		if column < 0 {
			return // words that are too long
		}
		t.widths[column] = width
	}
}

// over is by how many letters it is too wide.
func (t *Table) over() int {
	wide := utf8.RuneCountInString(t.Indent) + apart*(len(t.widths)-1)
	for _, w := range t.widths {
		wide += w
	}
	return wide - Wide
}

// cheapest is the column, and its width, by which the fewest lines are added for a letter
// that is gained; a column of -1 where none can be narrower.
func (t *Table) cheapest(over int) (column, width int) {
	column = -1
	now, best := t.height(-1, 0), 0.0
	for c, from := range t.widths {
		for w := from - 1; w >= max(from-over, t.least(c)); w-- {
			cost := (t.height(c, w) - now) / float64(from-w)
			if column < 0 || cost <= best {
				column, width, best = c, w, cost
			}
		}
	}
	return column, width
}

// least is the longest word of a column.
func (t *Table) least(column int) (least int) {
	for _, row := range t.rows {
		if column < len(row) {
			for _, word := range glued(row[column]) {
				least = max(least, utf8.RuneCountInString(word))
			}
		}
	}
	return least
}

// height is how many lines there are with one column of another width; those of the first
// row, which is its head in most tables, are worth a tenth.
func (t *Table) height(column, width int) (height float64) {
	for n, row := range t.rows {
		most := 1
		for c, cell := range row {
			w := t.widths[c]
			if c == column {
				w = width
			}
			if utf8.RuneCountInString(cell) > w {
				most = max(most, len(breakCell(cell, w)))
			}
		}
		if n > 0 {
			height += float64(most)
		} else {
			height += float64(most) / 10
		}
	}
	return height
}

// breakCell breaks a cell into lines of a width. What fits stays as it is.
func breakCell(cell string, width int) []string {
	if utf8.RuneCountInString(cell) <= width {
		return []string{cell}
	}
	var all []string
	line := ""
	for _, word := range glued(cell) {
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= width:
			line += " " + word
		default:
			all, line = append(all, line), word
		}
	}
	return append(all, line)
}

// glued are the words of a cell; a figure is one with what follows it, which is its unit,
// and so is a sign with its figure.
func glued(cell string) (words []string) {
	for _, word := range strings.Fields(cell) {
		if last := len(words) - 1; last >= 0 && glues(words[last]) {
			words[last] += " " + word
			continue
		}
		words = append(words, word)
	}
	return words
}

func glues(word string) bool {
	last, _ := utf8.DecodeLastRuneInString(word)
	return unicode.IsDigit(last) || strings.ContainsRune("±×≈", last)
}
