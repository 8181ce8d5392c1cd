package api

import (
	"cmp"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// SeasonChart is the view of seasons for people: the season file and what came of it.
func SeasonChart(s file.Season, r file.SeasonsResult) render.SeasonChart {
	chart := render.SeasonChart{Units: render.Units(cmp.Or(s.Units, string(render.Metric))), Language: "en"}
	for _, x := range r.Seasons {
		season := render.Season{
			StationName: x.Station, CropName: strings.ReplaceAll(x.Crop, "_", " "), GroundM2: x.GroundM2, WetM2: x.WetAreaM2, Total: seasonWeek(x.Total),
			Rule: render.SeasonRule{Liters: x.Rule.GrossL, StressDays: x.Rule.StressDays, LostMm: x.Rule.LostMm},
		}
		for _, w := range x.Weeks {
			season.Weeks = append(season.Weeks, seasonWeek(w))
		}
		chart.Seasons = append(chart.Seasons, season)
	}
	return chart
}

func seasonWeek(w file.WeekResult) render.SeasonWeek {
	d := waterneed.Date(w.From)
	return render.SeasonWeek{
		From: time.Date(d.Year, time.Month(d.Month), d.Day, 0, 0, 0, 0, time.UTC), Days: w.Days, CropMm: w.CropETMm, RainMm: w.RainMm,
		RainUsedMm: w.RainUsedMm, WaterMm: w.NetMm, Liters: w.GrossL, Waterings: w.Waterings, StressDays: w.StressDays, RuleRatio: w.RuleRatio,
	}
}
