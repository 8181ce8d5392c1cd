package pdf

import (
	"math"
	"slices"
	"strconv"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

// The measures of drawings [pt].
const (
	mostDrawing = 300.0 // height of the layout
	drawingSide = 34.0  // beside the pipes, for numbers and the feed
	leastMeters = 0.1   // keeps the scale finite for a manifold without laterals
	mostHole    = 2.4   // radius of a hole's sign
	leastHole   = 0.6
	barLength   = 110.0 // about, of the bar that shows the scale
)

// scaled is a drawing with its scale.
type scaled struct {
	*sheet
	d     *render.LayoutDrawing
	ppm   float64 // points to the metre
	x, y0 float64 // of the manifold's upper end
	// numbered is the height of the last number on a side, by whether it is the left one; nothing before the first.
	numbered map[bool]float64
}

// drawing draws the layout to scale from above, the manifold from top to bottom.
func (l *layoutPages) drawing() {
	d := &l.d.Drawing
	left, right := 0.0, 0.0
	for _, o := range d.Outlets {
		switch {
		case o.Lateral == nil:
		case o.ToLeft:
			left = math.Max(left, o.Lateral.LengthM)
		default:
			right = math.Max(right, o.Lateral.LengthM)
		}
	}
	room := l.room() - 2*drawingSide
	ppm := math.Min(room/math.Max(left+right, leastMeters), mostDrawing/math.Max(d.ManifoldM, leastMeters))
	height := d.ManifoldM*ppm + 70
	l.heading(l.p.Sheet(words.SheetDrawing), height/l.scale)
	c := scaled{sheet: l.sheet, d: d, ppm: ppm, x: marginSide + drawingSide + left*ppm, y0: l.y + 26, numbered: map[bool]float64{}}
	for i, o := range d.Outlets {
		c.lateral(i, o)
	}
	c.line(c.x, c.y0-2, c.x, c.at(d.ManifoldM)+2, 3)
	c.feed()
	l.y = c.at(d.ManifoldM) + 26
	c.bar()
	l.paragraph(l.p.Sheet(words.SheetDrawingNote))
	l.list("•", l.p.Drawing(*d))
}

func (c *scaled) at(m float64) float64 { return c.y0 + m*c.ppm }

func (c *scaled) lateral(i int, o render.DrawnOutlet) {
	y := c.at(o.AtM)
	c.font(smallSize, bold)
	text := strconv.Itoa(i + 1)
	if o.Lateral == nil {
		text += " ×"
	}
	if o.Lateral == nil {
		c.number(i, c.x-6-c.textWidth(text), text)
		return
	}
	direction := 1.0
	if o.ToLeft {
		direction = -1
	}
	end := c.x + direction*o.Lateral.LengthM*c.ppm
	if o.ToLeft {
		c.number(i, c.x-c.reach(i)-6-c.textWidth(text), text)
	} else {
		c.number(i, c.x+c.reach(i)+6, text)
	}
	c.ink(80)
	c.line(c.x, y, end, y, 1.2)
	c.ink(0)
	c.line(end, y-3, end, y+3, 1.2)
	radius := c.radius(o.Lateral)
	for _, h := range o.Lateral.HoleSets {
		c.hole(c.x+direction*h.AtM*c.ppm, y, radius, h)
	}
}

// number writes an outlet's number, at the far end of its lateral or, closed, beside the manifold, unless an earlier one is
// in the way.
func (c *scaled) number(i int, x float64, text string) {
	y := c.at(c.d.Outlets[i].AtM) + c.size*0.35
	left := c.d.Outlets[i].ToLeft || c.d.Outlets[i].Lateral == nil
	if last, some := c.numbered[left]; !some || y-last >= c.size {
		c.textAt(x, y, text)
		c.numbered[left] = y
	}
}

// reach is how far from the manifold the laterals come that a number beside an outlet's would touch.
func (c *scaled) reach(i int) float64 {
	own := &c.d.Outlets[i]
	far := 0.0
	for _, o := range c.d.Outlets {
		if o.Lateral != nil && o.ToLeft == own.ToLeft && math.Abs(o.AtM-own.AtM)*c.ppm < c.size {
			far = math.Max(far, o.Lateral.LengthM*c.ppm)
		}
	}
	return far
}

// radius keeps the signs of neighbouring holes apart.
func (c *scaled) radius(l *render.DrawnLateral) float64 {
	r := mostHole
	for i := 1; i < len(l.HoleSets); i++ {
		r = math.Min(r, 0.4*math.Abs(l.HoleSets[i].AtM-l.HoleSets[i-1].AtM)*c.ppm)
	}
	return math.Max(r, leastHole)
}

// hole draws a full dot where water runs, a ring where it is unreliable, and a bar where the hole is plugged.
func (c *scaled) hole(x, y, r float64, h render.DrawnHoles) {
	switch {
	case h.Plugged:
		c.line(x, y-r-1, x, y+r+1, 0.8)
	case h.Unreliable:
		c.ink(255)
		c.circle(x, y, r, "F")
		c.ink(0)
		c.circle(x, y, r, "D")
	default:
		c.circle(x, y, r, "F")
	}
}

// feed draws an arrow where the water comes in.
func (c *scaled) feed() {
	const arrow, wing, gap = 14.0, 3.0, 5.0
	y := c.at(c.d.FeedAtM)
	c.font(smallSize, bold)
	text := c.p.Label(words.LabelFeed)
	switch {
	case c.d.FeedAtM <= 0:
		c.line(c.x, y-gap-arrow, c.x, y-gap, 1.2)
		c.line(c.x-wing, y-gap-wing*1.5, c.x, y-gap, 1.2)
		c.line(c.x+wing, y-gap-wing*1.5, c.x, y-gap, 1.2)
		c.textAt(c.x+6, y-gap-4, text)
	case c.d.FeedAtM >= c.d.ManifoldM:
		c.line(c.x, y+gap+arrow, c.x, y+gap, 1.2)
		c.line(c.x-wing, y+gap+wing*1.5, c.x, y+gap, 1.2)
		c.line(c.x+wing, y+gap+wing*1.5, c.x, y+gap, 1.2)
		c.textAt(c.x+6, y+gap+arrow, text)
	case c.toLeftAt(y):
		// A lateral leaves to the left there: the arrow comes from below it.
		const down, back = 12.0, 16.0
		c.line(c.x-back, y+down, c.x-gap, y+gap, 1.2)
		c.line(c.x-gap-wing*1.6, y+gap, c.x-gap, y+gap, 1.2)
		c.line(c.x-gap, y+gap+wing*1.6, c.x-gap, y+gap, 1.2)
		c.textAt(c.x-back-4-c.textWidth(text), y+down+3, text)
	default:
		const numbers = 16 // beside the numbers of closed outlets
		right := c.x - numbers
		c.line(right-arrow, y, right, y, 1.2)
		c.line(right-wing*1.5, y-wing, right, y, 1.2)
		c.line(right-wing*1.5, y+wing, right, y, 1.2)
		c.textAt(right-arrow-4-c.textWidth(text), y+3, text)
	}
}

// toLeftAt says that a lateral leaves to the left near a height of the drawing.
func (c *scaled) toLeftAt(y float64) bool {
	const near = 8
	return slices.ContainsFunc(c.d.Outlets, func(o render.DrawnOutlet) bool {
		return o.Lateral != nil && o.ToLeft && math.Abs(c.at(o.AtM)-y) < near
	})
}

// bar draws the scale and the signs.
func (c *scaled) bar() {
	steps := []float64{0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50}
	one, name := 1.0, " m"
	if c.d.Units == render.US {
		one, name = float64(unit.Feet(1)), " ft"
	}
	best := steps[0]
	for _, v := range steps {
		if v*one*c.ppm <= barLength {
			best = v
		}
	}
	width := best * one * c.ppm
	c.font(smallSize, plain)
	c.line(marginSide, c.y, marginSide+width, c.y, 1.2)
	c.line(marginSide, c.y-3, marginSide, c.y+3, 1)
	c.line(marginSide+width, c.y-3, marginSide+width, c.y+3, 1)
	x := marginSide + width + 6
	label := strconv.FormatFloat(best, 'f', -1, 64) + name
	c.textAt(x, c.y+3, label)
	x += c.textWidth(label) + 24
	for _, sign := range []struct {
		hole render.DrawnHoles
		text string
	}{
		{render.DrawnHoles{}, c.p.Sheet(words.SheetRuns)},
		{render.DrawnHoles{Unreliable: true}, c.p.Label(words.LabelUnreliable)},
		{render.DrawnHoles{Plugged: true}, c.p.Label(words.LabelPlugged)},
	} {
		c.hole(x, c.y, mostHole, sign.hole)
		c.textAt(x+7, c.y+3, sign.text)
		x += 7 + c.textWidth(sign.text) + 18
	}
	c.y += 8
}
