package service

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// ServiceLines lists the service lines of the garden by name.
func (s *Service) ServiceLines(ctx context.Context, p Principal, at Page) ([]repo.ServiceLine, *Cursor, error) {
	if err := p.may(ReadSite); err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).ServiceLineListPage(ctx, p.Garden, at.AfterKey, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "service line", func(r repo.ServiceLine) Cursor { return Cursor{r.Name, r.ID} })
}

// ServiceLine reads one service line.
func (s *Service) ServiceLine(ctx context.Context, p Principal, id uuid.UUID) (repo.ServiceLine, error) {
	if err := p.may(ReadSite); err != nil {
		return repo.ServiceLine{}, err
	}
	row, err := s.read(p).ServiceLineByID(ctx, p.Garden, id)
	return one(row, err, "service line")
}

// CreateServiceLine adds a service line.
func (s *Service) CreateServiceLine(ctx context.Context, p Principal, v repo.ServiceLineValues) (repo.ServiceLine, error) {
	if err := p.may(Administer); err != nil {
		return repo.ServiceLine{}, err
	}
	return create(ctx, s, p, effect{action: "create", entity: "service line", planning: true}, func(q *repo.Queries, id uuid.UUID) (repo.ServiceLine, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.ServiceLineInsert(ctx, v)
	})
}

// ReplaceServiceLine writes a service line anew over its revision match.
func (s *Service) ReplaceServiceLine(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.ServiceLineValues) (repo.ServiceLine, error) {
	if err := p.may(Administer); err != nil {
		return repo.ServiceLine{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "service line", id: id, planning: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.ServiceLine, error) { return q.ServiceLineUpdate(ctx, v) }, serviceLineRevision(ctx, p, id))
}

// DeleteServiceLine removes a service line at its revision match.
func (s *Service) DeleteServiceLine(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "service line", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.ServiceLineDelete(ctx, p.Garden, id, match)
	}, serviceLineRevision(ctx, p, id))
}

func serviceLineRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.ServiceLineByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}
