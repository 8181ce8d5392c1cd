package pdf

import (
	"math"
	"slices"
	"strings"
)

// column is one column of a table.
type column struct {
	head  string
	share float64 // of the width
	right bool    // flush right
}

// table writes rows below a head that stands again on every page. A cell is wrapped, and cut only when it would fill
// most of a page by itself. A cell that says
// boxMark gets a box to tick.
func (s *sheet) table(columns []column, rows [][]string) {
	widths := s.columnWidths(columns, rows)
	heads := headsOf(columns)
	s.need(s.beginning(columns, rows))
	s.y += aboveTable
	s.tableHead(columns, heads, widths)
	for _, row := range rows {
		s.font(bodySize, plain)
		h := s.rowHeight(columns, row, widths)
		if s.y+h > s.bottom() {
			s.addPage()
			s.tableHead(columns, heads, widths)
			s.font(bodySize, plain)
		}
		s.row(columns, row, widths, h)
	}
	s.y += 6
}

// headed writes a table below a heading that stays with its first row.
func (s *sheet) headed(title string, columns []column, rows [][]string) {
	s.heading(title, s.beginning(columns, rows)/s.scale)
	s.table(columns, rows)
}

const aboveTable = 3.0

func headsOf(columns []column) []string {
	heads := make([]string, len(columns))
	for i, c := range columns {
		heads[i] = c.head
	}
	return heads
}

// beginning is the height of a table down to its first row, which stays with what is written above it.
func (s *sheet) beginning(columns []column, rows [][]string) float64 {
	widths := s.columnWidths(columns, rows)
	s.font(bodySize, bold)
	h := aboveTable + s.rowHeight(columns, headsOf(columns), widths)
	s.font(bodySize, plain)
	if len(rows) > 0 {
		h += s.rowHeight(columns, rows[0], widths)
	}
	return h
}

// columnWidths shares out the width, so that no word is broken where that can be had.
func (s *sheet) columnWidths(columns []column, rows [][]string) []float64 {
	least := make([]float64, len(columns))
	widest := func(texts []string, face weight) {
		s.font(bodySize, face)
		for i, t := range texts {
			least[i] = math.Max(least[i], s.longestWord(t)+columns[i].pads())
		}
	}
	widest(headsOf(columns), bold)
	for _, row := range rows {
		widest(row, plain)
	}
	widths := make([]float64, len(columns))
	fixed := make([]bool, len(columns))
	for {
		room, total := s.room(), 0.0
		for i, c := range columns {
			if fixed[i] {
				room -= widths[i]
			} else {
				total += c.share
			}
		}
		again := false
		for i, c := range columns {
			if !fixed[i] {
				widths[i] = math.Max(c.share/total*room, c.pads()+s.size)
				if least[i] > widths[i] && least[i] < s.room()/2 {
					widths[i], fixed[i], again = least[i], true, true
					break
				}
			}
		}
		if !again {
			return widths
		}
	}
}

// dropEmpty leaves out the last column where no row says anything in it.
func dropEmpty(columns []column, rows [][]string) (some []column, of [][]string) {
	last := len(columns) - 1
	if slices.ContainsFunc(rows, func(row []string) bool { return row[last] != "" }) {
		return columns, rows
	}
	for i := range rows {
		of = append(of, rows[i][:last])
	}
	return columns[:last], of
}

// longestWord returns the width of the widest word that can't be broken.
func (s *sheet) longestWord(text string) float64 {
	widest := 0.0
	for _, w := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\n' }) {
		widest = math.Max(widest, s.textWidth(w))
	}
	const rounding = 0.1
	return widest + rounding
}

// pads is the room beside the text of a column; figures keep away from the text to their right.
func (c column) pads() float64 {
	if c.right {
		return 2*cellPad + figureGap
	}
	return 2 * cellPad
}

const figureGap = 6.0

func (s *sheet) tableHead(columns []column, heads []string, widths []float64) {
	s.font(bodySize, bold)
	h := s.rowHeight(columns, heads, widths)
	s.ink(232)
	s.rect(marginSide, s.y, s.room(), h, 0, true)
	s.ink(0)
	s.row(columns, heads, widths, h)
}

func (s *sheet) rowHeight(columns []column, row []string, widths []float64) float64 {
	lines := 1
	for i, cell := range row {
		lines = max(lines, len(s.cellLines(cell, widths[i]-columns[i].pads())))
	}
	return float64(lines)*s.lineHeight() + 2*cellPad
}

// cellLines wraps a cell and cuts what is longer than half a page.
func (s *sheet) cellLines(cell string, width float64) []string {
	lines := s.wrap(cell, width)
	most := int((s.bottom() - marginTop) / 2 / s.lineHeight())
	if len(lines) > most {
		lines = append(lines[:most-1], "…")
	}
	return lines
}

// row draws one row.
func (s *sheet) row(columns []column, row []string, widths []float64, h float64) {
	x := marginSide
	top := s.y
	for i, cell := range row {
		s.cell(x, top, widths[i], cell, columns[i])
		x += widths[i]
	}
	s.y = top + h
	s.ink(90) // dark enough for a printer that knows only black and white
	s.line(marginSide, s.y, s.right(), s.y, 0.4)
	s.ink(0)
}

func (s *sheet) cell(x, top, width float64, cell string, c column) {
	if cell == boxMark {
		side := s.size
		s.rect(x+cellPad+1, top+cellPad+1, side, side, 0.7, false)
		return
	}
	for n, l := range s.cellLines(cell, width-c.pads()) {
		left := x + cellPad
		if c.right {
			left = x + width - cellPad - figureGap - s.textWidth(l)
		}
		s.textAt(left, top+cellPad+float64(n+1)*s.lineHeight()-s.size*(lineFactor-1), l)
	}
}

// figures writes short figures in even columns, read row by row.
func (s *sheet) figures(texts []string) {
	s.font(bodySize, plain)
	widest := 0.0
	for _, t := range texts {
		widest = math.Max(widest, s.textWidth(t))
	}
	const gap = 12
	columns := max(1, int((s.room()+gap)/(widest+gap)))
	step := s.room() / float64(columns)
	for i := 0; i < len(texts); i += columns {
		s.need(s.lineHeight())
		s.y += s.lineHeight()
		for k := i; k < min(i+columns, len(texts)); k++ {
			right := marginSide + float64(k-i)*step + widest
			s.textAt(right-s.textWidth(texts[k]), s.y-2, texts[k])
		}
	}
	s.y += 5
}
