package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// replanHour is the hour of the garden's day at which its rotation is looked at: after the day's reports, before the first
// turns.
const replanHour = 2

// replanAll hands a job to the queue for every garden where it is replanHour.
type replanAll struct{}

// Kind names the job in the queue.
func (replanAll) Kind() string { return "replan_gardens" }

type replanAllWorker struct {
	river.WorkerDefaults[replanAll]
	svc *Service
}

// Work walks the gardens.
func (w *replanAllWorker) Work(ctx context.Context, _ *river.Job[replanAll]) error {
	return w.svc.eachGarden(ctx, func(garden uuid.UUID) error {
		g, err := repo.New(repo.Read(w.svc.pool, garden)).GardenByID(ctx, garden)
		if errors.Is(err, repo.ErrNotFound) {
			return nil // it is being opened at this moment
		}
		if err != nil {
			return err
		}
		loc, err := time.LoadLocation(g.TimeZone)
		if err != nil || w.svc.now().In(loc).Hour() != replanHour {
			return err
		}
		_, err = w.svc.jobs.Insert(ctx, replanJob{garden}, nil)
		return err
	})
}

// replanJob looks at the published rotation of a garden again.
type replanJob struct {
	Garden uuid.UUID `json:"garden"`
}

// Kind names the job in the queue.
func (replanJob) Kind() string { return "replan_garden" }

// InsertOpts keeps one such job waiting for a garden, not several.
func (replanJob) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: planTries, UniqueOpts: river.UniqueOpts{ByArgs: true, ByPeriod: time.Minute}}
}

type replanWorker struct {
	river.WorkerDefaults[replanJob]
	svc *Service
}

// Timeout is how long one try may take.
func (w *replanWorker) Timeout(*river.Job[replanJob]) time.Duration { return planTime }

// Work proposes what the garden asks for now.
func (w *replanWorker) Work(ctx context.Context, job *river.Job[replanJob]) error {
	p := Principal{Garden: job.Args.Garden, Role: Coordinator, Name: "nightly plan"}
	_, err := w.svc.Replan(ctx, p)
	if explainKind(err) == Conflict {
		return nil // somebody plans at this moment
	}
	return err
}

// Replan plans what is left of the rotation in force once more, from what is known now: rain, reports, what was changed. It
// stores a proposal when a published turn changes or the rotation ends soon, and publishes it when the garden allows changes
// that small without being asked. It returns nil when the published rotation stays as it is, or there is none. Whatever comes of
// it, the proposals of earlier nights wait no longer. A garden that can't be planned gets a rotation that failed and says why,
// once until the reason changes.
func (s *Service) Replan(ctx context.Context, p Principal) (*repo.Rotation, error) {
	if err := p.may(Administer); err != nil {
		return nil, err
	}
	if err := s.freeToPlan(ctx, p); err != nil {
		return nil, err
	}
	current, err := s.CurrentRotation(ctx, p)
	if explainKind(err) == NotFound {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	ask, err := s.ahead(ctx, p, current)
	if err != nil {
		return nil, err
	}
	input, read, err := s.planInput(ctx, p, ask)
	if err != nil {
		return nil, err
	}
	made, err := PlanGarden(input, func() bool { return ctx.Err() != nil })
	if err == nil {
		err = ctx.Err()
	}
	var refused *Error
	if err = planRefusal(err); errors.As(err, &refused) {
		return s.replanFailed(ctx, p, read, input, refused.Detail)
	}
	if err != nil {
		return nil, err
	}
	if !changesTurns(made) && current.EndsAt.Sub(s.now()) > endsSoon {
		return nil, s.withdrawNightly(ctx, p)
	}
	row, err := s.storeProposal(ctx, p, read, input, made, origin{status: "proposed", nightly: true})
	if err != nil || !made.Changes.Small {
		return &row, err
	}
	published, err := s.PublishRotation(ctx, p, row.ID, row.Revision, false)
	if explainKind(err) == Conflict {
		return &row, nil // the garden changed meanwhile: a coordinator decides
	}
	if err != nil {
		return nil, fmt.Errorf("publish small changes: %w", err)
	}
	return &published, nil
}

// replanFailed keeps a nightly plan that failed, unless the last one failed for the same reason.
func (s *Service) replanFailed(ctx context.Context, p Principal, read repo.Garden, input file.Garden, trouble string) (*repo.Rotation, error) {
	last, err := s.read(p).RotationLatestNightly(ctx, p.Garden)
	switch {
	case err == nil && last.Status == "failed" && *last.Trouble == trouble:
		return nil, nil
	case err != nil && !errors.Is(err, pgx.ErrNoRows):
		return nil, err
	}
	o := origin{status: "failed", trouble: &trouble, nightly: true}
	row, err := s.storeRotation(ctx, p, effect{action: "failed", entity: "rotation"}, read, input, o, func(q *repo.Queries, r repo.Rotation) error {
		return s.announceFailed(ctx, q, p, r)
	})
	return &row, err
}

// withdrawNightly takes back the proposals of earlier nights: what they changed needs no change any more.
func (s *Service) withdrawNightly(ctx context.Context, p Principal) error {
	return explain(repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		_, err := repo.New(tx).RotationWithdrawNightly(ctx, s.now(), p.Garden)
		return err
	}), effect{entity: "rotation"})
}

// endsSoon is how long before its end a rotation is followed by a proposal for the days after it.
const endsSoon = 72 * time.Hour

// shortestHorizon is the least number of days that are planned.
const shortestHorizon = 7

// ahead asks for a plan of the days of a published rotation that are left, today among them. At least a week is planned, so
// in its last days the plan reaches beyond its end.
func (s *Service) ahead(ctx context.Context, p Principal, current repo.Rotation) (Proposal, error) {
	ask := Proposal{FirstDay: &file.Day{Time: current.FirstDay}, Days: int(current.Days), Effort: "fast", Seed: current.Seed}
	g, err := s.read(p).GardenByID(ctx, p.Garden)
	if err != nil {
		return ask, err
	}
	today, err := s.today(g)
	if err != nil {
		return ask, err
	}
	if today.After(current.FirstDay) {
		const day = 24 * time.Hour
		ask.FirstDay = &file.Day{Time: today}
		ask.Days = max(shortestHorizon, int(current.FirstDay.AddDate(0, 0, int(current.Days)).Sub(today)/day))
	}
	return ask, nil
}

// changesTurns tells whether a plan does anything to the published turns.
func changesTurns(p file.GardenPlan) bool {
	c := p.Changes
	return c == nil || c.Resized+c.Moved+c.Added+len(c.Cancelled) > 0
}
