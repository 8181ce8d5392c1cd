package service

import (
	"context"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
)

// FlowTests lists the flow tests of a source in the order in which they were entered.
func (s *Service) FlowTests(ctx context.Context, p Principal, source uuid.UUID, at Page) ([]repo.FlowTest, *Cursor, error) {
	if err := p.may(ReadSite); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).FlowTestListPage(ctx, p.Garden, source, after, at.AfterID, int32(at.Limit+1))
	if len(rows) == 0 && err == nil { // an empty list, or no such source
		_, err = s.read(p).WaterSourceByID(ctx, p.Garden, source)
		return []repo.FlowTest{}, nil, explain(err, effect{entity: "water source"})
	}
	return page(rows, err, at, "flow test", func(r repo.FlowTest) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// FlowTest reads one flow test of a source.
func (s *Service) FlowTest(ctx context.Context, p Principal, source, id uuid.UUID) (repo.FlowTest, error) {
	if err := p.may(ReadSite); err != nil {
		return repo.FlowTest{}, err
	}
	row, err := s.read(p).FlowTestByID(ctx, p.Garden, id)
	if err == nil && row.WaterSourceID != source {
		err = repo.ErrNotFound
	}
	return one(row, err, "flow test")
}

// CreateFlowTest records a flow test. A test that leaves no supply curve (residual pressure not under static, a hose that
// would lose more than the source has) is refused with the field at fault.
func (s *Service) CreateFlowTest(ctx context.Context, p Principal, v repo.FlowTestValues) (repo.FlowTest, error) {
	if err := p.may(Administer); err != nil {
		return repo.FlowTest{}, err
	}
	e := effect{action: "create", entity: "flow test", planning: true}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.FlowTest, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		source, err := q.WaterSourceByID(ctx, p.Garden, v.WaterSourceID)
		if err != nil {
			return repo.FlowTest{}, missing(err, "water source")
		}
		row, err := q.FlowTestInsert(ctx, v)
		if err != nil {
			return row, err
		}
		tests, err := q.FlowTestListBySource(ctx, p.Garden, v.WaterSourceID)
		if err != nil {
			return row, err
		}
		return row, checkTests(source, tests, id)
	})
}

// DeleteFlowTest removes a flow test at its revision match.
func (s *Service) DeleteFlowTest(ctx context.Context, p Principal, source, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "flow test", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		row, err := q.FlowTestByID(ctx, p.Garden, id)
		if err != nil || row.WaterSourceID != source {
			return 0, err // none of this source: reported as missing
		}
		return q.FlowTestDelete(ctx, p.Garden, id, match)
	}, func(q *repo.Queries) (int64, error) {
		row, err := q.FlowTestByID(ctx, p.Garden, id)
		if err == nil && row.WaterSourceID != source {
			err = pgx.ErrNoRows
		}
		return row.Revision, err
	})
}
