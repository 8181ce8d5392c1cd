package service

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
)

// Schedule is what a pull of the schedule shows: the published turns from the beginning of the rotation in force on, or from
// some days before it, with those that were cancelled.
type Schedule struct {
	Garden   repo.Garden
	Rotation *repo.Rotation // nil when none is published
	Turns    []repo.ScheduledTurn
	At       time.Time // when it was read
}

var binding = []string{"planned", "cancelled"}

// ScheduleVersion rises with every change of what Schedule shows; it came with the token.
func (s *Service) ScheduleVersion(_ context.Context, p Principal) (int64, error) {
	return p.scheduleVersion, p.mayOpen(ScheduleDocument, nil, ReadSchedule)
}

// Schedule reads the published turns of the garden, or of one plot. back is how many days before the rotation in force are
// shown, too: a calendar keeps what ran, and what was cancelled, when a new rotation begins.
func (s *Service) Schedule(ctx context.Context, p Principal, plot *uuid.UUID, back int) (Schedule, error) {
	if err := p.mayOpen(ScheduleDocument, nil, ReadSchedule); err != nil {
		return Schedule{}, err
	}
	var out Schedule
	var err error
	q := s.read(p)
	if out.Garden, err = q.GardenByID(ctx, p.Garden); err != nil {
		return out, explain(err, effect{entity: "garden"})
	}
	out.At = s.now()
	from := out.At
	current, err := q.RotationPublishedNext(ctx, p.Garden, from)
	switch {
	case err == nil:
		out.Rotation = &current
		from = minTime(from, current.StartsAt.AddDate(0, 0, -back))
	case explainKind(err) != NotFound:
		return out, err
	}
	out.Turns, err = q.TurnSchedule(ctx, p.Garden, repo.TurnFilter{From: &from, PlotID: plot, Statuses: binding})
	return out, explain(err, effect{entity: "schedule"})
}

func minTime(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// explainKind is the kind of refusal that an error of a read comes to; 0 for a fault of ours.
func explainKind(err error) Kind {
	var refused *Error
	if errors.As(explain(err, effect{}), &refused) {
		return refused.Kind
	}
	return 0
}

// Turns lists published turns by their start.
func (s *Service) Turns(ctx context.Context, p Principal, f repo.TurnFilter, at Page) ([]repo.ScheduledTurn, *Cursor, error) {
	if err := p.may(ReadSchedule); err != nil {
		return nil, nil, err
	}
	var err error
	if at.AfterKey != "" {
		if f.AfterKey, err = at.afterTime(); err != nil {
			return nil, nil, err
		}
	}
	f.AfterID, f.Limit, f.Statuses = at.AfterID, int32(at.Limit+1), binding
	rows, err := s.read(p).TurnSchedule(ctx, p.Garden, f)
	return page(rows, err, at, "turn", func(r repo.ScheduledTurn) Cursor { return timeCursor(r.StartsAt, r.ID) })
}

// Turn reads one published turn with its members.
func (s *Service) Turn(ctx context.Context, p Principal, id uuid.UUID) (repo.ScheduledTurn, error) {
	if err := p.may(ReadSchedule); err != nil {
		return repo.ScheduledTurn{}, err
	}
	rows, err := s.read(p).TurnSchedule(ctx, p.Garden, repo.TurnFilter{ID: &id, Statuses: binding})
	if err == nil && len(rows) == 0 {
		err = repo.ErrNotFound
	}
	if err != nil {
		return repo.ScheduledTurn{}, explain(err, effect{entity: "turn"})
	}
	return rows[0], nil
}

// Reports lists the reports of a turn in the order in which they came; the last one holds.
func (s *Service) Reports(ctx context.Context, p Principal, turn uuid.UUID, at Page) ([]repo.TurnReport, *Cursor, error) {
	if err := p.may(ReadSchedule); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).TurnReportListPage(ctx, p.Garden, turn, after, at.AfterID, int32(at.Limit+1))
	if len(rows) == 0 && err == nil { // an empty list, or no such turn
		_, err = s.Turn(ctx, p, turn)
		return []repo.TurnReport{}, nil, err
	}
	return page(rows, err, at, "report", func(r repo.TurnReport) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// LatestReports is what holds of the turns that begin in [from, to): the last report of each.
func (s *Service) LatestReports(ctx context.Context, p Principal, from, to time.Time) (map[uuid.UUID]repo.TurnReport, error) {
	if err := p.mayOpen(ScheduleDocument, nil, ReadSchedule); err != nil {
		return nil, err
	}
	rows, err := s.read(p).TurnReportListIn(ctx, p.Garden, from, to)
	latest := make(map[uuid.UUID]repo.TurnReport, len(rows))
	for _, r := range rows {
		latest[r.TurnID] = r
	}
	return latest, explain(err, effect{entity: "report"})
}

// Report reads one report of a turn.
func (s *Service) Report(ctx context.Context, p Principal, turn, id uuid.UUID) (repo.TurnReport, error) {
	if err := p.may(ReadSchedule); err != nil {
		return repo.TurnReport{}, err
	}
	row, err := s.read(p).TurnReportByID(ctx, p.Garden, id)
	if err == nil && row.TurnID != turn {
		err = repo.ErrNotFound
	}
	return one(row, err, "report")
}

// ReportDays is how many days after its start a turn can be reported by a link: whoever finds an old paper changes no old ledger.
const ReportDays = 7

// CreateReport records what became of the turn v.TurnID. A gardener reports turns that water a plot of theirs, or that
// they open; a link those that began within the last days.
func (s *Service) CreateReport(ctx context.Context, p Principal, v repo.TurnReportValues) (repo.TurnReport, error) {
	if err := p.mayOpen(TurnReportDocument, nil, ReportTurn); err != nil {
		return repo.TurnReport{}, err
	}
	e := effect{action: "report", entity: "turn", planning: true}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.TurnReport, error) {
		turn, err := q.TurnByID(ctx, p.Garden, v.TurnID)
		if err == nil && turn.Status == "proposed" {
			err = pgx.ErrNoRows
		}
		if err != nil {
			return repo.TurnReport{}, missing(err, "turn")
		}
		if turn.StartsAt.After(s.now()) {
			return repo.TurnReport{}, refuse(Conflict, "The turn begins at %s; it can be reported from then on.", turn.StartsAt.UTC().Format(time.RFC3339))
		}
		if p.Role == Link && turn.StartsAt.Before(s.now().AddDate(0, 0, -ReportDays)) {
			return repo.TurnReport{}, refuse(Conflict, "The turn began more than %d days ago: ask a coordinator to correct what is noted about it.", ReportDays)
		}
		if err := s.concerns(ctx, q, p, turn); err != nil {
			return repo.TurnReport{}, err
		}
		v.GardenID, v.ID, v.Reporter = p.Garden, id, p.Name
		return q.TurnReportInsert(ctx, v)
	})
}

// concerns refuses a gardener to whom a turn is nothing.
func (s *Service) concerns(ctx context.Context, q *repo.Queries, p Principal, t repo.Turn) error {
	if p.Role != Gardener || t.OpenerID != nil && p.Member != nil && *t.OpenerID == *p.Member {
		return nil
	}
	held, err := s.plotsHeld(ctx, q, p)
	if err != nil {
		return err
	}
	members, err := q.TurnMemberListByTurns(ctx, p.Garden, []uuid.UUID{t.ID})
	if err != nil {
		return err
	}
	if slices.ContainsFunc(members, func(m repo.TurnMember) bool { return slices.Contains(held, m.PlotID) }) {
		return nil
	}
	return refuse(Forbidden, "The turn waters no plot that %s holds today.", p.Name)
}

// LockTurn keeps a published turn where it is, whatever is planned, or lets it go again.
func (s *Service) LockTurn(ctx context.Context, p Principal, id uuid.UUID, match int64, locked bool) (repo.ScheduledTurn, error) {
	if err := p.may(Administer); err != nil {
		return repo.ScheduledTurn{}, err
	}
	e := effect{action: "lock", entity: "turn", id: id, planning: true}
	if !locked {
		e.action = "unlock"
	}
	err := s.change(ctx, p, e, func(q *repo.Queries) error {
		turn, err := q.TurnByID(ctx, p.Garden, id)
		switch {
		case err == nil && turn.Status == "proposed":
			return missing(pgx.ErrNoRows, "turn")
		case err != nil:
			return err
		case turn.Revision != match:
			return refuse(Stale, "The turn is at revision %d, not at %d: read it again before changing it.", turn.Revision, match)
		case turn.Status == "cancelled":
			return refuse(Conflict, "The turn is cancelled.")
		case !turn.StartsAt.After(s.now()):
			return refuse(Conflict, "The turn began at %s; what has begun is never moved.", turn.StartsAt.UTC().Format(time.RFC3339))
		case turn.Locked == locked:
			return refuse(Conflict, "The turn is %s already.", map[bool]string{true: "locked", false: "not locked"}[locked])
		}
		_, err = q.TurnSetLocked(ctx, locked, p.Garden, id, match)
		return err
	})
	if err != nil {
		return repo.ScheduledTurn{}, err
	}
	return s.Turn(ctx, p, id)
}
