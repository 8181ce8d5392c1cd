package service

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
)

// Holders lists the holders of a plot, past and present, in the order in which they were entered.
func (s *Service) Holders(ctx context.Context, p Principal, plot uuid.UUID, at Page) ([]repo.PlotHolder, *Cursor, error) {
	if err := p.may(ReadPeople); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).PlotHolderListPage(ctx, p.Garden, plot, after, at.AfterID, int32(at.Limit+1))
	if len(rows) == 0 && err == nil { // an empty list, or no such plot
		_, err = s.read(p).PlotByID(ctx, p.Garden, plot)
		return []repo.PlotHolder{}, nil, explain(err, effect{entity: "plot"})
	}
	return page(rows, err, at, "holder", func(r repo.PlotHolder) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// Holder reads one holder of a plot.
func (s *Service) Holder(ctx context.Context, p Principal, plot, id uuid.UUID) (repo.PlotHolder, error) {
	if err := p.may(ReadPeople); err != nil {
		return repo.PlotHolder{}, err
	}
	row, err := s.read(p).PlotHolderByID(ctx, p.Garden, id)
	if err == nil && row.PlotID != plot {
		err = repo.ErrNotFound
	}
	return one(row, err, "holder")
}

// CreateHolder gives a plot to a member from a day on.
func (s *Service) CreateHolder(ctx context.Context, p Principal, v repo.PlotHolderValues) (repo.PlotHolder, error) {
	if err := p.may(Administer); err != nil {
		return repo.PlotHolder{}, err
	}
	return create(ctx, s, p, effect{action: "create", entity: "holder"}, func(q *repo.Queries, id uuid.UUID) (repo.PlotHolder, error) {
		if _, err := q.PlotByID(ctx, p.Garden, v.PlotID); err != nil {
			return repo.PlotHolder{}, missing(err, "plot")
		}
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.PlotHolderInsert(ctx, v)
	})
}

// ReplaceHolder changes who holds the plot v.PlotID, or since and until when, over the revision match.
func (s *Service) ReplaceHolder(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.PlotHolderValues) (repo.PlotHolder, error) {
	if err := p.may(Administer); err != nil {
		return repo.PlotHolder{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "holder", id: id}
	of := holderRevision(ctx, p, v.PlotID, id)
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.PlotHolder, error) {
		if _, err := of(q); err != nil {
			return repo.PlotHolder{}, err
		}
		return q.PlotHolderUpdate(ctx, v)
	}, of)
}

// DeleteHolder removes a holder that was entered by mistake; whoever leaves a plot gets a last day instead.
func (s *Service) DeleteHolder(ctx context.Context, p Principal, plot, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "holder", id: id}
	of := holderRevision(ctx, p, plot, id)
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		if _, err := of(q); err != nil {
			return 0, err
		}
		return q.PlotHolderDelete(ctx, p.Garden, id, match)
	}, of)
}

func holderRevision(ctx context.Context, p Principal, plot, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.PlotHolderByID(ctx, p.Garden, id)
		if err == nil && row.PlotID != plot {
			err = pgx.ErrNoRows
		}
		return row.Revision, err
	}
}

// holds refuses a gardener who doesn't hold the plot today, on the garden's calendar. A coordinator may change any plot.
func (s *Service) holds(ctx context.Context, q *repo.Queries, p Principal, plot uuid.UUID) error {
	if p.Role == Coordinator {
		return nil
	}
	held, err := s.plotsHeld(ctx, q, p)
	if err != nil || slices.Contains(held, plot) {
		return err
	}
	return refuse(Forbidden, "%s does not hold this plot today.", p.Name)
}

// plotsHeld lists the plots that the principal's member holds today.
func (s *Service) plotsHeld(ctx context.Context, q *repo.Queries, p Principal) ([]uuid.UUID, error) {
	if p.Member == nil {
		return nil, nil
	}
	g, err := q.GardenByID(ctx, p.Garden)
	if err != nil {
		return nil, err
	}
	today, err := s.today(g)
	if err != nil {
		return nil, err
	}
	return q.PlotListHeldBy(ctx, p.Garden, *p.Member, today)
}

// today is the date on the garden's calendar.
func (s *Service) today(g repo.Garden) (time.Time, error) {
	loc, err := time.LoadLocation(g.TimeZone)
	if err != nil {
		return time.Time{}, err
	}
	y, m, d := s.now().In(loc).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC), nil
}
