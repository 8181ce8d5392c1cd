package file

import (
	"cmp"
	"io"
	"slices"
	"time"
)

// WhatIf is one change that a garden doesn't have, to be looked at without saving it. Exactly one of its fields is set.
type WhatIf struct {
	// AcceptLayout is a layout on a plot of the garden; one with the id of an accepted layout takes its place.
	AcceptLayout *LayoutOnPlot `json:"accept_layout,omitempty"`
	AddPlot      *AddPlot      `json:"add_plot,omitempty"`
	LoseSource   *LoseSource   `json:"lose_source,omitempty"`
	MoreHours    *MoreHours    `json:"more_hours,omitempty"`
	// Weather is hot_week, plants using a quarter more on every day of the horizon, or dry_week, no rain having fallen in
	// the seven days before it. Rain to come is never counted on.
	Weather  string    `json:"weather,omitempty"`
	WaterOff *WaterOff `json:"water_off,omitempty"`
}

// AddPlot is a new plot with what grows on it.
type AddPlot struct {
	Plot      Plot          `json:"plot" file:"required"`
	Layout    *LayoutOnPlot `json:"layout,omitempty"`
	Plantings []Planting    `json:"plantings" file:"required"`
}

// LoseSource takes a source away. What it feeds moves to another source, or gets nothing.
type LoseSource struct {
	WaterSourceID string  `json:"water_source_id" file:"required"`
	MoveTo        *string `json:"move_to,omitempty"`
}

// MoreHours lengthens the last water hours of a weekday (1 = Monday), of one source or of all. A weekday without hours
// needs a start.
type MoreHours struct {
	WaterSourceID *string `json:"water_source_id,omitempty"`
	Weekday       int     `json:"weekday" file:"required"`
	Minutes       int     `json:"minutes" file:"required"`
	StartLocal    string  `json:"start_local,omitempty"`
}

// WaterOff closes a source, or all sources of a service line, on a run of days.
type WaterOff struct {
	WaterSourceID *string `json:"water_source_id,omitempty"`
	ServiceLineID *string `json:"service_line_id,omitempty"`
	FirstDay      Day     `json:"first_day" file:"required"`
	LastDay       Day     `json:"last_day" file:"required"`
}

// Difference is what a change makes of a plan: figures of the whole, then every unit and every turn that differs.
type Difference struct {
	Before PlanFigures      `json:"before"`
	After  PlanFigures      `json:"after"`
	Units  []UnitDifference `json:"units"`
	Turns  []TurnDifference `json:"turns"`
}

// PlanFigures are a plan in a few numbers.
type PlanFigures struct {
	SmallestShare float64 `json:"smallest_share"`
	MeanShare     float64 `json:"mean_share"`
	Bound         float64 `json:"bound"`
	OpenMin       float64 `json:"open_min"`
	NeedL         float64 `json:"need_l"`
	DeliveredL    float64 `json:"delivered_l"`
	OverL         float64 `json:"over_l"` // beyond need and tolerance
	// LeastOverL is what no plan with these shares gives less than too much; nil where that was not worked out.
	LeastOverL *float64 `json:"least_over_l,omitempty"`
	Zones      int      `json:"zones"`
	Turns      int      `json:"turns"`
	Short      int      `json:"short"` // units that get less than they need
	Late       int      `json:"late"`
	StressDays float64  `json:"stress_days"`
}

// UnitDifference is one unit under both plans. A side is left out where the unit is in no plan there.
type UnitDifference struct {
	Unit   string       `json:"unit"`
	PlotID string       `json:"plot_id"`
	Before *UnitFigures `json:"before,omitempty"`
	After  *UnitFigures `json:"after,omitempty"`
}

// UnitFigures are what one unit gets.
type UnitFigures struct {
	Zone       string  `json:"zone,omitempty"` // left out when no zone can carry it
	NeedL      float64 `json:"need_l"`
	DeliveredL float64 `json:"delivered_l"`
	Share      float64 `json:"share"`
	OpenMin    float64 `json:"open_min"`
	Turns      int     `json:"turns"`
	StressDays float64 `json:"stress_days"`
}

// TurnDifference is a turn under both plans. before is left out for a turn that comes, after for one that goes.
type TurnDifference struct {
	ID       string     `json:"id,omitempty"` // of the published turn, where there is one
	ZoneName string     `json:"zone_name"`
	SourceID string     `json:"source_id"`
	Units    []string   `json:"units"`
	Before   *HoursPlan `json:"before,omitempty"`
	After    *HoursPlan `json:"after,omitempty"`
}

// Differ compares two plans of a garden, the later one made to follow the earlier or both following the same rotation.
func Differ(before, after GardenPlan) Difference {
	return Difference{
		Before: before.figures(), After: after.figures(), Units: unitDifferences(before, after), Turns: turnDifferences(before, after),
	}
}

func (p GardenPlan) figures() PlanFigures {
	f := PlanFigures{
		SmallestShare: p.SmallestShare, MeanShare: p.MeanShare, Bound: p.Bound.Share, OpenMin: p.OpenMin, Zones: len(p.Zones),
		Turns: len(p.Turns), Late: len(p.Late), LeastOverL: p.LeastOverL,
	}
	for _, u := range p.Units {
		f.NeedL += u.NeedL
		f.DeliveredL += u.DeliveredL
		f.OverL += u.OverL
		f.StressDays += u.StressDays
		if u.Zone != "" && u.DeliveredL < u.NeedL {
			f.Short++
		}
	}
	return f
}

// unitFigures are the figures of every unit of a plan, by id.
func (p GardenPlan) unitFigures() map[string]UnitFigures {
	out := map[string]UnitFigures{}
	for _, u := range p.Units {
		out[u.ID] = UnitFigures{Zone: u.Zone, NeedL: u.NeedL, DeliveredL: u.DeliveredL, Share: u.Share, StressDays: u.StressDays}
	}
	for _, t := range p.Turns {
		for _, m := range t.Members {
			end := t.EndsAt
			if m.ClosesAt != nil {
				end = *m.ClosesAt
			}
			f := out[m.Unit]
			f.OpenMin += end.Sub(t.StartsAt).Minutes()
			f.Turns++
			out[m.Unit] = f
		}
	}
	return out
}

func unitDifferences(before, after GardenPlan) []UnitDifference {
	was, is := before.unitFigures(), after.unitFigures()
	out := []UnitDifference{}
	seen := map[string]bool{}
	for _, u := range append(slices.Clone(before.Units), after.Units...) {
		a, old := was[u.ID]
		b, now := is[u.ID]
		if seen[u.ID] || old && now && a == b {
			continue
		}
		seen[u.ID] = true
		d := UnitDifference{Unit: u.ID, PlotID: u.PlotID}
		if old {
			d.Before = &a
		}
		if now {
			d.After = &b
		}
		out = append(out, d)
	}
	return out
}

// turnDifferences pairs the turns of two plans: by the published turn that both go on from, else the same units from the
// same source on the same day, one after the other.
func turnDifferences(before, after GardenPlan) []TurnDifference {
	out := []TurnDifference{}
	left := slices.Clone(before.Turns)
	for _, t := range after.Turns {
		d := after.turnDifference(t)
		d.After = &HoursPlan{StartsAt: t.StartsAt, EndsAt: t.EndsAt}
		i := slices.IndexFunc(left, func(o TurnPlan) bool { return t.ID != "" && o.ID == t.ID })
		if i < 0 {
			i = slices.IndexFunc(left, func(o TurnPlan) bool {
				return (t.ID == "" || o.ID == "") && o.Day == t.Day && slices.EqualFunc(o.Members, t.Members, func(a, b TurnMemberPlan) bool { return a.Unit == b.Unit })
			})
		}
		if i >= 0 {
			d.Before = &HoursPlan{StartsAt: left[i].StartsAt, EndsAt: left[i].EndsAt}
			left = slices.Delete(left, i, i+1)
		}
		if d.Before == nil || !d.Before.StartsAt.Equal(d.After.StartsAt) || !d.Before.EndsAt.Equal(d.After.EndsAt) {
			out = append(out, d)
		}
	}
	for _, t := range left {
		d := before.turnDifference(t)
		d.Before = &HoursPlan{StartsAt: t.StartsAt, EndsAt: t.EndsAt}
		out = append(out, d)
	}
	slices.SortStableFunc(out, func(a, b TurnDifference) int {
		return cmp.Or(a.begins().Compare(b.begins()), cmp.Compare(a.SourceID, b.SourceID))
	})
	return out
}

func (d TurnDifference) begins() time.Time {
	if d.After != nil {
		return d.After.StartsAt
	}
	return d.Before.StartsAt
}

func (p GardenPlan) turnDifference(t TurnPlan) TurnDifference {
	d := TurnDifference{ID: t.ID}
	for _, z := range p.Zones {
		if z.ID == t.Zone {
			d.ZoneName, d.SourceID = z.Name, z.SourceID
		}
	}
	for _, m := range t.Members {
		d.Units = append(d.Units, m.Unit)
	}
	return d
}

// ReadWhatIf reads a change. Its errors are Faults.
func ReadWhatIf(r io.Reader) (WhatIf, error) {
	var w WhatIf
	err := Decode(r, &w)
	return w, err
}
