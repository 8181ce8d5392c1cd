package svg

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
)

// The measures of what stands under the lanes.
const (
	legendGap     = 16
	legendRow     = 17
	legendColumns = 4
	swatchWidth   = 26
	swatchHeight  = 12
	noteColumns   = 3
	headingWidth  = 88
)

const legendWidth = pageWidth - 2*margin - headingWidth

// legendCount is the number of entries in the legend: the signs, then the groups.
func (t *timeline) legendCount() int { return len(t.signs()) + len(t.groups) }

// sign is an entry of the legend that explains a sign, drawn at (x, y).
type sign struct {
	label words.Label
	draw  func(x, y float64)
}

// signs lists only those that occur in the picture.
func (t *timeline) signs() []sign {
	var signs []sign
	add := func(occurs bool, label words.Label, draw func(x, y float64)) {
		if occurs {
			signs = append(signs, sign{label, draw})
		}
	}
	anyTurn := func(is func(render.Turn) bool) bool { return slices.ContainsFunc(t.s.Turns, is) }
	add(len(t.s.WaterHours) > 0, words.LabelWaterHours, func(x, y float64) {
		t.rect(x, y, swatchWidth, swatchHeight, waterHoursLook()...)
	})
	add(anyTurn(anyShort), words.LabelShortTurn, func(x, y float64) { t.shortMark(x+swatchWidth/2, y+2) })
	add(anyTurn(func(turn render.Turn) bool { return turn.Kind != render.ZoneTurn }), words.LabelByHand, func(x, y float64) {
		t.rect(x, y, swatchWidth, swatchHeight, at("fill", paper), at("stroke", ink), num("rx", swatchHeight/2))
	})
	add(anyTurn(func(turn render.Turn) bool { return turn.Status == render.Cancelled }), words.LabelCancelledTurn, func(x, y float64) {
		t.rect(x, y, swatchWidth, swatchHeight, at("fill", paper), at("stroke", muted), at("stroke-dasharray", "4 3"))
	})
	return signs
}

func (t *timeline) drawLegend() {
	if t.legendCount() == 0 {
		return
	}
	t.heading(words.LabelLegend)
	// Signs have long labels and take rows of their own, groups follow in more columns.
	const signColumns = 4
	signs := t.signs()
	for i, s := range signs {
		x, y := t.cell(i, signColumns)
		s.draw(x, y-swatchHeight+2)
		t.fitted(x+swatchWidth+6, y, smallText, legendWidth/signColumns-swatchWidth-12, t.p.Label(s.label))
	}
	t.y += legendRow * rows(len(signs), signColumns)
	for i, g := range t.groups {
		x, y := t.cell(i, legendColumns)
		m := t.marks[g]
		t.rect(x, y-swatchHeight+2, swatchWidth, swatchHeight, m.fill(), at("stroke", m.strong), num("stroke-width", 1))
		t.fitted(x+swatchWidth+6, y, smallText, legendWidth/legendColumns-swatchWidth-12, words.OneLine(g))
	}
	t.y += legendRow * rows(len(t.groups), legendColumns)
}

func (t *timeline) drawNotes() {
	if len(t.noted) == 0 {
		return
	}
	t.heading(words.LabelShortTurns)
	for i, b := range t.noted {
		x, y := t.cell(i, noteColumns)
		text := strconv.Itoa(i+1) + "  " + t.p.Date(b.turn.Start) + " " + t.p.Span(b.turn.Start, b.turn.End) + " "
		if b.turn.Status == render.Cancelled {
			text += "(" + t.p.Label(words.LabelCancelled) + ") "
		}
		text += words.OneLine(b.turn.ZoneName) + ", " + words.OneLine(b.turn.SourceName)
		t.fitted(x, y, smallText, legendWidth/noteColumns-10, text)
	}
	t.y += legendRow * rows(len(t.noted), noteColumns)
}

// shortLines are the plots that go short, the shortest first, broken into lines.
func (t *timeline) shortLines() []string {
	short := slices.DeleteFunc(slices.Clone(t.s.Shares), func(s render.Share) bool { return !render.IsShort(s.Fraction) })
	slices.SortStableFunc(short, func(a, b render.Share) int { return cmp.Compare(a.Fraction, b.Fraction) })
	text := ""
	for i, s := range short {
		if i > 0 {
			text += "; "
		}
		text += words.PlotLabel(s.PlotName, s.LayoutName) + " " + words.Percent(s.Fraction)
	}
	return wrap(text, smallText, legendWidth)
}

func (t *timeline) drawShort() {
	lines := t.shortLines()
	if len(lines) == 0 {
		return
	}
	t.heading(words.LabelShort)
	for _, line := range lines {
		_, y := t.cell(0, 1)
		t.text(margin+headingWidth, y, smallText, line)
		t.y += legendRow
	}
}

// heading writes the name of a block in the left column.
func (t *timeline) heading(label words.Label) {
	t.text(margin, t.y+smallText, smallText, t.p.Label(label), at("font-weight", "bold"))
}

// cell returns where the i-th entry of a block begins, on its base line.
func (t *timeline) cell(i, columns int) (x, y float64) {
	return margin + headingWidth + float64(i%columns)*legendWidth/float64(columns), t.y + float64(i/columns)*legendRow + smallText
}

func rows(entries, columns int) float64 { return math.Ceil(float64(entries) / float64(columns)) }

// height is that of the whole picture.
func (t *timeline) height() float64 {
	lines := rows(len(t.signs()), 4) + rows(len(t.groups), legendColumns) + rows(len(t.noted), noteColumns) + float64(len(t.shortLines()))
	return headHeight + laneHeight*float64(t.laneCount()) + legendGap + legendRow*lines + margin/2
}
