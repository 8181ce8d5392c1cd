// Package svg draws schedules, shares, ledgers and layouts as pictures that print well in black and white.
package svg

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"

	"rillturn.example/rillturn/api/render/words"
)

// attr is one attribute of an element.
type attr struct{ name, value string }

// at makes an attribute from a text.
func at(name, value string) attr { return attr{name, value} }

// num makes an attribute from a number.
func num(name string, v float64) attr { return attr{name, coordinate(v)} }

// coordinate writes a number with at most two decimals, enough for a hundredth of a pixel. What is not a number would
// make the whole picture unreadable, so it is drawn at the origin.
func coordinate(v float64) string {
	const hundredth = 100
	v = math.Round(v*hundredth)/hundredth + 0
	if math.IsNaN(v) || math.IsInf(v, 0) {
		v = 0
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// canvas writes one picture. It escapes every text and closes what was opened.
type canvas struct {
	out  bytes.Buffer
	open []string
}

// The font stack names metric-compatible faces, so that measured widths hold wherever the picture is opened.
const fontFamily = "Arial, 'Liberation Sans', Helvetica, sans-serif"

// The grey tones of every picture.
const (
	ink   = "#1c1c1c"
	muted = "#5c5c5c"
	rule  = "#bdbdbd"
	paper = "#ffffff"
)

// newCanvas starts a picture of the page's width and the given height in pixels of 1/96 in. The title names it and description says in
// words what it shows, for readers who cannot see it; name makes the ids unique on a page with several pictures.
func newCanvas(name string, height float64, title, description string) *canvas {
	c := &canvas{}
	c.begin("svg",
		at("xmlns", "http://www.w3.org/2000/svg"), num("width", pageWidth), num("height", height),
		at("viewBox", "0 0 "+coordinate(pageWidth)+" "+coordinate(height)),
		at("role", "img"), at("aria-labelledby", name+"-title "+name+"-desc"),
		at("font-family", fontFamily), at("fill", ink))
	c.leaf("title", title, at("id", name+"-title"))
	c.leaf("desc", description, at("id", name+"-desc"))
	c.rect(0, 0, pageWidth, height, at("fill", paper))
	return c
}

func (c *canvas) tag(name string, attrs []attr) {
	c.out.WriteString(strings.Repeat("  ", len(c.open)) + "<" + name)
	for _, a := range attrs {
		c.out.WriteString(" " + a.name + `="`)
		c.escape(a.value)
		c.out.WriteString(`"`)
	}
}

// escape writes text for XML. Writing to memory cannot fail.
func (c *canvas) escape(s string) {
	_ = xml.EscapeText(&c.out, []byte(words.Clean(s)))
}

func (c *canvas) begin(name string, attrs ...attr) {
	c.tag(name, attrs)
	c.out.WriteString(">\n")
	c.open = append(c.open, name)
}

func (c *canvas) end() {
	last := len(c.open) - 1
	name := c.open[last]
	c.open = c.open[:last]
	c.out.WriteString(strings.Repeat("  ", last) + "</" + name + ">\n")
}

func (c *canvas) leaf(name, text string, attrs ...attr) {
	c.tag(name, attrs)
	c.out.WriteString(">")
	c.escape(text)
	c.out.WriteString("</" + name + ">\n")
}

func (c *canvas) empty(name string, attrs ...attr) {
	c.tag(name, attrs)
	c.out.WriteString("/>\n")
}

func (c *canvas) rect(x, y, width, height float64, attrs ...attr) {
	c.empty("rect", append([]attr{num("x", x), num("y", y), num("width", math.Max(width, 0)), num("height", math.Max(height, 0))}, attrs...)...)
}

func (c *canvas) line(x1, y1, x2, y2 float64, attrs ...attr) {
	c.empty("line", append([]attr{num("x1", x1), num("y1", y1), num("x2", x2), num("y2", y2)}, attrs...)...)
}

func (c *canvas) circle(x, y, r float64, attrs ...attr) {
	c.empty("circle", append([]attr{num("cx", x), num("cy", y), num("r", r)}, attrs...)...)
}

// point is a place in a picture.
type point struct{ x, y float64 }

func (c *canvas) polyline(points []point, attrs ...attr) {
	c.empty("polyline", append([]attr{at("points", places(points)), at("fill", "none")}, attrs...)...)
}

func (c *canvas) polygon(points []point, attrs ...attr) {
	c.empty("polygon", append([]attr{at("points", places(points))}, attrs...)...)
}

func places(points []point) string {
	text := make([]string, len(points))
	for i, p := range points {
		text[i] = coordinate(p.x) + "," + coordinate(p.y)
	}
	return strings.Join(text, " ")
}

func (c *canvas) text(x, y, size float64, s string, attrs ...attr) {
	c.leaf("text", s, append([]attr{num("x", x), num("y", y), num("font-size", size)}, attrs...)...)
}

// fitted writes s into the given width: what does not fit is cut, and then the whole text stands in a title.
func (c *canvas) fitted(x, y, size, width float64, s string, attrs ...attr) {
	short := fit(s, size, width)
	if short == s {
		c.text(x, y, size, s, attrs...)
		return
	}
	c.begin("g")
	c.leaf("title", s)
	c.text(x, y, size, short, attrs...)
	c.end()
}

// writeTo closes the picture and writes it.
func (c *canvas) writeTo(w io.Writer) error {
	for len(c.open) > 0 {
		c.end()
	}
	_, err := c.out.WriteTo(w)
	return err
}

// textWidth estimates the width of s at a font size, a little generously: the widths are those of a common sans-serif
// face, in hundredths of the size.
func textWidth(s string, size float64) float64 {
	sum := 0.0
	for _, r := range s {
		sum += glyphWidth(r)
	}
	const hundredths = 100
	return sum * size / hundredths
}

func glyphWidth(r rune) float64 {
	switch {
	case strings.ContainsRune("ijl|'", r):
		return 24
	case strings.ContainsRune(".,:;!I ft()[]/-r", r):
		return 33
	case strings.ContainsRune("mwM%", r):
		return 84
	case strings.ContainsRune("W@—…", r):
		return 101
	case strings.ContainsRune("ckvxyzsJ", r):
		return 51
	case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul) || r >= 0x1F000:
		return 130
	case unicode.Is(unicode.Mn, r):
		return 0
	case unicode.IsUpper(r):
		return 70
	}
	return 57
}

// fit cuts s so that it is no wider than width, with an ellipsis where something is missing.
func fit(s string, size, width float64) string {
	if textWidth(s, size) <= width {
		return s
	}
	const ellipsis = "…"
	room := width - textWidth(ellipsis, size)
	end, used := 0, 0.0
	for i, r := range s {
		used += textWidth(string(r), size)
		if used > room {
			break
		}
		end = i + len(string(r))
	}
	return strings.TrimRight(s[:end], " ,;") + ellipsis
}

// wrap breaks s between words into lines no wider than width; a longer word is cut.
func wrap(s string, size, width float64) []string {
	var lines []string
	current := ""
	for _, word := range strings.Fields(s) {
		candidate := strings.TrimSpace(current + " " + word)
		if current != "" && textWidth(candidate, size) > width {
			lines = append(lines, current)
			candidate = word
		}
		current = fit(candidate, size, width)
	}
	if current != "" {
		lines = append(lines, current)
	}
	return lines
}
