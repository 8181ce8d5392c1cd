package service

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// follow reads the published rotations that reach into the horizon, with what was reported of their turns: the plan changes
// them as little as it can.
func (s *snapping) follow(ctx context.Context, out *file.Garden, now time.Time) error {
	start := instant(s.horizon.FirstDay.Time, 0, s.loc)
	end := instant(s.horizon.FirstDay.AddDate(0, 0, s.horizon.Days), 0, s.loc)
	rotations, err := s.q.RotationListPublishedIn(ctx, s.garden, start, end)
	if err != nil || len(rotations) == 0 || !now.Before(end) {
		return err
	}
	f := publishedRota{zones: map[zoneKey]int{}, out: &file.Replan{Now: now, Zones: []file.ReplanZone{}, Turns: []file.ReplanTurn{}}}
	for _, r := range rotations {
		f.out.EndsAt = r.EndsAt
		output, err := s.q.RotationOutput(ctx, s.garden, r.ID)
		if err != nil {
			return err
		}
		var plan file.GardenPlan
		if err := json.Unmarshal(output, &plan); err != nil {
			return fmt.Errorf("plan of rotation %s: %w", r.ID, err)
		}
		for _, z := range plan.Zones {
			f.zone(z.ID, z.Name, z.SourceID, z.Units)
		}
	}
	turns, err := s.q.TurnListPlannedIn(ctx, s.garden, start, end)
	if err != nil {
		return err
	}
	members, err := membersOf(ctx, s.q, s.garden, turns)
	if err != nil {
		return err
	}
	reports, err := s.q.TurnReportListIn(ctx, s.garden, start, end)
	if err != nil {
		return err
	}
	last := lastReports(reports)
	for _, t := range turns {
		f.turn(t, members[t.ID], last)
	}
	out.Replan = f.out
	return nil
}

// zoneKey is a zone as people know it. Two with one name and source differ in their members.
type zoneKey struct{ source, name string }

type publishedRota struct {
	zones map[zoneKey]int // the latest of that name
	out   *file.Replan
}

// zone finds or adds a zone and returns its id.
func (f *publishedRota) zone(id, name, source string, units []string) string {
	units = slices.Sorted(slices.Values(units))
	key := zoneKey{source, name}
	if k, known := f.zones[key]; known && slices.Equal(f.out.Zones[k].Units, units) {
		return f.out.Zones[k].ID
	}
	wanted := id
	for n := 2; slices.ContainsFunc(f.out.Zones, func(z file.ReplanZone) bool { return z.ID == id }); n++ {
		id = fmt.Sprintf("%s/%d", wanted, n)
	}
	f.zones[key] = len(f.out.Zones)
	f.out.Zones = append(f.out.Zones, file.ReplanZone{ID: id, Name: name, SourceID: source, Units: units})
	return id
}

func (f *publishedRota) turn(t repo.Turn, members []repo.TurnMember, reports map[uuid.UUID]repo.TurnReport) {
	turn := file.ReplanTurn{ID: t.ID.String(), StartsAt: t.StartsAt.UTC(), EndsAt: t.EndsAt.UTC(), Locked: t.Locked, Members: []file.ReplanMember{}}
	var units []string
	for _, m := range members {
		unit := m.PlotID.String()
		if m.LayoutID != nil {
			unit = m.LayoutID.String()
		}
		units = append(units, unit)
		of := file.ReplanMember{Unit: unit, VolumeL: m.VolumeL}
		if m.ClosesAt != nil {
			closes := m.ClosesAt.UTC()
			of.ClosesAt = &closes
		}
		turn.Members = append(turn.Members, of)
	}
	turn.Zone = f.zone(t.Zone, t.Zone, t.WaterSourceID.String(), units)
	if r, reported := reports[t.ID]; reported {
		turn.RanMin = ranMinutes(r)
	}
	f.out.Turns = append(f.out.Turns, turn)
}

// ranMinutes is how long a turn ran by its report; nil for as long as it was published.
func ranMinutes(r repo.TurnReport) *float64 {
	if r.Outcome == "missed" || r.Outcome == "skipped_wet" {
		return new(0.0)
	}
	return r.DurationMin
}

// lastReports are the reports that hold, by turn; they come in the order in which they were written.
func lastReports(reports []repo.TurnReport) map[uuid.UUID]repo.TurnReport {
	last := map[uuid.UUID]repo.TurnReport{}
	for _, r := range reports {
		last[r.TurnID] = r
	}
	return last
}
