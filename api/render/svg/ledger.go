package svg

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

// The measures of the ledger picture, in pixels.
const (
	ledgerHeight = 578
	ledgerInput  = 130 // height of the strip of rain and watering
	ledgerLeft   = margin + 48
	widestBar    = 40
)

// errNoDays refuses a chart without anything to show.
var errNoDays = errors.New("there are no days to draw")

// Ledger draws the depletion of a planting day by day: rain and watering as bars above, the water missing in the root
// zone below, with the line up to which plants reach water easily. Assumed waterings are dashed, and a dotted line says
// what is missing without them; days whose weather was not measured here and mornings on which somebody dug are marked.
func Ledger(w io.Writer, chart render.LedgerChart) error {
	if len(chart.Days) == 0 {
		return fmt.Errorf("ledger of %s: %w", chart.PlantingName, errNoDays)
	}
	l := ledger{p: words.New(chart.Language, chart.Units, time.UTC), chart: chart}
	lines := make([]string, len(chart.Days))
	for i, d := range chart.Days {
		lines[i] = l.p.LedgerDay(l.civil(d))
	}
	l.canvas = newCanvas("ledger", ledgerHeight, l.p.LedgerTitle(chart), strings.Join(lines, "\n"))
	l.draw()
	if err := l.writeTo(w); err != nil {
		return fmt.Errorf("ledger of %s: %w", chart.PlantingName, err)
	}
	return nil
}

type ledger struct {
	*canvas
	p     words.Printer
	chart render.LedgerChart
	input frame // rain and watering
	soil  frame // depletion
}

// civil moves a day to its date in UTC, the printer's clock, so that no zone shifts it.
func (l ledger) civil(d render.LedgerDay) render.LedgerDay {
	d.Date = time.Date(d.Date.Year(), d.Date.Month(), d.Date.Day(), 0, 0, 0, 0, time.UTC)
	return d
}

// depth converts to the unit of the axes.
func (l ledger) depth(mm float64) float64 {
	if l.chart.Units == render.US {
		return unit.Depth(mm).Inches()
	}
	return mm
}

func (l ledger) unitName() string { return l.p.Depth(1).Unit }

func (l ledger) draw() {
	rain := mark{tone: tones[0], hatch: 2, id: "rain"}
	short := mark{tone: tones[4], hatch: 1, id: "beyond"}
	l.defineHatches([]mark{rain, short})
	l.head(l.p.LedgerTitle(l.chart), l.p.Date(l.civil(l.chart.Days[0]).Date)+" – "+l.p.DateWithYear(l.civil(l.chart.Days[len(l.chart.Days)-1]).Date))
	most, deepest := 0.0, 1.0
	for _, d := range l.chart.Days {
		most, deepest = math.Max(most, d.RainMm+d.WaterMm), max(deepest, d.DepletionMm, d.ReportedDepletionMm, d.RAWMm)
	}
	n := float64(len(l.chart.Days))
	l.input = frame{left: ledgerLeft, top: headHeight, width: pageWidth - margin - ledgerLeft, height: ledgerInput, toX: n, fromY: l.depth(most * 1.08)}
	const between, below = 22, 110
	top := l.input.top + l.input.height + between
	l.soil = frame{left: ledgerLeft, top: top, width: l.input.width, height: ledgerHeight - below - top, toX: n, toY: l.depth(deepest * 1.08)}
	l.drawScales()
	l.drawInput(rain)
	l.drawDepletion(short)
	l.drawKeys(rain, short)
}

func (l ledger) drawScales() {
	for _, f := range []frame{l.input, l.soil} {
		high := math.Max(f.fromY, f.toY)
		if high == 0 { // nothing to measure
			l.text(f.left+f.width/2, f.top+f.height/2, smallText, l.p.Label(words.LabelNoWater), at("text-anchor", "middle"), at("fill", muted))
			continue
		}
		for _, v := range ticks(0, high, niceStep(high, 5)) {
			l.line(f.left, f.y(v), f.left+f.width, f.y(v), at("stroke", rule), num("stroke-width", 0.5))
			l.text(f.left-6, f.y(v)+4, smallText, tickText(v), at("text-anchor", "end"))
		}
		l.text(margin, f.top-6, smallText, l.unitName(), at("fill", muted))
	}
	l.text(l.input.left, l.input.top-6, smallText, l.p.Label(words.LabelRain)+", "+l.p.Label(words.LabelWatering), at("fill", muted))
	l.text(l.soil.left, l.soil.top-6, smallText, l.p.Label(words.LabelDepletion)+" (0: "+l.p.Label(words.LabelWetSoil)+")", at("fill", muted))
	every := int(math.Ceil(78 / (l.soil.width / float64(len(l.chart.Days)))))
	bottom := l.soil.top + l.soil.height
	for i, d := range l.chart.Days {
		day := l.civil(d)
		if i%every == 0 {
			l.line(l.soil.x(float64(i)), bottom, l.soil.x(float64(i)), bottom+5, at("stroke", muted), num("stroke-width", 0.8))
			l.text(l.soil.x(float64(i))+2, bottom+14, smallText, l.p.Date(day.Date))
		}
		if d.WeatherAssumed {
			l.text(l.soil.x(float64(i)+0.5), bottom-4, smallText, "?", at("text-anchor", "middle"), at("fill", muted))
		}
	}
}

func (l ledger) drawInput(rain mark) {
	for i, d := range l.chart.Days {
		if d.RainMm <= 0 && d.WaterMm <= 0 {
			continue
		}
		l.begin("g")
		l.leaf("title", l.p.LedgerDay(l.civil(d)))
		width := min(widestBar, l.input.width/float64(len(l.chart.Days))*0.6)
		x := l.input.x(float64(i)+0.5) - width/2
		base := l.input.y(0)
		rainTop := l.input.y(l.depth(math.Max(d.RainMm, 0)))
		waterTop := l.input.y(l.depth(math.Max(d.RainMm, 0) + math.Max(d.WaterMm, 0)))
		l.rect(x, rainTop, width, base-rainTop, rain.fill(), at("stroke", rain.strong), num("stroke-width", 0.8))
		l.rect(x, waterTop, width, rainTop-waterTop, waterLook(d.WaterAssumed)...)
		l.end()
	}
	ground := l.input.top + l.input.height
	l.line(l.input.left, ground, l.input.left+l.input.width, ground, at("stroke", ink), num("stroke-width", 1))
}

func waterLook(assumed bool) []attr {
	if assumed {
		return []attr{at("fill", paper), at("stroke", tones[0].strong), num("stroke-width", 1), at("stroke-dasharray", "3 2")}
	}
	return []attr{at("fill", tones[0].strong), at("stroke", tones[0].strong), num("stroke-width", 0.8)}
}

func (l ledger) drawDepletion(short mark) {
	var path, reported, limit []point
	for i, d := range l.chart.Days {
		x, next := l.soil.x(float64(i)), l.soil.x(float64(i+1))
		y, raw := l.soil.y(l.depth(d.DepletionMm)), l.soil.y(l.depth(d.RAWMm))
		if y > raw {
			l.rect(x, raw, next-x, y-raw, short.fill())
		}
		path = append(path, point{x, y}, point{next, y})
		deep := l.soil.y(l.depth(d.ReportedDepletionMm))
		reported = append(reported, point{x, deep}, point{next, deep})
		limit = append(limit, point{x, raw}, point{next, raw})
	}
	l.polyline(limit, at("stroke", tones[1].strong), num("stroke-width", 1.6), at("stroke-dasharray", "7 4"))
	l.polyline(reported, reportedLook()...)
	l.polyline(path, at("stroke", ink), num("stroke-width", 2))
	for i, d := range l.chart.Days {
		if d.Dug {
			l.spade(l.soil.x(float64(i)), l.soil.y(l.depth(d.DepletionMm)))
		}
	}
	l.line(l.soil.left, l.soil.top, l.soil.left+l.soil.width, l.soil.top, at("stroke", ink), num("stroke-width", 1))
}

// reportedLook is the line of what is missing without the waterings that nobody reported.
func reportedLook() []attr {
	return []attr{at("stroke", muted), num("stroke-width", 1.2), at("stroke-dasharray", "2 3")}
}

// spade marks a morning on which somebody dug: a triangle whose point is on the line.
func (l ledger) spade(x, y float64) {
	l.polygon([]point{{x - 5, y - 9}, {x + 5, y - 9}, {x, y}}, at("fill", ink))
}

func (l ledger) drawKeys(rain, short mark) {
	swatch := func(attrs ...attr) func(x, y float64) {
		return func(x, y float64) { l.rect(x, y-swatchHeight/2, swatchWidth, swatchHeight, attrs...) }
	}
	stroke := func(attrs ...attr) func(x, y float64) {
		return func(x, y float64) { l.line(x, y, x+swatchWidth, y, attrs...) }
	}
	entries := []key{
		{l.p.Label(words.LabelRain), swatch(rain.fill(), at("stroke", rain.strong), num("stroke-width", 0.8))},
		{l.p.Label(words.LabelWatering), swatch(waterLook(false)...)},
		{l.p.Label(words.LabelAssumed), swatch(waterLook(true)...)},
		{l.p.Label(words.LabelAssumedDay), func(x, y float64) { l.text(x+swatchWidth/2, y+4, smallText, "?", at("text-anchor", "middle")) }},
		{l.p.Label(words.LabelDepletion), stroke(at("stroke", ink), num("stroke-width", 2))},
		{l.p.Label(words.LabelReportedOnly), stroke(reportedLook()...)},
		{l.p.Label(words.LabelDug), func(x, y float64) { l.spade(x+swatchWidth/2, y+5) }},
		{l.p.Label(words.LabelRAW), stroke(at("stroke", tones[1].strong), num("stroke-width", 1.6), at("stroke-dasharray", "7 4"))},
		{l.p.Label(words.LabelBeyond), swatch(short.fill(), at("stroke", short.strong), num("stroke-width", 0.8))},
	}
	l.keys(ledgerHeight-66, 4, entries)
}
