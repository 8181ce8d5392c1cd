package svg

import "strconv"

// tone is a strong colour with the light tint that text stands on.
type tone struct{ strong, tint string }

var tones = []tone{
	{"#1f5f8b", "#e2eef6"},
	{"#8a4b08", "#f8ecdc"},
	{"#2d6a4f", "#e1f1e8"},
	{"#7b2d5e", "#f5e4ee"},
	{"#a23b3b", "#f9e4e4"},
	{"#4a4a4a", "#ededed"},
}

// hatches are drawn in a square of 6 pixels, so that groups differ in black and white too.
var hatches = []func(c *canvas, color string){
	func(c *canvas, color string) { c.stroke("M-1,1 l2,-2 M0,6 l6,-6 M5,7 l2,-2", color) },
	func(c *canvas, color string) { c.stroke("M-1,5 l2,2 M0,0 l6,6 M5,-1 l2,2", color) },
	func(c *canvas, color string) { c.stroke("M1.5,0 v6 M4.5,0 v6", color) },
	func(c *canvas, color string) { c.stroke("M0,1.5 h6 M0,4.5 h6", color) },
	func(c *canvas, color string) { c.stroke("M0,0 l6,6 M6,0 l-6,6", color) },
	func(c *canvas, color string) {
		c.circle(1.5, 1.5, 1.1, at("fill", color))
		c.circle(4.5, 4.5, 1.1, at("fill", color))
	},
}

func (c *canvas) stroke(path, color string) {
	c.empty("path", at("d", path), at("stroke", color), num("stroke-width", 1.2), at("fill", "none"))
}

// mark is how one watering group looks: a tone and a hatch. The first 36 groups all differ.
type mark struct {
	tone
	hatch int
	id    string
}

func markOf(index int) mark {
	n := len(tones)
	color, hatch := index%n, (index+index/n)%len(hatches)
	return mark{tone: tones[color], hatch: hatch, id: "hatch-" + strconv.Itoa(color) + "-" + strconv.Itoa(hatch)}
}

func (m mark) fill() attr { return at("fill", "url(#"+m.id+")") }

// defineHatches writes the patterns of marks, each once.
func (c *canvas) defineHatches(marks []mark) {
	c.begin("defs")
	seen := map[string]bool{}
	for _, m := range marks {
		if seen[m.id] {
			continue
		}
		seen[m.id] = true
		const side = 6
		c.begin("pattern", at("id", m.id), num("width", side), num("height", side), at("patternUnits", "userSpaceOnUse"))
		c.rect(0, 0, side, side, at("fill", paper))
		hatches[m.hatch](c, m.strong)
		c.end()
	}
	c.end()
}
