package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// Digs lists what was found by digging on one plot, or in the whole garden when plot is nil.
func (s *Service) Digs(ctx context.Context, p Principal, plot *uuid.UUID, at Page) ([]repo.Dig, *Cursor, error) {
	if err := p.may(ReadPeople); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).DigListPage(ctx, p.Garden, plot, after, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "dig", func(r repo.Dig) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// Dig reads one dig.
func (s *Service) Dig(ctx context.Context, p Principal, id uuid.UUID) (repo.Dig, error) {
	if err := p.may(ReadPeople); err != nil {
		return repo.Dig{}, err
	}
	row, err := s.read(p).DigByID(ctx, p.Garden, id)
	return one(row, err, "dig")
}

// CreateDig records what somebody saw when digging; the ledgers are worked out from it. Who holds the plot may.
func (s *Service) CreateDig(ctx context.Context, p Principal, v repo.DigValues) (repo.Dig, error) {
	if err := p.may(DrawLayout); err != nil {
		return repo.Dig{}, err
	}
	e := effect{action: "create", entity: "dig", planning: true}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.Dig, error) {
		v.GardenID, v.ID, v.Revision, v.Reporter = p.Garden, id, 1, p.Name
		if err := s.checkDig(ctx, q, p, v); err != nil {
			return repo.Dig{}, err
		}
		return q.DigInsert(ctx, v)
	})
}

// checkDig holds a dig against its plot and planting. Nobody has dug on a day to come.
func (s *Service) checkDig(ctx context.Context, q *repo.Queries, p Principal, v repo.DigValues) error {
	if _, err := q.PlotByID(ctx, p.Garden, v.PlotID); err != nil {
		return fieldIfMissing(err, Field{"/plot_id", "names no plot of this garden"})
	}
	if err := s.holds(ctx, q, p, v.PlotID); err != nil {
		return err
	}
	garden, err := q.GardenByID(ctx, p.Garden)
	if err != nil {
		return err
	}
	today, err := s.today(garden)
	if err != nil {
		return err
	}
	if v.Day.After(today) {
		return invalid(Field{"/day", "must not come after today, " + today.Format(time.DateOnly)})
	}
	if v.PlantingID == nil {
		return nil
	}
	planting, err := q.PlantingByID(ctx, p.Garden, *v.PlantingID)
	if err != nil {
		return fieldIfMissing(err, Field{"/planting_id", "names no planting of this garden"})
	}
	if planting.PlotID != v.PlotID {
		return invalid(Field{"/planting_id", "names a planting of another plot"})
	}
	return nil
}

// DeleteDig removes a dig that was entered by mistake.
func (s *Service) DeleteDig(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(DrawLayout); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "dig", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		old, err := q.DigByID(ctx, p.Garden, id)
		if err != nil {
			return 0, err
		}
		if err := s.holds(ctx, q, p, old.PlotID); err != nil {
			return 0, err
		}
		return q.DigDelete(ctx, p.Garden, id, match)
	}, func(q *repo.Queries) (int64, error) {
		row, err := q.DigByID(ctx, p.Garden, id)
		return row.Revision, err
	})
}

// digs reads what was dug before the horizon.
func (s *snapping) digs(ctx context.Context, out *file.Garden) error {
	rows, err := s.q.DigList(ctx, s.garden, s.horizon.FirstDay.Time)
	for _, d := range rows {
		of := file.Dig{PlotID: d.PlotID.String(), PlantingID: idPointer(d.PlantingID), Day: file.Day{Time: d.Day}, DepletionMM: d.DepletionMm}
		if d.Finding != nil {
			of.Finding = *d.Finding
		}
		out.Digs = append(out.Digs, of)
	}
	return err
}
