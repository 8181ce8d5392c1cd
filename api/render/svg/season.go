package svg

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

// The measures of the picture of seasons, in pixels.
const (
	seasonPanel  = 246 // height of one panel with its texts
	seasonPlot   = 150 // height of its axes
	seasonGap    = 36  // between panels side by side
	seasonTexts  = 52  // above the axes of a panel
	seasonLegend = 44
	seasonAxis   = 30 // left of the axes
)

// Seasons draws the seasons of beds at stations as small pictures on the same scales, one column for each station: rain
// used and watering of each week as a bar, what the crop used as a line, and the rule of thumb of an inch a week.
func Seasons(w io.Writer, chart render.SeasonChart) error {
	if len(chart.Seasons) == 0 {
		return fmt.Errorf("seasons: %w", errNoDays)
	}
	s := newSeasons(chart)
	lines := make([]string, 0, len(chart.Seasons))
	for _, season := range chart.Seasons {
		lines = append(lines, s.p.SeasonHeading(season)+": "+s.p.SeasonSummary(season)+" "+s.p.SeasonRule(season))
	}
	height := headHeight + seasonPanel*float64(s.rows) + seasonLegend
	s.canvas = newCanvas("seasons", height, s.p.SeasonsTitle(), strings.Join(lines, "\n"))
	s.draw(height)
	if err := s.writeTo(w); err != nil {
		return fmt.Errorf("seasons: %w", err)
	}
	return nil
}

type seasons struct {
	*canvas
	p        words.Printer
	chart    render.SeasonChart
	stations []string
	rows     int
	from, to time.Time // of all seasons
	most     float64   // of a week, in the unit of the axes
}

func newSeasons(chart render.SeasonChart) *seasons {
	s := &seasons{p: words.New(chart.Language, chart.Units, time.UTC), chart: chart, from: chart.Seasons[0].Total.From}
	perStation := map[string]int{}
	for _, season := range chart.Seasons {
		if perStation[season.StationName] == 0 {
			s.stations = append(s.stations, season.StationName)
		}
		perStation[season.StationName]++
		s.rows = max(s.rows, perStation[season.StationName])
		if season.Total.From.Before(s.from) {
			s.from = season.Total.From
		}
		if end := season.Total.From.AddDate(0, 0, season.Total.Days); end.After(s.to) {
			s.to = end
		}
		for _, w := range season.Weeks {
			s.most = max(s.most, s.depth(w.RainUsedMm+w.WaterMm), s.depth(w.CropMm))
		}
	}
	return s
}

// depth converts to the unit of the axes.
func (s *seasons) depth(mm float64) float64 {
	if s.chart.Units == render.US {
		return unit.Depth(mm).Inches()
	}
	return mm
}

// ruleMm is the rule of thumb: an inch a week.
const ruleMm = 25.4

func (s *seasons) draw(height float64) {
	rain := mark{tone: tones[0], hatch: 2, id: "rain-used"}
	s.defineHatches([]mark{rain})
	s.head(s.p.SeasonsTitle(), s.p.SeasonsMethod())
	width := (float64(pageWidth-2*margin) - seasonGap*float64(len(s.stations)-1)) / float64(len(s.stations))
	for column, station := range s.stations {
		row := 0
		for _, season := range s.chart.Seasons {
			if season.StationName != station {
				continue
			}
			left := margin + float64(column)*(width+seasonGap)
			s.panel(season, frame{
				left: left + seasonAxis, top: headHeight + seasonPanel*float64(row) + seasonTexts, width: width - seasonAxis, height: seasonPlot,
				toX: s.to.Sub(s.from).Hours(), fromY: s.most * 1.06,
			}, rain)
			row++
		}
	}
	s.legend(height-seasonLegend+12, rain)
}

func (s *seasons) panel(season render.Season, f frame, rain mark) {
	left, width := f.left-seasonAxis, f.width+seasonAxis
	const line = 13
	s.fitted(left, f.top-seasonTexts+10, bodyText, width, s.p.SeasonHeading(season), at("font-weight", "bold"))
	s.fitted(left, f.top-seasonTexts+10+line, smallText, width, s.p.SeasonSummary(season))
	s.fitted(left, f.top-seasonTexts+10+2*line, smallText, width, s.p.SeasonRule(season))
	s.axes(f)
	for _, w := range season.Weeks {
		s.week(w, f, rain)
	}
	s.use(season, f)
	s.line(f.left, f.y(s.depth(ruleMm)), f.left+f.width, f.y(s.depth(ruleMm)), at("stroke", tones[1].strong), num("stroke-width", 1.4), at("stroke-dasharray", "7 4"))
}

func (s *seasons) axes(f frame) {
	for _, v := range ticks(0, f.fromY, niceStep(f.fromY, 4)) {
		s.line(f.left, f.y(v), f.left+f.width, f.y(v), at("stroke", rule), num("stroke-width", 0.5))
		s.text(f.left-5, f.y(v)+4, smallText, tickText(v), at("text-anchor", "end"))
	}
	s.text(f.left-5, f.top-2, smallText, s.p.Depth(1).Unit, at("text-anchor", "end"), at("fill", muted))
	s.line(f.left, f.y(0), f.left+f.width, f.y(0), at("stroke", ink), num("stroke-width", 1))
	month := time.Date(s.from.Year(), s.from.Month(), 1, 0, 0, 0, 0, time.UTC)
	for ; month.Before(s.to); month = month.AddDate(0, 1, 0) {
		if month.Before(s.from) {
			continue
		}
		x := f.x(month.Sub(s.from).Hours())
		s.line(x, f.y(0), x, f.y(0)+5, at("stroke", muted), num("stroke-width", 0.8))
		if f.left+f.width-x > 50 {
			s.text(x+3, f.y(0)+14, smallText, s.p.Month(month))
		}
	}
}

// week draws a bar: the rain used below, the watering on it. A last week of fewer days is narrower and stands for its days.
func (s *seasons) week(w render.SeasonWeek, f frame, rain mark) {
	const hoursPerDay, bar = 24, 0.78
	x := f.x(w.From.Sub(s.from).Hours())
	width := f.x(w.From.Sub(s.from).Hours()+float64(w.Days)*hoursPerDay) - x
	x, width = x+width*(1-bar)/2, width*bar
	base, middle, top := f.y(0), f.y(s.depth(w.RainUsedMm)), f.y(s.depth(w.RainUsedMm+w.WaterMm))
	if base-top < 0.5 {
		return
	}
	s.begin("g")
	s.leaf("title", s.p.SeasonWeek(w))
	s.rect(x, middle, width, base-middle, rain.fill(), at("stroke", rain.strong), num("stroke-width", 0.8))
	s.rect(x, top, width, middle-top, at("fill", tones[0].strong), at("stroke", tones[0].strong), num("stroke-width", 0.8))
	s.end()
}

// use draws what the crop used, at the rate of whole weeks.
func (s *seasons) use(season render.Season, f frame) {
	const hoursPerDay, week = 24, 7
	var path []point
	for _, w := range season.Weeks {
		from := w.From.Sub(s.from).Hours()
		y := f.y(math.Min(s.depth(w.CropMm*week/float64(w.Days)), f.fromY))
		path = append(path, point{f.x(from), y}, point{f.x(from + float64(w.Days)*hoursPerDay), y})
	}
	s.polyline(path, at("stroke", paper), num("stroke-width", 4)) // keeps the line apart from dark bars
	s.polyline(path, at("stroke", ink), num("stroke-width", 2))
}

func (s *seasons) legend(y float64, rain mark) {
	swatch := func(attrs ...attr) func(x, y float64) {
		return func(x, y float64) { s.rect(x, y-swatchHeight/2, swatchWidth, swatchHeight, attrs...) }
	}
	stroke := func(attrs ...attr) func(x, y float64) {
		return func(x, y float64) { s.line(x, y, x+swatchWidth, y, attrs...) }
	}
	per := " [" + s.p.Depth(1).Unit + " " + s.p.Label(words.LabelPerWeek) + "]"
	s.keys(y, 4, []key{
		{s.p.Label(words.LabelWatering) + per, swatch(at("fill", tones[0].strong))},
		{s.p.Label(words.LabelRainUsed) + per, swatch(rain.fill(), at("stroke", rain.strong), num("stroke-width", 0.8))},
		{s.p.Label(words.LabelCropUse) + per, stroke(at("stroke", ink), num("stroke-width", 2))},
		{s.p.InchAWeek(), stroke(at("stroke", tones[1].strong), num("stroke-width", 1.4), at("stroke-dasharray", "7 4"))},
	})
}
