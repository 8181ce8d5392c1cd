package service

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// Closures lists the closures of the garden in the order in which they were entered.
func (s *Service) Closures(ctx context.Context, p Principal, at Page) ([]repo.Closure, *Cursor, error) {
	if err := p.may(ReadSite); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).ClosureListPage(ctx, p.Garden, after, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "closure", func(r repo.Closure) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// Closure reads one closure.
func (s *Service) Closure(ctx context.Context, p Principal, id uuid.UUID) (repo.Closure, error) {
	if err := p.may(ReadSite); err != nil {
		return repo.Closure{}, err
	}
	row, err := s.read(p).ClosureByID(ctx, p.Garden, id)
	return one(row, err, "closure")
}

// CreateClosure adds a closure.
func (s *Service) CreateClosure(ctx context.Context, p Principal, v repo.ClosureValues) (repo.Closure, error) {
	if err := p.may(Administer); err != nil {
		return repo.Closure{}, err
	}
	return create(ctx, s, p, effect{action: "create", entity: "closure", planning: true}, func(q *repo.Queries, id uuid.UUID) (repo.Closure, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.ClosureInsert(ctx, v)
	})
}

// ReplaceClosure writes a closure anew over its revision match.
func (s *Service) ReplaceClosure(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.ClosureValues) (repo.Closure, error) {
	if err := p.may(Administer); err != nil {
		return repo.Closure{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "closure", id: id, planning: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.Closure, error) { return q.ClosureUpdate(ctx, v) }, closureRevision(ctx, p, id))
}

// DeleteClosure removes a closure at its revision match.
func (s *Service) DeleteClosure(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "closure", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.ClosureDelete(ctx, p.Garden, id, match)
	}, closureRevision(ctx, p, id))
}

func closureRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.ClosureByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}
