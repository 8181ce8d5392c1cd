package service

import (
	"math"

	"rillturn.example/rillturn/service/file"
)

// sound refuses what no garden has, whoever wrote the file: clock times that are none, and figures that are negative or
// out of all proportion. The contract of the API is narrower; this keeps the planner's arithmetic within its range.
func (f *facts) sound(faults *file.Faults) {
	between := func(v *float64, low, high float64, at ...any) {
		if v != nil && !(*v >= low && *v <= high) {
			faults.Add(file.Point(at...), "is %g, must lie between %g and %g", *v, low, high)
		}
	}
	g := &f.Garden.Garden
	between(&g.FreeShare, 0, mostFreeShare, "garden", "free_share")
	between(&g.StartGridMin, 0, 60, "garden", "start_grid_min")
	between(&g.NoticePeriodH, 0, 336, "garden", "notice_period_h")
	for i, l := range f.ServiceLines {
		between(&l.FlowLimitLPerMin, leastFigure, mostFlow, "service_lines", i, "flow_limit_l_per_min")
		between(l.DailyVolumeLimitL, leastFigure, mostVolume, "service_lines", i, "daily_volume_limit_l")
		if e := l.ElsewhereLPerMin; e != nil && !(*e >= 0 && *e < l.FlowLimitLPerMin) {
			faults.Add(file.Point("service_lines", i, "elsewhere_l_per_min"), "is %g, must lie between 0 and the flow limit of the line", *e)
		}
	}
	for i, s := range f.WaterSources {
		at := func(name string) []any { return []any{"water_sources", i, name} }
		between(&s.ChangeoverMin, 0, minutesPerDay, at("changeover_min")...)
		between(&s.MinRunMin, 0, minutesPerDay, at("min_run_min")...)
		between(s.FlowLimitLPerMin, leastFigure, mostFlow, at("flow_limit_l_per_min")...)
		between(s.DailyVolumeLimitL, leastFigure, mostVolume, at("daily_volume_limit_l")...)
		between(s.TankVolumeL, leastFigure, mostVolume, at("tank_volume_l")...)
		between(s.TankRefillLPerDay, 0, mostVolume, at("tank_refill_l_per_day")...)
		if s.HoseConnections < 0 || s.HoseConnections > math.MaxInt16 {
			faults.Add(file.Point(at("hose_connections")...), "is %d, must not be negative", s.HoseConnections)
		}
	}
	for i, h := range f.WaterHours {
		for _, c := range []struct{ name, clock string }{{"start_local", h.StartLocal}, {"end_local", h.EndLocal}} {
			if !file.IsClock(c.clock) {
				faults.Add(file.Point("water_hours", i, c.name), "is %q, must be a clock time such as 18:30", c.clock)
			}
		}
	}
	for i, p := range f.Plots {
		at := func(name string) []any { return []any{"plots", i, name} }
		between(&p.AreaM2, leastFigure, mostArea, at("area_m2")...)
		between(p.HoseFlowLPerMin, leastFigure, mostFlow, at("hose_flow_l_per_min")...)
		between(p.CanVolumeL, leastFigure, mostFlow, at("can_volume_l")...)
		between(p.CanMinutesEach, leastFigure, minutesPerDay, at("can_minutes_each")...)
		between(p.MaxDayMin, leastFigure, minutesPerDay, at("max_day_min")...)
	}
}

// What figures of a garden may be at most, and at least where they can't be nothing.
const (
	leastFigure   = 0.001
	mostFlow      = 10000   // L/min
	mostVolume    = 1e6     // L
	mostArea      = 1000000 // m²
	mostFreeShare = 0.9
)
