package words

import (
	"cmp"
	"strconv"
	"strings"
	"unicode"
)

// align says on which side a column of a text table is flush.
type align int

const (
	left align = iota
	right
)

// tabulate sets rows in columns two spaces apart. A column is as wide as its widest cell but no wider than its
// limit; longer cells are cut with an ellipsis.
func tabulate(rows [][]string, aligns []align, limits []int) []string {
	widths := make([]int, len(aligns))
	for _, row := range rows {
		for i, cell := range row {
			widths[i] = min(max(widths[i], columns(cell)), limits[i])
		}
	}
	lines := make([]string, len(rows))
	for i, row := range rows {
		cells := make([]string, len(row))
		for j, cell := range row {
			cell = cut(cell, widths[j])
			padding := strings.Repeat(" ", widths[j]-columns(cell))
			if aligns[j] == right {
				cells[j] = padding + cell
			} else {
				cells[j] = cell + padding
			}
		}
		lines[i] = strings.TrimRight(strings.Join(cells, "  "), " ")
	}
	return lines
}

// columns counts the terminal columns of a text.
func columns(s string) int {
	n := 0
	for _, r := range s {
		n += runeColumns(r)
	}
	return n
}

func runeColumns(r rune) int {
	switch {
	case unicode.Is(unicode.Mn, r) || unicode.Is(unicode.Me, r) || unicode.Is(unicode.Cf, r):
		return 0
	case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul) || r >= 0xFF01 && r <= 0xFF60 || r >= 0x1F300:
		return 2
	}
	return 1
}

// cut shortens a text to a width, with an ellipsis where something is missing.
func cut(s string, width int) string {
	if columns(s) <= width {
		return s
	}
	used, end := 0, 0
	for i, r := range s {
		used += runeColumns(r)
		if used > width-1 {
			break
		}
		end = i + len(string(r))
	}
	return s[:end] + "…"
}

// wrap breaks a text between words; a word wider than the line is cut.
func wrap(s string, width int) []string {
	var lines []string
	current := ""
	for _, word := range strings.Fields(s) {
		candidate := strings.TrimSpace(current + " " + word)
		if current != "" && columns(candidate) > width {
			lines = append(lines, current)
			candidate = word
		}
		current = cut(candidate, width)
	}
	if current != "" {
		lines = append(lines, current)
	}
	return lines
}

// Compare orders names as people do: numbers inside them by value, so that Plot 2 stands before Plot 11.
func Compare(a, b string) int {
	for a != "" && b != "" {
		x, y := leadingPart(a), leadingPart(b)
		a, b = a[len(x):], b[len(y):]
		m, errX := strconv.ParseUint(x, 10, 64)
		n, errY := strconv.ParseUint(y, 10, 64)
		order := cmp.Compare(x, y)
		if errX == nil && errY == nil {
			order = cmp.Or(cmp.Compare(m, n), order)
		}
		if order != 0 {
			return order
		}
	}
	return cmp.Compare(a, b)
}

// leadingPart returns the run of digits, or of other characters, with which s begins.
func leadingPart(s string) string {
	digit := func(c byte) bool { return c >= '0' && c <= '9' }
	end := 1
	for end < len(s) && digit(s[end]) == digit(s[0]) {
		end++
	}
	return s[:end]
}
