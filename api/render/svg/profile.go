package svg

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

const (
	profileHeight = 560
	profileLeft   = margin + 48
	profileColumn = 5 // columns of the legend
)

// errNoPoints refuses a profile without anything to show.
var errNoPoints = errors.New("a lateral has no points to draw")

// Profile draws the pressure along each lateral of a layout, with the line under which holes are unreliable. Laterals
// differ by dashes and points as well as by tone.
func Profile(w io.Writer, h render.HeadProfile) error {
	lines := make([]string, 0, len(h.Laterals))
	p := words.New(h.Language, h.Units, nil)
	for _, l := range h.Laterals {
		if len(l.Points) == 0 {
			return fmt.Errorf("pressure profile of %s: lateral %s: %w", h.LayoutName, l.Name, errNoPoints)
		}
		lines = append(lines, p.Profile(l))
	}
	if len(h.Laterals) == 0 {
		return fmt.Errorf("pressure profile of %s: %w", h.LayoutName, errNoPoints)
	}
	height := profileHeight + legendRow*rows(len(h.Laterals), profileColumn)
	c := profile{newCanvas("profile", height, p.ProfileTitle(h), strings.Join(lines, "\n")), p, h, frame{}}
	c.draw()
	if err := c.writeTo(w); err != nil {
		return fmt.Errorf("pressure profile of %s: %w", h.LayoutName, err)
	}
	return nil
}

type profile struct {
	*canvas
	p words.Printer
	h render.HeadProfile
	frame
}

// distance and column convert to the units of the axes.
func (c profile) distance(m float64) float64 {
	if c.h.Units == render.US {
		return unit.Length(m).Feet()
	}
	return m
}

func (c profile) column(m float64) float64 {
	if c.h.Units == render.US {
		return unit.Length(m).Inches()
	}
	return unit.Length(m).Millimeters() / 10
}

func (c profile) units() (distance, column string) {
	if c.h.Units == render.US {
		return "ft", "in"
	}
	return "m", "cm"
}

func (c profile) draw() {
	c.head(c.p.ProfileTitle(c.h), c.p.Label(words.LabelHead))
	longest, least, most := 0.1, 0.0, 1.2*c.h.LeastHeadM
	for _, l := range c.h.Laterals {
		for _, pt := range l.Points {
			longest, least, most = math.Max(longest, pt.DistanceM), math.Min(least, pt.HeadM), math.Max(most, pt.HeadM)
		}
	}
	if most <= 0 {
		most = 0.01
	}
	const below = 78
	c.frame = frame{
		left: profileLeft, top: headHeight, width: pageWidth - margin - profileLeft, height: profileHeight - headHeight - below,
		toX: c.distance(longest * 1.02), fromY: c.column(most * 1.06), toY: c.column(least * 1.06),
	}
	c.drawScales()
	c.drawLeast()
	entries := make([]key, len(c.h.Laterals))
	for i, l := range c.h.Laterals {
		look := lineLook(i)
		path := make([]point, len(l.Points))
		for j, pt := range l.Points {
			path[j] = point{c.x(c.distance(pt.DistanceM)), c.y(c.column(pt.HeadM))}
		}
		c.begin("g")
		c.leaf("title", c.p.Profile(l))
		c.polyline(path, look...)
		c.marks(i, path)
		c.end()
		entries[i] = key{words.OneLine(l.Name), func(x, y float64) {
			c.line(x, y, x+swatchWidth, y, look...)
			c.point(i, point{x + swatchWidth/2, y})
		}}
	}
	c.keys(profileHeight-22, profileColumn, entries)
}

// marks draws the hole sets of a line; on a long lateral only so many that they stay apart.
func (c profile) marks(i int, path []point) {
	const apart = 6
	last := path[0]
	for j, p := range path {
		if j == 0 || math.Hypot(p.x-last.x, p.y-last.y) >= apart {
			c.point(i, p)
			last = p
		}
	}
}

func (c profile) drawScales() {
	distance, column := c.units()
	bottom := c.top + c.height
	for _, v := range ticks(c.toY, c.fromY, niceStep(c.fromY-c.toY, 8)) {
		c.line(c.left, c.y(v), c.left+c.width, c.y(v), at("stroke", rule), num("stroke-width", 0.5))
		c.text(c.left-6, c.y(v)+4, smallText, tickText(v), at("text-anchor", "end"))
	}
	for _, v := range ticks(0, c.toX, niceStep(c.toX, 12)) {
		c.line(c.x(v), bottom, c.x(v), bottom+5, at("stroke", muted), num("stroke-width", 0.8))
		c.text(c.x(v), bottom+16, smallText, tickText(v), at("text-anchor", "middle"))
	}
	c.text(margin, c.top-8, smallText, column, at("fill", muted))
	c.text(c.left+c.width, bottom+32, smallText, c.p.Label(words.LabelDistance)+", "+distance, at("text-anchor", "end"), at("fill", muted))
	c.line(c.left, c.top, c.left, bottom, at("stroke", ink), num("stroke-width", 1))
	c.line(c.left, c.y(0), c.left+c.width, c.y(0), at("stroke", ink), num("stroke-width", 1))
}

func (c profile) drawLeast() {
	if c.h.LeastHeadM <= 0 {
		return
	}
	y := c.y(c.column(c.h.LeastHeadM))
	c.line(c.left, y, c.left+c.width, y, at("stroke", tones[4].strong), num("stroke-width", 1.4), at("stroke-dasharray", "7 4"))
	label := c.p.WaterColumn(unit.Head(c.h.LeastHeadM)).String() + ": " + c.p.Label(words.LabelLeastHead)
	c.text(c.left+c.width-4, y-5, smallText, label, at("text-anchor", "end"), at("fill", tones[4].strong),
		at("paint-order", "stroke"), at("stroke", paper), num("stroke-width", 3))
}

// lineLook tells lines apart: tones first, dashes with every tone.
func lineLook(i int) []attr {
	dashes := []string{"", "8 3", "3 3", "10 3 2 3", "1 3", "6 2 6 6"}
	look := []attr{at("stroke", tones[i%len(tones)].strong), num("stroke-width", 1.6)}
	if dash := dashes[i%len(dashes)]; dash != "" {
		look = append(look, at("stroke-dasharray", dash))
	}
	return look
}

// point marks a hole set: full or hollow, round or square by turns.
func (c profile) point(i int, p point) {
	const r = 2.6
	color := tones[i%len(tones)].strong
	fill := []string{color, paper}[i/2%2]
	look := []attr{at("fill", fill), at("stroke", color), num("stroke-width", 1)}
	if i%2 == 0 {
		c.circle(p.x, p.y, r, look...)
		return
	}
	c.rect(p.x-r, p.y-r, 2*r, 2*r, look...)
}
