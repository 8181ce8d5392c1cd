package service

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// Plots lists the plots of the garden by label.
func (s *Service) Plots(ctx context.Context, p Principal, at Page) ([]repo.Plot, *Cursor, error) {
	if err := p.may(ReadSite); err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).PlotListPage(ctx, p.Garden, at.AfterKey, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "plot", func(r repo.Plot) Cursor { return Cursor{r.Label, r.ID} })
}

// Plot reads one plot.
func (s *Service) Plot(ctx context.Context, p Principal, id uuid.UUID) (repo.Plot, error) {
	if err := p.may(ReadSite); err != nil {
		return repo.Plot{}, err
	}
	row, err := s.read(p).PlotByID(ctx, p.Garden, id)
	return one(row, err, "plot")
}

// CreatePlot adds a plot.
func (s *Service) CreatePlot(ctx context.Context, p Principal, v repo.PlotValues) (repo.Plot, error) {
	if err := p.may(Administer); err != nil {
		return repo.Plot{}, err
	}
	return create(ctx, s, p, effect{action: "create", entity: "plot", planning: true}, func(q *repo.Queries, id uuid.UUID) (repo.Plot, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.PlotInsert(ctx, v)
	})
}

// ReplacePlot writes a plot anew over its revision match.
func (s *Service) ReplacePlot(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.PlotValues) (repo.Plot, error) {
	if err := p.may(Administer); err != nil {
		return repo.Plot{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "plot", id: id, planning: true, schedule: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.Plot, error) { return q.PlotUpdate(ctx, v) }, plotRevision(ctx, p, id))
}

// DeletePlot removes a plot at its revision match.
func (s *Service) DeletePlot(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "plot", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.PlotDelete(ctx, p.Garden, id, match)
	}, plotRevision(ctx, p, id))
}

func plotRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.PlotByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}
