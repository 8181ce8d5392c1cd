package words

import (
	"fmt"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/unit"
)

var englishSeason = seasonPhrases{
	title: "Seasons under drip, day by day",
	method: "Each bed is filled to field capacity in the morning on which its readily available water is used. Depths are over the " +
		"ground, litres at the holes.",
	columns: "Rain used is rain that stays in the roots of the wet strip. The last column sets rain used and watering against an inch a week.",
	header: func(depth, volume string) []string {
		return []string{"Week of", "crop " + depth, "rain " + depth, "used " + depth, "watering " + depth, "water " + volume, "waterings", "stress days", "× the inch"}
	},
	total: "Season",
	heading: func(p Printer, s render.Season) string {
		last := s.Total.From.AddDate(0, 0, s.Total.Days-1)
		return fmt.Sprintf("%s in %s, %s – %s", upperFirst(OneLine(s.CropName)), OneLine(s.StationName), p.Date(s.Total.From), p.DateWithYear(last))
	},
	summary: func(p Printer, s render.Season) string {
		return fmt.Sprintf("On %s of ground %s, %s in %s; %s of %s of rain used; %s.",
			p.Area(unit.Area(s.GroundM2)), p.Depth(unit.Depth(s.Total.WaterMm)), p.Volume(unit.Liters(s.Total.Liters)),
			count(s.Total.Waterings, "watering", "waterings"), p.Depth(unit.Depth(s.Total.RainUsedMm)).Number, p.Depth(unit.Depth(s.Total.RainMm)),
			stressDays(s.Total.StressDays))
	},
	rule: func(p Printer, s render.Season) string {
		return fmt.Sprintf("An inch a week less rain: %s, %s; %s pass the roots.", p.Volume(unit.Liters(s.Rule.Liters)),
			stressDays(s.Rule.StressDays), p.Depth(unit.Depth(s.Rule.LostMm)))
	},
	week: func(p Printer, w render.SeasonWeek) string {
		return fmt.Sprintf("Week of %s: crop %s, rain %s, of it used %s, watering %s (%s).", p.Date(w.From), p.Depth(unit.Depth(w.CropMm)),
			p.Depth(unit.Depth(w.RainMm)), p.Depth(unit.Depth(w.RainUsedMm)), p.Depth(unit.Depth(w.WaterMm)), p.Volume(unit.Liters(w.Liters)))
	},
	month: func(t time.Time) string { return t.Month().String() },
	inch:  func(depth string) string { return "an inch a week (" + depth + ")" },
}

func stressDays(v float64) string {
	if v == 0 {
		return "no stress days"
	}
	return Digits(v) + " stress days"
}
