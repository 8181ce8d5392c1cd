package service

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// WaterSources lists the water sources of the garden by name.
func (s *Service) WaterSources(ctx context.Context, p Principal, at Page) ([]repo.WaterSource, *Cursor, error) {
	if err := p.may(ReadSite); err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).WaterSourceListPage(ctx, p.Garden, at.AfterKey, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "water source", func(r repo.WaterSource) Cursor { return Cursor{r.Name, r.ID} })
}

// WaterSource reads one water source.
func (s *Service) WaterSource(ctx context.Context, p Principal, id uuid.UUID) (repo.WaterSource, error) {
	if err := p.may(ReadSite); err != nil {
		return repo.WaterSource{}, err
	}
	row, err := s.read(p).WaterSourceByID(ctx, p.Garden, id)
	return one(row, err, "water source")
}

// CreateWaterSource adds a water source.
func (s *Service) CreateWaterSource(ctx context.Context, p Principal, v repo.WaterSourceValues) (repo.WaterSource, error) {
	if err := p.may(Administer); err != nil {
		return repo.WaterSource{}, err
	}
	return create(ctx, s, p, effect{action: "create", entity: "water source", planning: true}, func(q *repo.Queries, id uuid.UUID) (repo.WaterSource, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.WaterSourceInsert(ctx, v)
	})
}

// ReplaceWaterSource writes a water source anew over its revision match.
func (s *Service) ReplaceWaterSource(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.WaterSourceValues) (repo.WaterSource, error) {
	if err := p.may(Administer); err != nil {
		return repo.WaterSource{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "water source", id: id, planning: true, schedule: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.WaterSource, error) { return q.WaterSourceUpdate(ctx, v) }, waterSourceRevision(ctx, p, id))
}

// DeleteWaterSource removes a water source at its revision match.
func (s *Service) DeleteWaterSource(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "water source", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.WaterSourceDelete(ctx, p.Garden, id, match)
	}, waterSourceRevision(ctx, p, id))
}

func waterSourceRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.WaterSourceByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}
