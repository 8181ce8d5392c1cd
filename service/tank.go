package service

import (
	"time"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/service/file"
)

// tank states the store behind a source; nil where there is none.
func (f *facts) tank(s file.WaterSource) *problem.Tank {
	if s.TankVolumeL == nil || s.TankRefillLPerDay == nil {
		return nil
	}
	return &problem.Tank{
		Volume: problem.VolumeDown(unit.Liters(*s.TankVolumeL)), Level: problem.VolumeDown(unit.Liters(f.tankLevel(s))),
		Refill: problem.RateDown(unit.LitersPerMinute(*s.TankRefillLPerDay / minutesPerDay)),
	}
}

// tankLevel is what a tank holds when the horizon begins [L], from the waterings before it: full before the first of them,
// then each day less what was drawn, and a day's refill more.
func (f *facts) tankLevel(s file.WaterSource) float64 {
	drawn := map[time.Time]float64{}
	first := f.Horizon.FirstDay.Time
	for _, w := range f.Waterings {
		if f.feeds(s.ID, w) && w.Day.Before(f.Horizon.FirstDay.Time) {
			drawn[w.Day.Time] += w.Engine("").Booked().Volume.Liters()
			if w.Day.Before(first) {
				first = w.Day.Time
			}
		}
	}
	full := *s.TankVolumeL
	level := full
	for day := first; day.Before(f.Horizon.FirstDay.Time); day = day.AddDate(0, 0, 1) {
		level = min(full, max(0, level-drawn[day])+*s.TankRefillLPerDay)
	}
	return level
}

// feeds tells whether a source feeds what was watered.
func (f *facts) feeds(source string, w file.Watering) bool {
	if w.LayoutID != nil {
		for _, l := range f.Layouts {
			if l.ID == *w.LayoutID {
				return l.WaterSourceID == source
			}
		}
		return false
	}
	for _, p := range f.Plots {
		if p.ID == w.PlotID {
			return p.WaterSourceID != nil && *p.WaterSourceID == source
		}
	}
	return false
}
