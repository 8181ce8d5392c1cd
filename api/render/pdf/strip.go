package pdf

import (
	"math"

	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/unit"
)

// The measures of strips [pt].
const (
	stripPipe  = 9.0 // height of the pipe
	stripTick  = 5.0
	stripAbove = 14.0
	stripGap   = 10.0 // below a row of a full-size strip
)

// points returns a length on paper at full size: 72 points to the inch.
func points(l unit.Length) float64 { return l.Inches() * 72 }

// strip draws a pipe to scale with its marks, tee end to the left; the figures of some marks stand above.
func (l *layoutPages) strip(d *fieldwork.DrillSheet) {
	l.font(smallSize, plain)
	const marks = 3 // lines: the heading of the marks and the first of them
	l.need(stripAbove + stripPipe + (3+marks)*l.lineHeight())
	left, width := marginSide+4, l.room()-8
	base := l.stripRow(d, left, width, 0, d.Length)
	length, far := l.p.Measure(d.Length).String(), l.p.Sheet(words.SheetFarEnd)
	l.textAt(left, base, "← "+l.p.Sheet(words.SheetTeeEnd))
	l.textAt(left+width/2-l.textWidth(length)/2, base, length)
	l.textAt(left+width-l.textWidth(far), base, far)
	l.y = base + 4
}

// stripRow draws the pipe from one position to another over a width, and returns the base line of a text below it.
func (l *layoutPages) stripRow(d *fieldwork.DrillSheet, left, width float64, from, to unit.Length) float64 {
	top := l.y + stripAbove + l.lineHeight()*0.5
	l.rect(left, top, width, stripPipe, 0.8, false)
	scale := width / float64(to-from)
	written := left - 100
	for _, m := range d.Marks {
		if m.At < from || m.At > to {
			continue
		}
		x := left + float64(m.At-from)*scale
		l.line(x, top-stripTick/2, x, top+stripPipe+stripTick/2, 0.6)
		text := l.p.Mark(m.Steps)
		w := l.textWidth(text)
		if at := math.Max(left, x-w/2); at > written+4 && at+w <= l.right() {
			l.textAt(at, top-stripTick, text)
			written = at + w
		}
	}
	return top + stripPipe + stripTick/2 + l.lineHeight()
}

// fullRow is the length of pipe on one row of a full-size strip: it fits both papers beside the margins.
func (l *layoutPages) fullRow() unit.Length {
	if l.p.Ruler() == fieldwork.RulerInches {
		return unit.Inches(6)
	}
	return unit.Millimeters(150)
}

// fullSize draws a pipe in its true length, row by row. Each row says at both ends how far it is from the tee end, so that
// rows can be cut out and laid end to end; a bar shows whether the printer kept the size.
func (l *layoutPages) fullSize(d *fieldwork.DrillSheet) {
	row := l.fullRow()
	l.paragraph(l.p.FullSize(row))
	l.font(smallSize, plain)
	l.y += 6
	l.line(marginSide, l.y, marginSide+points(row), l.y, 1)
	for _, x := range []float64{marginSide, marginSide + points(row)} {
		l.line(x, l.y-3, x, l.y+3, 1)
	}
	l.textAt(marginSide+points(row)+6, l.y+3, l.p.Measure(row).String())
	l.y += 4
	const hair = 1e-6 // [m] what is left of a row by rounding
	for from := unit.Length(0); from < d.Length-hair; from += row {
		l.font(smallSize, plain)
		to := min(from+row, d.Length)
		l.need(stripAbove + stripPipe + stripGap + 2*l.lineHeight())
		base := l.stripRow(d, marginSide, points(to-from), from, to)
		start := l.p.Measure(from).String()
		if from == 0 {
			start = "← " + l.p.Sheet(words.SheetTeeEnd)
		}
		end := l.p.Measure(to).String()
		l.textAt(marginSide, base, start)
		if x := marginSide + points(to-from) - l.textWidth(end); x > marginSide+l.textWidth(start)+6 {
			l.textAt(x, base, end)
		} else {
			l.textAt(marginSide+l.textWidth(start)+6, base, end)
		}
		l.y = base + stripGap
	}
}
