package svg

import (
	"math"
	"strconv"
)

// frame is a rectangle with a linear scale on each side.
type frame struct {
	left, top, width, height float64
	fromX, toX, fromY, toY   float64 // values at the left, right, top and bottom edges
}

func (f frame) x(v float64) float64 { return f.left + (v-f.fromX)/(f.toX-f.fromX)*f.width }
func (f frame) y(v float64) float64 { return f.top + (v-f.fromY)/(f.toY-f.fromY)*f.height }

// niceStep returns a step of 1, 2 or 5 times a power of ten that divides a span into at most most parts.
func niceStep(span float64, most int) float64 {
	if span <= 0 || math.IsInf(span, 0) || math.IsNaN(span) {
		return 1
	}
	raw := span / float64(most)
	power := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, factor := range []float64{1, 2, 5} {
		if raw <= factor*power*(1+1e-9) {
			return factor * power
		}
	}
	return 10 * power
}

// ticks returns the multiples of step from low to high.
func ticks(low, high, step float64) []float64 {
	var values []float64
	for i := math.Ceil(low/step - 1e-9); i*step <= high+step*1e-9; i++ {
		values = append(values, i*step)
	}
	return values
}

// tickText writes a tick without a tail of binary digits.
func tickText(v float64) string {
	const scale = 1e6
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', -1, 64)
}

// head writes title and subtitle of a picture.
func (c *canvas) head(title, subtitle string) {
	const bold = 1.06 // bold letters are wider than the measured ones
	c.fitted(margin, margin+titleText-4, titleText, (pageWidth-2*margin)/bold, title, at("font-weight", "bold"))
	c.fitted(margin, margin+titleText+14, bodyText, pageWidth-2*margin, subtitle, at("fill", muted))
}

// key is one entry of a legend: a sign in a swatch and its meaning.
type key struct {
	text string
	draw func(x, y float64) // y is the middle of the swatch
}

// keys writes a legend in columns.
func (c *canvas) keys(y float64, columns int, entries []key) {
	width := float64(pageWidth-2*margin) / float64(columns)
	for i, e := range entries {
		x := margin + float64(i%columns)*width
		middle := y + float64(i/columns)*legendRow
		e.draw(x, middle)
		c.fitted(x+swatchWidth+6, middle+4, smallText, width-swatchWidth-14, e.text)
	}
}
