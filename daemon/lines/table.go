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
	if t.over() <= 0 {
		return
	}
	columns := t.columns()
	for over := t.over(); over > 0; over = t.over() {
		column, width := t.cheapest(over, columns)
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

// measured is a cell by its lengths, in letters: they are taken once, since a long table is
// tried at many widths.
type measured struct {
	whole int
	words []int
}

// lines is how many a cell has at a width, as breakCell breaks it.
func (m measured) lines(width int) int {
	if m.whole <= width {
		return 1
	}
	lines, used := 0, width
	for _, word := range m.words {
		if used += 1 + word; lines == 0 || used > width {
			lines, used = lines+1, word
		}
	}
	return lines
}

// column is its cells, by row, and its longest word.
type column struct {
	cells []measured
	least int
}

// columns measures every cell.
func (t *Table) columns() []column {
	all := make([]column, len(t.widths))
	for n, row := range t.rows {
		for c, cell := range row {
			m := measured{whole: utf8.RuneCountInString(cell)}
			for _, word := range glued(cell) {
				m.words = append(m.words, utf8.RuneCountInString(word))
				all[c].least = max(all[c].least, m.words[len(m.words)-1])
			}
			all[c].cells = append(append(all[c].cells, make([]measured, n-len(all[c].cells))...), m)
		}
	}
	return all
}

// cheapest is the column, and its width, by which the fewest lines are added for a letter
// that is gained; a column of -1 where none can be narrower than its longest word.
func (t *Table) cheapest(over int, columns []column) (which, width int) {
	which = -1
	heights, best := t.heights(columns), 0.0
	for c, from := range t.widths {
		for w := from - 1; w >= max(from-over, columns[c].least); w-- {
			cost := float64(columns[c].more(w, heights)) / float64(from-w)
			if which < 0 || cost <= best {
				which, width, best = c, w, cost
			}
		}
	}
	return which, width
}

// heights are how many lines each row has now.
func (t *Table) heights(columns []column) []int {
	lines := make([]int, len(t.rows))
	for c, column := range columns {
		for n, cell := range column.cells {
			lines[n] = max(lines[n], 1, cell.lines(t.widths[c]))
		}
	}
	return lines
}

// more is how many lines, in tenths, are added where the column is narrower and the rows are
// so high now; those of the first row, which is its head in most tables, are worth a tenth.
func (c column) more(width int, heights []int) (tenths int) {
	for n, cell := range c.cells {
		worth := 10
		if n == 0 {
			worth = 1
		}
		tenths += worth * max(0, cell.lines(width)-heights[n])
	}
	return tenths
}

// breakCell breaks a cell into lines of a width. What fits stays as it is.
func breakCell(cell string, width int) []string {
	if utf8.RuneCountInString(cell) <= width {
		return []string{cell}
	}
	return fold(width, "", "", glued(cell))
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
