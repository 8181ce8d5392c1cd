package api

import (
	"fmt"
	"time"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

func scheduleView(s service.Schedule) gen.Schedule {
	view := gen.Schedule{
		GardenId: s.Garden.GardenID, GardenName: s.Garden.Name, TimeZone: s.Garden.TimeZone,
		ScheduleVersion: s.Garden.ScheduleVersion, Turns: views(s.Turns, scheduleTurnView),
	}
	if s.Rotation != nil {
		view.RotationId = &s.Rotation.ID
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

// scheduleRender is the schedule as the renderers draw it.
func scheduleRender(s service.Schedule) (render.Schedule, error) {
	zone, err := time.LoadLocation(s.Garden.TimeZone)
	if err != nil {
		return render.Schedule{}, fmt.Errorf("time zone of garden %s: %w", s.Garden.GardenID, err)
	}
	view := render.Schedule{
		GardenName: s.Garden.Name, GardenID: s.Garden.GardenID.String(), TimeZone: zone,
		Units: render.Units(s.Garden.Units), Language: s.Garden.Language,
	}
	for _, t := range s.Turns {
		view.Turns = append(view.Turns, turnRender(t))
	}
	return view, nil
}

func turnRender(t repo.ScheduledTurn) render.Turn {
	turn := render.Turn{
		UID: t.ID.String(), Sequence: int(t.Sequence), Status: render.TurnStatus(t.Status), Start: t.StartsAt, End: t.EndsAt,
		SourceName: t.WaterSourceName, ZoneName: t.Zone, Kind: render.TurnKind(t.Kind), FlowLPerMin: t.FlowLPerMin,
	}
	if t.OpenerName != nil {
		turn.Opener = *t.OpenerName
	}
	for _, m := range t.Members {
		member := render.Member{PlotName: m.PlotLabel, Liters: m.VolumeL, ClosesAt: m.ClosesAt}
		if m.LayoutName != nil {
			member.LayoutName = *m.LayoutName
		}
		turn.Members = append(turn.Members, member)
	}
	return turn
}
