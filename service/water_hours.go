package service

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// WaterHoursList lists the water hours of the garden in the order in which they were entered.
func (s *Service) WaterHoursList(ctx context.Context, p Principal, at Page) ([]repo.WaterHours, *Cursor, error) {
	if err := p.may(ReadSite); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).WaterHoursListPage(ctx, p.Garden, after, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "water hours", func(r repo.WaterHours) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// WaterHours reads one water hours.
func (s *Service) WaterHours(ctx context.Context, p Principal, id uuid.UUID) (repo.WaterHours, error) {
	if err := p.may(ReadSite); err != nil {
		return repo.WaterHours{}, err
	}
	row, err := s.read(p).WaterHoursByID(ctx, p.Garden, id)
	return one(row, err, "water hours")
}

// CreateWaterHours adds a water hours.
func (s *Service) CreateWaterHours(ctx context.Context, p Principal, v repo.WaterHoursValues) (repo.WaterHours, error) {
	if err := p.may(Administer); err != nil {
		return repo.WaterHours{}, err
	}
	return create(ctx, s, p, effect{action: "create", entity: "water hours", planning: true}, func(q *repo.Queries, id uuid.UUID) (repo.WaterHours, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.WaterHoursInsert(ctx, v)
	})
}

// ReplaceWaterHours writes a water hours anew over its revision match.
func (s *Service) ReplaceWaterHours(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.WaterHoursValues) (repo.WaterHours, error) {
	if err := p.may(Administer); err != nil {
		return repo.WaterHours{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "water hours", id: id, planning: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.WaterHours, error) { return q.WaterHoursUpdate(ctx, v) }, waterHoursRevision(ctx, p, id))
}

// DeleteWaterHours removes a water hours at its revision match.
func (s *Service) DeleteWaterHours(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "water hours", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.WaterHoursDelete(ctx, p.Garden, id, match)
	}, waterHoursRevision(ctx, p, id))
}

func waterHoursRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.WaterHoursByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}
