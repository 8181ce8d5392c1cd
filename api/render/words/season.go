package words

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/unit"
)

// seasonPhrases is what a language says about seasons.
type seasonPhrases struct {
	title   string
	method  string
	columns string
	header  func(depth, volume string) []string
	total   string
	heading func(p Printer, s render.Season) string
	summary func(p Printer, s render.Season) string
	rule    func(p Printer, s render.Season) string
	week    func(p Printer, w render.SeasonWeek) string
	inch    func(depth string) string
	month   func(t time.Time) string
}

// Month names a month.
func (p Printer) Month(t time.Time) string { return p.language.season.month(t.In(p.zone)) }

// SeasonsTitle names seasons.
func (p Printer) SeasonsTitle() string { return p.language.season.title }

// SeasonsMethod says how seasons are reckoned.
func (p Printer) SeasonsMethod() string { return p.language.season.method }

// SeasonHeading names one season: crop, station, first and last day.
func (p Printer) SeasonHeading(s render.Season) string { return p.language.season.heading(p, s) }

// SeasonSummary says what a season took.
func (p Printer) SeasonSummary(s render.Season) string { return p.language.season.summary(p, s) }

// SeasonRule says what the rule of thumb would have done.
func (p Printer) SeasonRule(s render.Season) string { return p.language.season.rule(p, s) }

// SeasonWeek says in one sentence what a week took.
func (p Printer) SeasonWeek(w render.SeasonWeek) string { return p.language.season.week(p, w) }

// InchAWeek names the line of the rule of thumb.
func (p Printer) InchAWeek() string { return p.language.season.inch(p.Depth(ruleDepth).String()) }

// ruleDepth is the rule of thumb: an inch a week.
const ruleDepth unit.Depth = 25.4

// Seasons writes seasons week by week as plain text, at most 100 columns wide.
func Seasons(w io.Writer, chart render.SeasonChart) error {
	p := New(chart.Language, chart.Units, nil)
	say := p.language.season
	var b bytes.Buffer
	b.WriteString(say.title + "\n" + strings.Repeat("=", columns(say.title)) + "\n")
	for _, line := range wrap(say.method+" "+say.columns, reportWidth) {
		b.WriteString(line + "\n")
	}
	for _, s := range chart.Seasons {
		heading := p.SeasonHeading(s)
		b.WriteString("\n" + heading + "\n" + strings.Repeat("-", columns(heading)) + "\n")
		for _, line := range p.seasonTable(s) {
			b.WriteString("  " + line + "\n")
		}
		for _, text := range []string{p.SeasonSummary(s), p.SeasonRule(s)} {
			for _, line := range wrap(text, reportWidth-2) {
				b.WriteString("  " + line + "\n")
			}
		}
	}
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("seasons: %w", err)
	}
	return nil
}

func (p Printer) seasonTable(s render.Season) []string {
	rows := [][]string{p.language.season.header(p.Depth(1).Unit, p.Volume(1).Unit)}
	row := func(name string, w render.SeasonWeek) []string {
		depth := func(mm float64) string {
			if p.us() {
				return fmt.Sprintf("%.2f", unit.Depth(mm).Inches())
			}
			return fmt.Sprintf("%.1f", mm)
		}
		volume := unit.Liters(w.Liters).Liters()
		if p.us() {
			volume = unit.Liters(w.Liters).Gallons()
		}
		return []string{
			name, depth(w.CropMm), depth(w.RainMm), depth(w.RainUsedMm), depth(w.WaterMm), fmt.Sprintf("%.0f", volume), fmt.Sprint(w.Waterings),
			fmt.Sprintf("%.1f", w.StressDays), fmt.Sprintf("%.2f", w.RuleRatio),
		}
	}
	for _, w := range s.Weeks {
		rows = append(rows, row(p.Date(w.From), w))
	}
	rows = append(rows, row(p.language.season.total, s.Total))
	const cell = 12
	return tabulate(rows, []align{left, right, right, right, right, right, right, right, right}, []int{18, cell, cell, cell, cell, cell, cell, cell, cell})
}
