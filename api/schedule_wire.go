package api

import (
	"fmt"
	"time"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

func scheduleView(s service.Schedule) gen.Schedule {
	view := gen.Schedule{
		GardenId: s.Garden.GardenID, GardenName: s.Garden.Name, TimeZone: s.Garden.TimeZone,
		ScheduleVersion: s.Garden.ScheduleVersion, Turns: views(s.Turns, scheduleTurnView),
	}
	if s.Rotation != nil {
		view.RotationId, view.PublishedAt = &s.Rotation.ID, s.Rotation.PublishedAt
	}
	return view
}

func scheduleTurnView(t repo.ScheduledTurn) gen.ScheduleTurn {
	return gen.ScheduleTurn{
		Id: t.ID, Sequence: t.Sequence, Status: gen.TurnStatus(t.Status), Kind: gen.TurnKind(t.Kind),
		StartsAt: t.StartsAt, EndsAt: t.EndsAt, WaterSourceId: t.WaterSourceID, SourceName: t.WaterSourceName, Zone: t.Zone,
		FlowLPerMin: t.FlowLPerMin, OpenerId: t.OpenerID, OpenerName: t.OpenerName,
		Members: views(t.Members, scheduleMemberView),
	}
}

func scheduleMemberView(m repo.ScheduledMember) gen.ScheduleMember {
	return gen.ScheduleMember{
		PlotId: m.PlotID, PlotLabel: m.PlotLabel, LayoutId: m.LayoutID, LayoutName: m.LayoutName, VolumeL: m.VolumeL,
		ClosesAt: m.ClosesAt,
	}
}

// scheduleRender is the schedule as the renderers draw it, with the shares and water hours of its plan.
func scheduleRender(s service.Schedule, plan file.GardenPlan) (render.Schedule, error) {
	zone, err := time.LoadLocation(s.Garden.TimeZone)
	if err != nil {
		return render.Schedule{}, fmt.Errorf("time zone of garden %s: %w", s.Garden.GardenID, err)
	}
	view := render.Schedule{
		GardenName: s.Garden.Name, GardenID: s.Garden.GardenID.String(), TimeZone: zone,
		Units: render.Units(s.Garden.Units), Language: s.Garden.Language, Generated: s.Garden.UpdatedAt,
		HorizonFrom: s.Garden.UpdatedAt, HorizonTo: s.Garden.UpdatedAt.AddDate(0, 0, 1), // of an empty schedule
	}
	if r := s.Rotation; r != nil {
		view.RotationID, view.Revision, view.Generated = r.ID.String(), int(r.Revision), r.CreatedAt
		view.HorizonFrom, view.HorizonTo = r.StartsAt, r.EndsAt
		if r.PublishedAt != nil {
			view.Published, view.Generated = true, *r.PublishedAt
		}
	}
	shares := map[served]float64{}
	for _, u := range plan.Units {
		shares[servedUnit(u.PlotID, u.LayoutID)] = u.Share
	}
	for i, t := range s.Turns {
		view.Turns = append(view.Turns, turnRender(t, shares))
		if s.Rotation == nil && i == 0 {
			view.HorizonFrom, view.HorizonTo = t.StartsAt, t.EndsAt
		}
		view.HorizonFrom, view.HorizonTo = earlier(view.HorizonFrom, t.StartsAt), later(view.HorizonTo, t.EndsAt)
	}
	names := map[string]string{}
	for _, t := range s.Turns {
		names[t.WaterSourceID.String()] = t.WaterSourceName
	}
	for _, source := range plan.Sources {
		for _, h := range source.Hours {
			if name, shown := names[source.ID]; shown {
				view.WaterHours = append(view.WaterHours, render.Interval{SourceName: name, Start: h.StartsAt, End: h.EndsAt})
			}
		}
	}
	return view, nil
}

// served names what a plan serves: a layout, or a plot watered by hand.
type served struct{ plot, layout string }

func servedUnit(plot string, layout *string) served {
	if layout == nil {
		return served{plot: plot}
	}
	return served{plot, *layout}
}

func turnRender(t repo.ScheduledTurn, shares map[served]float64) render.Turn {
	turn := render.Turn{
		UID: t.ID.String(), Sequence: int(t.Sequence), Status: render.TurnStatus(t.Status), Start: t.StartsAt, End: t.EndsAt,
		SourceName: t.WaterSourceName, ZoneName: t.Zone, Kind: render.TurnKind(t.Kind), FlowLPerMin: t.FlowLPerMin,
	}
	if t.OpenerName != nil {
		turn.Opener = *t.OpenerName
	}
	for _, m := range t.Members {
		member := render.Member{PlotName: m.PlotLabel, Liters: m.VolumeL, ClosesAt: m.ClosesAt, Share: 1}
		unit := served{plot: m.PlotID.String()}
		if m.LayoutID != nil {
			unit.layout = m.LayoutID.String()
		}
		if share, known := shares[unit]; known {
			member.Share = share
		}
		if m.LayoutName != nil {
			member.LayoutName = *m.LayoutName
		}
		turn.Members = append(turn.Members, member)
	}
	return turn
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
