package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// RainReadings lists what people read from gauges on one plot, or in the whole garden when plot is nil.
func (s *Service) RainReadings(ctx context.Context, p Principal, plot *uuid.UUID, at Page) ([]repo.RainReading, *Cursor, error) {
	if err := p.may(ReadPeople); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).RainReadingListPage(ctx, p.Garden, plot, after, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "rain reading", func(r repo.RainReading) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// RainReading reads one reading.
func (s *Service) RainReading(ctx context.Context, p Principal, id uuid.UUID) (repo.RainReading, error) {
	if err := p.may(ReadPeople); err != nil {
		return repo.RainReading{}, err
	}
	row, err := s.read(p).RainReadingByID(ctx, p.Garden, id)
	return one(row, err, "rain reading")
}

// CreateRainReading records the rain of a day that somebody read from a gauge on a plot. Who holds the plot may; file.RainReading
// says how far it counts.
func (s *Service) CreateRainReading(ctx context.Context, p Principal, v repo.RainReadingValues) (repo.RainReading, error) {
	if err := p.may(DrawLayout); err != nil {
		return repo.RainReading{}, err
	}
	e := effect{action: "create", entity: "rain reading", planning: true}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.RainReading, error) {
		v.GardenID, v.ID, v.Revision, v.Reporter = p.Garden, id, 1, p.Name
		if _, err := q.PlotByID(ctx, p.Garden, v.PlotID); err != nil {
			return repo.RainReading{}, fieldIfMissing(err, Field{"/plot_id", "names no plot of this garden"})
		}
		if err := s.holds(ctx, q, p, v.PlotID); err != nil {
			return repo.RainReading{}, err
		}
		garden, err := q.GardenByID(ctx, p.Garden)
		if err != nil {
			return repo.RainReading{}, err
		}
		today, err := s.today(garden)
		if err != nil {
			return repo.RainReading{}, err
		}
		if v.Day.After(today) || v.Day.Before(today.AddDate(0, 0, -weatherBefore)) {
			return repo.RainReading{}, invalid(Field{"/day", "must lie within a year before today, " + today.Format(time.DateOnly)})
		}
		return q.RainReadingInsert(ctx, v)
	})
}

// DeleteRainReading removes a reading that was entered by mistake.
func (s *Service) DeleteRainReading(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(DrawLayout); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "rain reading", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		old, err := q.RainReadingByID(ctx, p.Garden, id)
		if err != nil {
			return 0, err
		}
		if err := s.holds(ctx, q, p, old.PlotID); err != nil {
			return 0, err
		}
		return q.RainReadingDelete(ctx, p.Garden, id, match)
	}, func(q *repo.Queries) (int64, error) {
		row, err := q.RainReadingByID(ctx, p.Garden, id)
		return row.Revision, err
	})
}

// rainReadings reads what people read from gauges on the days whose weather counts.
func (s *snapping) rainReadings(ctx context.Context, out *file.Garden) error {
	first := s.horizon.FirstDay.Time
	rows, err := s.q.RainReadingList(ctx, s.garden, first.AddDate(0, 0, -weatherBefore), first.AddDate(0, 0, s.horizon.Days))
	for _, r := range rows {
		out.RainReadings = append(out.RainReadings, file.RainReading{PlotID: r.PlotID.String(), Day: file.Day{Time: r.Day}, RainMm: r.RainMm})
	}
	return err
}
