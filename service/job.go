package service

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"rillturn.example/rillturn/repo"
)

// keepIdempotencyKeys is how long a repeated request gets its first answer.
const keepIdempotencyKeys = 7 * 24 * time.Hour

// tidyGardens drops idempotency keys that are older than keepIdempotencyKeys and gives up plans that nobody works at, in every
// garden.
type tidyGardens struct{}

// Kind names the job in the queue.
func (tidyGardens) Kind() string { return "tidy_gardens" }

type tidyWorker struct {
	river.WorkerDefaults[tidyGardens]
	svc *Service
}

// Work walks the gardens; each is a transaction of its own.
func (w *tidyWorker) Work(ctx context.Context, _ *river.Job[tidyGardens]) error {
	return w.svc.eachGarden(ctx, func(garden uuid.UUID) error {
		return repo.InTenant(ctx, w.svc.pool, garden, func(tx pgx.Tx) error {
			q := repo.New(tx)
			if _, err := q.IdempotencyKeyDeleteBefore(ctx, garden, w.svc.now().Add(-keepIdempotencyKeys)); err != nil {
				return err
			}
			return w.svc.giveUp(ctx, q, garden)
		})
	})
}

// eachGarden calls fn with every garden of the installation.
func (s *Service) eachGarden(ctx context.Context, fn func(garden uuid.UUID) error) error {
	const atOnce = 500
	after := uuid.Nil
	for {
		gardens, err := repo.New(s.pool).GardenDirectoryList(ctx, after, atOnce)
		if err != nil {
			return err
		}
		for _, garden := range gardens {
			if err := fn(garden); err != nil {
				return fmt.Errorf("garden %s: %w", garden, err)
			}
		}
		if len(gardens) < atOnce {
			return nil
		}
		after = gardens[len(gardens)-1]
	}
}

// StartJobs works the job queue inside this process. The function that it returns lets running jobs end and stops.
func (s *Service) StartJobs(ctx context.Context, log *slog.Logger) (stop func() error, err error) {
	workers := river.NewWorkers()
	river.AddWorker(workers, &tidyWorker{svc: s})
	river.AddWorker(workers, &planWorker{svc: s})
	river.AddWorker(workers, &replanWorker{svc: s})
	river.AddWorker(workers, &replanAllWorker{svc: s})
	river.AddWorker(workers, &hookWorker{svc: s})
	client, err := river.NewClient(riverpgxv5.New(s.pool), &river.Config{
		Schema: repo.JobSchema, Workers: workers, Logger: log, RescueStuckJobsAfter: planTime + time.Minute,
		Queues:       map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: 2}, hookQueue: {MaxWorkers: hooksAtOnce}},
		PeriodicJobs: []*river.PeriodicJob{hourly(tidyGardens{}, true), hourly(replanAll{}, false)},
	})
	if err != nil {
		return nil, fmt.Errorf("job queue: %w", err)
	}
	if err := client.Start(ctx); err != nil {
		return nil, fmt.Errorf("start the job queue: %w", err)
	}
	return func() error {
		const grace = 10 * time.Second // then running jobs are told to stop, and tried again by the next server
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), grace)
		defer cancel()
		if err := client.Stop(end); err == nil {
			return nil
		}
		end, cancel = context.WithTimeout(context.WithoutCancel(ctx), grace)
		defer cancel()
		return client.StopAndCancel(end)
	}, nil
}

func hourly(args river.JobArgs, onStart bool) *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(time.Hour), func() (river.JobArgs, *river.InsertOpts) { return args, nil },
		&river.PeriodicJobOpts{RunOnStart: onStart})
}
