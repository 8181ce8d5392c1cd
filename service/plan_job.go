package service

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// stageNeed is the stage before the planner's own: what comes out of every layout and what every plot needs.
const stageNeed plan.Stage = "need"

// planTries is how often a plan is tried that a server did not bring to an end, and planTime how long one try may take.
const (
	planTries = 3
	planTime  = 5 * time.Minute
)

// planSilence is after which silence nobody works at a plan any more: longer than all tries with their pauses.
const planSilence = time.Hour

// planJob plans one rotation, whose input is stored.
type planJob struct {
	Garden   uuid.UUID `json:"garden"`
	Rotation uuid.UUID `json:"rotation"`
}

// Kind names the job in the queue.
func (planJob) Kind() string { return "plan_rotation" }

// InsertOpts gives the job its tries.
func (planJob) InsertOpts() river.InsertOpts { return river.InsertOpts{MaxAttempts: planTries} }

// freeToPlan refuses while a job plans a rotation of the garden.
func (s *Service) freeToPlan(ctx context.Context, p Principal) error {
	running, err := s.read(p).RotationPlanning(ctx, p.Garden)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	return refuse(Conflict, "Rotation %s of this garden is being planned; wait for it, or cancel it.", running.ID)
}

// queuePlan stores a rotation that a job will plan. What is wrong with the garden is said at once.
func (s *Service) queuePlan(ctx context.Context, p Principal, read repo.Garden, input file.Garden) (repo.Rotation, error) {
	if _, err := gather(input, supposition{}); err != nil {
		return repo.Rotation{}, planRefusal(err)
	}
	return s.storeRotation(ctx, p, effect{action: "plan", entity: "rotation"}, read, input, origin{status: "planning"}, func(q *repo.Queries, r repo.Rotation) error {
		return q.JobInsert(ctx, s.jobs, planJob{p.Garden, r.ID})
	})
}

// CancelRotation ends the planning of a rotation. The job that works at it stops within a second.
func (s *Service) CancelRotation(ctx context.Context, p Principal, id uuid.UUID, match int64) (repo.Rotation, error) {
	if err := p.may(Administer); err != nil {
		return repo.Rotation{}, err
	}
	var row repo.Rotation
	err := s.change(ctx, p, effect{action: "cancel", entity: "rotation", id: id}, func(q *repo.Queries) error {
		now, err := q.RotationByID(ctx, p.Garden, id)
		switch {
		case err != nil:
			return err
		case now.Revision != match:
			return refuse(Stale, "The rotation is at revision %d, not at %d: read it again before cancelling it.", now.Revision, match)
		case now.Status != "planning":
			return refuse(Conflict, "Only a rotation that is being planned can be cancelled; this one is %s.", now.Status)
		}
		row, err = q.RotationSettle(ctx, "cancelled", nil, p.Garden, id)
		return err
	})
	return row, err
}

type planWorker struct {
	river.WorkerDefaults[planJob]
	svc *Service
}

// Timeout is how long one try may take.
func (w *planWorker) Timeout(*river.Job[planJob]) time.Duration { return planTime }

// Work plans the rotation. A try that is cut short, by the end of the server or of its time, is followed by another; after
// the last one the rotation has failed.
func (w *planWorker) Work(ctx context.Context, job *river.Job[planJob]) error {
	p := Principal{Garden: job.Args.Garden, Role: Coordinator, Name: "planning job"}
	err := w.svc.planStored(ctx, p, job.Args.Rotation)
	var refused *Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &refused):
		return w.svc.failPlan(ctx, p, job.Args.Rotation, refused.Detail)
	case job.Attempt >= planTries:
		const apology = "Planning failed several times; the log of the server says why. Propose another rotation, with the effort fast if this one took too long."
		return errors.Join(err, w.svc.failPlan(context.WithoutCancel(ctx), p, job.Args.Rotation, apology))
	}
	return err
}

func (s *Service) failPlan(ctx context.Context, p Principal, id uuid.UUID, trouble string) error {
	return s.settlePlan(ctx, p, id, "failed", &trouble, func(q *repo.Queries, r repo.Rotation) error { return s.announceFailed(ctx, q, p, r) })
}

// settlePlan ends the planning of a rotation and does what belongs to it, unless somebody else ended it before.
func (s *Service) settlePlan(ctx context.Context, p Principal, id uuid.UUID, status string, trouble *string, with func(q *repo.Queries, r repo.Rotation) error) error {
	err := s.change(ctx, p, effect{action: status, entity: "rotation", id: id}, func(q *repo.Queries) error {
		settled, err := q.RotationSettle(ctx, status, trouble, p.Garden, id)
		if err != nil {
			return err
		}
		return with(q, settled)
	})
	if explainKind(err) == NotFound {
		return nil
	}
	return err
}

// planStored plans a rotation from its stored input and stores the proposal.
func (s *Service) planStored(ctx context.Context, p Principal, id uuid.UUID) error {
	q := s.read(p)
	row, err := q.RotationByID(ctx, p.Garden, id)
	if err != nil || row.Status != "planning" {
		return explain(err, effect{entity: "rotation"})
	}
	in, err := q.RotationInput(ctx, p.Garden, id)
	if err != nil {
		return err
	}
	input, err := file.ReadGarden(bytes.NewReader(in))
	if err != nil {
		return fmt.Errorf("stored input of rotation %s: %w", id, err)
	}
	watched, stop := context.WithCancel(ctx)
	defer stop()
	w := planWatch{stage: stageNeed}
	over := make(chan error, 1)
	go func() { over <- s.watchPlan(watched, stop, p, id, &w) }()
	made, err := planGarden(input, supposition{}, func() bool { return watched.Err() != nil }, w.tell)
	cut := watched.Err() != nil
	stop()
	watching := <-over
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case watching != nil:
		return watching
	case err != nil:
		return planRefusal(err)
	case cut:
		return nil // somebody cancelled it
	}
	return s.settlePlan(ctx, p, id, "proposed", nil, func(q *repo.Queries, r repo.Rotation) error { return s.storePlan(ctx, q, p, r, made) })
}

// planWatch is how far a plan is.
type planWatch struct {
	mu    sync.Mutex
	stage plan.Stage
	level float64
}

func (w *planWatch) tell(stage plan.Stage, level float64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.stage, w.level = stage, level
}

func (w *planWatch) now() (stage string, level *float64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.stage == stageNeed {
		return string(w.stage), nil
	}
	l := w.level
	return string(w.stage), &l
}

// watchPlan notes every second how far a plan is, until ctx ends. It stops the plan when the rotation is not planning any
// more.
func (s *Service) watchPlan(ctx context.Context, stop func(), p Principal, id uuid.UUID, w *planWatch) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		stage, level := w.now()
		var rows int64
		err := repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
			var err error
			rows, err = repo.New(tx).RotationProgress(ctx, stage, level, p.Garden, id)
			return err
		})
		if ctx.Err() != nil {
			return nil
		}
		if err != nil || rows == 0 {
			stop()
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// giveUp marks plans of a garden as failed at which nobody works any more: their job was lost with its last try.
func (s *Service) giveUp(ctx context.Context, q *repo.Queries, garden uuid.UUID) error {
	trouble := fmt.Sprintf("Nothing was heard of this plan for %s: the server that made it has ended. Propose another rotation.",
		strings.TrimSuffix(planSilence.String(), "0m0s"))
	_, err := q.RotationFailStuck(ctx, trouble, garden, planSilence.Seconds())
	return err
}
