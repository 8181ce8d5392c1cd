package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/service/hook"
)

// WaterOff is water that is off, with what that meant for the published turns.
type WaterOff struct {
	repo.WaterOff
	Cancelled int64 // turns that will not run
	CutShort  int64 // turns that ran
}

// WaterOn is water that is on again, with what that meant for the turns that were cancelled.
type WaterOn struct {
	repo.WaterOff
	Restored int64 // turns that will run after all
}

// WaterOffs lists when the water was off, the latest first.
func (s *Service) WaterOffs(ctx context.Context, p Principal, at Page) ([]repo.WaterOff, *Cursor, error) {
	if err := p.may(ReadSchedule); err != nil {
		return nil, nil, err
	}
	before, beforeID, err := at.before()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).WaterOffListPage(ctx, p.Garden, before, beforeID, int32(at.Limit+1))
	return page(rows, err, at, "water off", func(r repo.WaterOff) Cursor { return timeCursor(r.OffAt, r.ID) })
}

// TurnWaterOff closes a source, or every source of a service line, from this moment on. A turn that runs ends now; those
// that were to begin before the expected end, or at all, are cancelled. Plans leave the time out until the water is on.
func (s *Service) TurnWaterOff(ctx context.Context, p Principal, v repo.WaterOffValues) (WaterOff, error) {
	if err := p.may(Administer); err != nil {
		return WaterOff{}, err
	}
	now := s.now().UTC()
	if v.ExpectedUntil != nil && !v.ExpectedUntil.After(now) {
		return WaterOff{}, invalid(Field{"/expected_until", "must lie in the future; leave it out when nobody knows"})
	}
	e := effect{action: "turn off", entity: "water", planning: true, schedule: true}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (WaterOff, error) {
		var out WaterOff
		if _, err := q.GardenLock(ctx, p.Garden); err != nil {
			return out, err
		}
		sources, err := fedSources(ctx, q, p.Garden, v.WaterSourceID, v.ServiceLineID)
		if err != nil {
			return out, err
		}
		v.OffAt, v.GardenID, v.ID, v.Revision = now, p.Garden, id, 1
		if out.WaterOff, err = q.WaterOffInsert(ctx, v); err != nil {
			return out, err
		}
		if _, err := q.TurnMemberCut(ctx, now, p.Garden, sources); err != nil {
			return out, err
		}
		if out.CutShort, err = q.TurnCut(ctx, now, p.Garden, sources); err != nil {
			return out, err
		}
		if out.Cancelled, err = q.TurnCancelOff(ctx, p.Garden, id, sources); err != nil {
			return out, err
		}
		return out, s.announceWater(ctx, q, p, waterTurnedOff, out.WaterOff, hook.Data{Cancelled: &out.Cancelled, CutShort: &out.CutShort})
	})
}

// TurnWaterOn opens a source or service line again. Turns that were cancelled for it and have not begun run after all, also
// within the notice period, since people had them in their calendars; and the garden is planned anew.
func (s *Service) TurnWaterOn(ctx context.Context, p Principal, source, line *uuid.UUID) (WaterOn, error) {
	if err := p.may(Administer); err != nil {
		return WaterOn{}, err
	}
	place := source
	if place == nil {
		place = line
	}
	var out WaterOn
	e := effect{action: "turn on", entity: "water", id: *place, planning: true, schedule: true}
	err := s.change(ctx, p, e, func(q *repo.Queries) error {
		if _, err := q.GardenLock(ctx, p.Garden); err != nil {
			return err
		}
		sources, err := fedSources(ctx, q, p.Garden, source, line)
		if err != nil {
			return err
		}
		now := s.now().UTC()
		out.WaterOff, err = q.WaterOffEnd(ctx, now, p.Garden, *place)
		if explainKind(err) == NotFound {
			return refuse(Conflict, "The water is not off there.")
		}
		if err != nil {
			return err
		}
		if out.Restored, err = q.TurnRestore(ctx, p.Garden, sources, now); err != nil {
			return err
		}
		if err := q.JobInsert(ctx, s.jobs, replanJob{p.Garden}); err != nil {
			return err
		}
		return s.announceWater(ctx, q, p, waterTurnedOn, out.WaterOff, hook.Data{Restored: &out.Restored})
	})
	return out, err
}

// fedSources are the sources that a closed source or line closes.
func fedSources(ctx context.Context, q *repo.Queries, garden uuid.UUID, source, line *uuid.UUID) ([]uuid.UUID, error) {
	if source != nil {
		_, err := q.WaterSourceByID(ctx, garden, *source)
		return []uuid.UUID{*source}, missing(err, "water source")
	}
	if _, err := q.ServiceLineByID(ctx, garden, *line); err != nil {
		return nil, missing(err, "service line")
	}
	all, err := q.WaterSourceList(ctx, garden)
	fed := []uuid.UUID{}
	for _, s := range all {
		if s.ServiceLineID != nil && *s.ServiceLineID == *line {
			fed = append(fed, s.ID)
		}
	}
	return fed, err
}

// outages reads when the water is off in the horizon. Where no end is known it is off to the end.
func (s *snapping) outages(ctx context.Context, out *file.Garden) error {
	rows, err := s.q.WaterOffListSince(ctx, s.garden, instant(s.horizon.FirstDay.Time, 0, s.loc))
	for _, w := range rows {
		o := file.Outage{WaterSourceID: idPointer(w.WaterSourceID), ServiceLineID: idPointer(w.ServiceLineID), From: w.OffAt.UTC(), Reason: w.Reason}
		for _, end := range []*time.Time{w.OnAt, w.ExpectedUntil} {
			if end != nil {
				until := end.UTC()
				o.Until = &until
				break
			}
		}
		out.Outages = append(out.Outages, o)
	}
	return err
}
