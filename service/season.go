package service

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// Season is what became of a garden that was taken into a new season.
type Season struct {
	Garden    repo.Garden
	Drafts    []uuid.UUID // layouts with a new draft
	Plantings []repo.Planting
}

// beforeSeason is how long before the water comes on people begin to plant.
const beforeSeason = 90 * 24 * time.Hour

// OpenSeason takes the garden into a new season, from the day on which the water comes on to the day on which it goes off:
//
//  1. The dates become the garden's.
//  2. Each layout in use without a revision under way gets a draft like its accepted revision, which stays in force until the
//     draft is accepted. Its holder changes the draft, or hands it in as it is.
//  3. Each planting of the last season that has a last day is planted again, as many years later as the seasons are apart.
//     Plantings without a last day stand on.
//
// A garden is taken into a season once: the new one must begin after the last one ended.
func (s *Service) OpenSeason(ctx context.Context, p Principal, on, off time.Time) (Season, error) {
	var out Season
	if err := p.may(Administer); err != nil {
		return out, err
	}
	if !on.Before(off) {
		return out, invalid(Field{"/water_off", "must come after water_on"})
	}
	e := effect{action: "open season", entity: "garden", id: p.Garden, planning: true, schedule: true}
	err := s.change(ctx, p, e, func(q *repo.Queries) error {
		g, err := q.GardenLock(ctx, p.Garden)
		if err != nil {
			return err
		}
		begun, years, err := seasonBefore(g, on)
		if err != nil {
			return err
		}
		if out.Garden, err = q.SeasonUpdate(ctx, &on, &off, p.Garden); err != nil {
			return err
		}
		if out.Drafts, err = s.draftAgain(ctx, q, p); err != nil {
			return err
		}
		out.Plantings, err = s.plantAgain(ctx, q, p, begun.Add(-beforeSeason), on.Add(-beforeSeason), years)
		return err
	})
	return out, err
}

// seasonBefore says when the last season began, and how many years before the new one: a year where the garden has no dates.
func seasonBefore(g repo.Garden, on time.Time) (begun time.Time, years int, err error) {
	if g.WaterOn == nil {
		return on.AddDate(-1, 0, 0), 1, nil
	}
	last := *g.WaterOn
	if g.WaterOff != nil {
		last = *g.WaterOff
	}
	if !on.After(last) {
		return begun, 0, invalid(Field{"/water_on", "must come after the season that the garden has, which ends on " + last.Format(time.DateOnly)})
	}
	return *g.WaterOn, max(1, on.Year()-g.WaterOn.Year()), nil
}

// draftAgain gives the layouts in use drafts like their accepted revisions.
func (s *Service) draftAgain(ctx context.Context, q *repo.Queries, p Principal) ([]uuid.UUID, error) {
	rows, err := q.LayoutListAccepted(ctx, p.Garden)
	if err != nil {
		return nil, err
	}
	drafts := []uuid.UUID{}
	for _, row := range rows {
		l := row.Layout
		if l.Status != accepted {
			continue
		}
		number := l.LatestNumber + 1
		_, err := q.LayoutRevisionInsert(ctx, repo.LayoutRevisionValues{
			Status: draft, Spec: row.LayoutRevision.Spec, Author: p.Name, GardenID: p.Garden, LayoutID: l.ID, Number: number,
		})
		if err == nil {
			_, err = q.LayoutUpdate(ctx, repo.LayoutValues{
				PlotID: l.PlotID, WaterSourceID: l.WaterSourceID, Name: l.Name, Status: draft, OwnValve: l.OwnValve, MeasuredDu: l.MeasuredDu,
				LatestNumber: number, AcceptedNumber: l.AcceptedNumber, GardenID: p.Garden, ID: l.ID, Revision: l.Revision,
			})
		}
		if err != nil {
			return nil, err
		}
		drafts = append(drafts, l.ID)
	}
	return drafts, nil
}

// plantAgain plants what was planted from one day to another, the end excluded, and has a last day.
func (s *Service) plantAgain(ctx context.Context, q *repo.Queries, p Principal, from, to time.Time, years int) ([]repo.Planting, error) {
	rows, err := q.PlantingList(ctx, p.Garden)
	if err != nil {
		return nil, err
	}
	made := []repo.Planting{}
	for _, r := range rows {
		if r.RemovedOn == nil || r.PlantedOn.Before(from) || !r.PlantedOn.Before(to) {
			continue
		}
		again, err := plantedAgain(r, years, s.newID())
		if err != nil {
			return nil, err
		}
		row, err := q.PlantingInsert(ctx, again)
		if err != nil {
			return nil, err
		}
		made = append(made, row)
	}
	return made, nil
}

// plantedAgain is a planting with a last day, some years later.
func plantedAgain(r repo.Planting, years int, id uuid.UUID) (repo.PlantingValues, error) {
	removed := r.RemovedOn.AddDate(years, 0, 0)
	companions, err := companionsAgain(r.Companions, years)
	if err != nil {
		return repo.PlantingValues{}, err
	}
	return repo.PlantingValues{
		PlotID: r.PlotID, Crop: r.Crop, CropConstants: r.CropConstants, PlantedOn: r.PlantedOn.AddDate(years, 0, 0), RemovedOn: &removed,
		AreaM2: r.AreaM2, WettedFraction: r.WettedFraction, Mulch: r.Mulch, MulchCover: r.MulchCover, PlantSpacingM: r.PlantSpacingM,
		RowSpacingM: r.RowSpacingM, LayoutID: r.LayoutID, Outlets: r.Outlets, FromM: r.FromM, ToM: r.ToM, BothSides: r.BothSides,
		Note: r.Note, Establishment: r.Establishment, Supported: r.Supported, ExposureFactor: r.ExposureFactor,
		DualCoefficient: r.DualCoefficient, Opening: r.Opening, OpeningDepletionMm: r.OpeningDepletionMm, GroundShare: r.GroundShare,
		Companions: companions, GardenID: r.GardenID, ID: id, Revision: 1,
	}, nil
}

// companionsAgain are the companions of a planting some years later.
func companionsAgain(stored json.RawMessage, years int) (json.RawMessage, error) {
	var all []file.PlantingCompanion
	if err := json.Unmarshal(stored, &all); err != nil {
		return nil, fmt.Errorf("stored companions: %w", err)
	}
	for i := range all {
		all[i].PlantedOn.Time = all[i].PlantedOn.AddDate(years, 0, 0)
		if all[i].RemovedOn != nil {
			all[i].RemovedOn = &file.Day{Time: all[i].RemovedOn.AddDate(years, 0, 0)}
		}
	}
	return json.Marshal(append([]file.PlantingCompanion{}, all...))
}
