package svg

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

// The measures of a layout drawing, in pixels.
const (
	drawingTop    = headHeight
	drawingHeight = 420 // most height of the layout itself
	drawingSide   = 54  // room beside the pipes for numbers and the feed
	pipeWidth     = 5
	flowClasses   = 5
)

// Drawing draws a layout to scale from above: the manifold from top to bottom, laterals to its sides, hole sets shaded
// by their flow, the darker the more. What each outlet carries stands below in words.
func Drawing(w io.Writer, d render.LayoutDrawing) error {
	p := words.New(d.Language, d.Units, nil)
	c := &drawing{p: p, d: d, sentences: p.Drawing(d)}
	c.fit()
	c.canvas = newCanvas("drawing", c.height(), p.DrawingTitle(d), strings.Join(c.sentences, "\n"))
	c.draw()
	if err := c.writeTo(w); err != nil {
		return fmt.Errorf("drawing of layout %s: %w", d.LayoutName, err)
	}
	return nil
}

type drawing struct {
	*canvas
	p         words.Printer
	d         render.LayoutDrawing
	sentences []string

	scale       float64 // pixels to the metre
	manifoldX   float64
	least, most float64 // flow of the hole sets that run reliably [L/h]
}

// fit chooses the scale with which the whole layout fits its space, and finds the range of flows.
func (c *drawing) fit() {
	left, right := 0.0, 0.0
	c.least, c.most = math.Inf(1), 0
	for _, o := range c.d.Outlets {
		if o.Lateral == nil {
			continue
		}
		if o.ToLeft {
			left = math.Max(left, o.Lateral.LengthM)
		} else {
			right = math.Max(right, o.Lateral.LengthM)
		}
		for _, h := range o.Lateral.HoleSets {
			if !h.Unreliable && !h.Plugged {
				c.least, c.most = math.Min(c.least, h.FlowLPerH), math.Max(c.most, h.FlowLPerH)
			}
		}
	}
	// A spread of a few per cent must not look like one of halves: the lightest tone is never above half the most.
	const widest = 0.5
	c.least = math.Min(c.least, widest*c.most)
	const shortest = 0.1 // metres; keeps the scale finite for a manifold without laterals
	room := float64(pageWidth - 2*margin - 2*drawingSide)
	c.scale = math.Min(room/math.Max(left+right, shortest), drawingHeight/math.Max(c.d.ManifoldM, shortest))
	c.manifoldX = margin + drawingSide + left*c.scale
}

func (c *drawing) y(m float64) float64 { return drawingTop + 22 + m*c.scale }

// bottom is the y below the layout.
func (c *drawing) bottom() float64 { return c.y(c.d.ManifoldM) + 30 }

// The parts below the layout: scale and legend, then the sentences.
const (
	drawingKeys  = 58
	sentenceStep = 15
)

// sentenceColumns is 2 for many sentences that are short enough to be read whole in a half of the page.
func (c *drawing) sentenceColumns() int {
	const oneColumn = 8 // sentences that stand under one another
	if len(c.sentences) <= oneColumn {
		return 1
	}
	for _, s := range c.sentences[1:] {
		if textWidth(s, smallText) > sentenceWidth(2) {
			return 1
		}
	}
	return 2
}

func sentenceWidth(columns int) float64 { return float64(pageWidth-2*margin)/float64(columns) - 12 }

func (c *drawing) height() float64 {
	return c.bottom() + drawingKeys + rows(len(c.sentences), c.sentenceColumns())*sentenceStep + margin
}

func (c *drawing) draw() {
	c.head(c.p.DrawingTitle(c.d), c.sentences[0])
	for i, o := range c.d.Outlets {
		c.drawOutlet(i, o)
	}
	c.line(c.manifoldX, c.y(0)-4, c.manifoldX, c.y(c.d.ManifoldM)+4, at("stroke", ink), num("stroke-width", pipeWidth+2), at("stroke-linecap", "round"))
	c.drawFeed()
	c.drawNumbers()
	c.drawScaleBar(c.bottom() + 8)
	c.drawFlowKeys(c.bottom() + 34)
	c.drawSentences(c.bottom() + drawingKeys)
}

func (c *drawing) drawOutlet(i int, o render.DrawnOutlet) {
	if o.Lateral == nil {
		return
	}
	direction := 1.0
	if o.ToLeft {
		direction = -1
	}
	y := c.y(o.AtM)
	end := c.manifoldX + direction*o.Lateral.LengthM*c.scale
	c.begin("g")
	c.leaf("title", c.sentences[i+1])
	c.line(c.manifoldX, y, end, y, at("stroke", "#8f8f8f"), num("stroke-width", pipeWidth))
	c.line(c.manifoldX, y, end, y, at("stroke", "#f4f4f4"), num("stroke-width", pipeWidth-2))
	c.line(end, y-pipeWidth, end, y+pipeWidth, at("stroke", ink), num("stroke-width", 2))
	radius := c.holeRadius(i, o)
	for _, h := range o.Lateral.HoleSets {
		c.drawHole(c.manifoldX+direction*h.AtM*c.scale, y, radius, h)
	}
	c.end()
}

// holeRadius keeps the signs of neighbouring hole sets apart, along the lateral and from one lateral to the next.
func (c *drawing) holeRadius(i int, o render.DrawnOutlet) float64 {
	const largest, smallest, ofSpacing = 4.6, 1.4, 0.42
	radius := largest
	closest := func(m float64) {
		if m > 0 {
			radius = math.Min(radius, ofSpacing*m*c.scale)
		}
	}
	for k := 1; k < len(o.Lateral.HoleSets); k++ {
		closest(math.Abs(o.Lateral.HoleSets[k].AtM - o.Lateral.HoleSets[k-1].AtM))
	}
	for j, other := range c.d.Outlets {
		if j != i && other.Lateral != nil && other.ToLeft == o.ToLeft {
			closest(math.Abs(other.AtM - o.AtM))
		}
	}
	return math.Max(radius, smallest)
}

// flowClass sorts a flow into one of flowClasses equal steps between the least and the most.
func (c *drawing) flowClass(flow float64) int {
	if c.most <= 0 {
		return 0
	}
	return min(int((flow-c.least)/(c.most-c.least)*flowClasses), flowClasses-1)
}

// flowTones grow darker with flow, in even steps of grey when printed without colour.
var flowTones = [flowClasses]string{"#e4f0f8", "#b3d2e6", "#78a9cb", "#3d7aa6", "#123f63"}

// outlined is the least radius [px] of a sign that an outline leaves room in for its tone.
const outlined = 2

func (c *drawing) drawHole(x, y, radius float64, h render.DrawnHoles) {
	switch {
	case h.Plugged:
		c.line(x, y-radius, x, y+radius, at("stroke", ink), num("stroke-width", 1.4))
	case h.Unreliable && radius < outlined:
		c.circle(x, y, radius, at("fill", tones[4].strong))
	case h.Unreliable:
		c.circle(x, y, radius, at("fill", paper), at("stroke", tones[4].strong), num("stroke-width", 0.9))
		s := radius * 0.6
		c.line(x-s, y-s, x+s, y+s, at("stroke", tones[4].strong), num("stroke-width", 0.9))
		c.line(x-s, y+s, x+s, y-s, at("stroke", tones[4].strong), num("stroke-width", 0.9))
	case radius < outlined:
		c.circle(x, y, radius, at("fill", flowTones[c.flowClass(h.FlowLPerH)]))
	default:
		c.circle(x, y, radius, at("fill", flowTones[c.flowClass(h.FlowLPerH)]), at("stroke", ink), num("stroke-width", 0.6))
	}
}

// drawNumbers writes the number of each outlet beside the manifold, on the side without its lateral, or above its own
// lateral where something else leaves to that side. A plugged outlet gets a cross. A number that would touch one written
// before is left out; the sentences below have them all.
func (c *drawing) drawNumbers() {
	type place struct {
		y    float64
		left bool
	}
	var written []place
	for i, o := range c.d.Outlets {
		p := place{c.y(o.AtM) + 3.5, !o.ToLeft}
		number := strconv.Itoa(i + 1)
		switch {
		case o.Lateral == nil:
			number += " ×"
			p.left = !c.leaves(i, true)
		case c.leaves(i, p.left):
			p.y, p.left = p.y-3.5-c.holeRadius(i, o)-3, !p.left
		}
		if slices.ContainsFunc(written, func(w place) bool { return w.left == p.left && math.Abs(w.y-p.y) < smallText }) {
			continue
		}
		written = append(written, p)
		x, anchor := c.manifoldX-8, "end"
		if !p.left {
			x, anchor = c.manifoldX+8, "start"
		}
		c.text(x, p.y, smallText, number, at("text-anchor", anchor), at("font-weight", "bold"),
			at("paint-order", "stroke"), at("stroke", paper), num("stroke-width", 3))
	}
}

// leaves reports whether something other than outlet i leaves to a side of the manifold at its place: a lateral, or a
// plugged outlet, which stands on the side that is free.
func (c *drawing) leaves(i int, left bool) bool {
	const near = smallText / 2
	for j, o := range c.d.Outlets {
		if j == i || math.Abs(o.AtM-c.d.Outlets[i].AtM)*c.scale > near {
			continue
		}
		if o.Lateral != nil && o.ToLeft == left || o.Lateral == nil && c.d.Outlets[i].Lateral != nil && left {
			return true
		}
	}
	return false
}

// drawFeed draws an arrow where the feed enters: from above or below at an end of the manifold, else from the left.
func (c *drawing) drawFeed() {
	const head, wing, gap = 11, 6, 7
	x, y := c.manifoldX, c.y(c.d.FeedAtM)
	look := at("fill", tones[1].strong)
	label := func(x, y float64, anchor string) {
		c.text(x, y, smallText, c.p.Label(words.LabelFeed), at("text-anchor", anchor), look, at("font-weight", "bold"),
			at("paint-order", "stroke"), at("stroke", paper), num("stroke-width", 3))
	}
	switch {
	case c.d.FeedAtM <= 0:
		c.polygon([]point{{x - wing, y - gap - head}, {x + wing, y - gap - head}, {x, y - gap}}, look)
		label(x+wing+6, y-gap-2, "start")
	case c.d.FeedAtM >= c.d.ManifoldM:
		c.polygon([]point{{x - wing, y + gap + head}, {x + wing, y + gap + head}, {x, y + gap}}, look)
		label(x+wing+6, y+gap+head-1, "start")
	default:
		const numbers = 28 // room for the numbers of the outlets
		c.line(x-numbers-head, y, x-3, y, at("stroke", tones[1].strong), num("stroke-width", 1.4))
		c.polygon([]point{{x - numbers - head, y - wing}, {x - numbers, y}, {x - numbers - head, y + wing}}, look)
		label(x-numbers-head-4, y-4, "end")
	}
}

func (c *drawing) drawScaleBar(y float64) {
	const pixels = 150 // about how long the bar is
	length, text := niceStep(pixels/c.scale, 1), ""
	if c.d.Units == render.US {
		feet := niceStep(unit.Length(pixels/c.scale).Feet(), 1)
		length, text = float64(unit.Feet(feet)), tickText(feet)+" ft"
	} else {
		text = tickText(length) + " m"
	}
	width := length * c.scale
	c.line(margin, y, margin+width, y, at("stroke", ink), num("stroke-width", 2))
	for _, x := range []float64{margin, margin + width} {
		c.line(x, y-4, x, y+4, at("stroke", ink), num("stroke-width", 1.4))
	}
	c.text(margin+width+8, y+4, smallText, text)
}

func (c *drawing) drawFlowKeys(y float64) {
	var entries []key
	hole := func(h render.DrawnHoles) func(x, y float64) {
		return func(x, y float64) { c.drawHole(x+swatchWidth/2, y, 5, h) }
	}
	if c.most > 0 {
		step := (c.most - c.least) / flowClasses
		for i := range flowClasses {
			low, high := c.least+step*float64(i), c.least+step*float64(i+1)
			text := words.Range(c.p.HoleFlow(unit.LitersPerHour(low)), c.p.HoleFlow(unit.LitersPerHour(high)))
			entries = append(entries, key{text, hole(render.DrawnHoles{FlowLPerH: (low + high) / 2})})
		}
	}
	entries = append(entries,
		key{c.p.Label(words.LabelUnreliable), hole(render.DrawnHoles{Unreliable: true})},
		key{c.p.Label(words.LabelPlugged), hole(render.DrawnHoles{Plugged: true})})
	c.keys(y, flowClasses+2, entries)
}

func (c *drawing) drawSentences(y float64) {
	columns := c.sentenceColumns()
	perColumn := int(rows(len(c.sentences), columns))
	for i, s := range c.sentences[1:] {
		x := margin + float64(i/perColumn)*(sentenceWidth(columns)+12)
		c.fitted(x, y+float64(i%perColumn)*sentenceStep+smallText, smallText, sentenceWidth(columns), s)
	}
}
