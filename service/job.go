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

// forgetKeys drops idempotency keys that are older than keepIdempotencyKeys, in every garden.
type forgetKeys struct{}

// Kind names the job in the queue.
func (forgetKeys) Kind() string { return "forget_idempotency_keys" }

type forgetKeysWorker struct {
	river.WorkerDefaults[forgetKeys]
	svc *Service
}

// Work walks the gardens; each is a transaction of its own.
func (w *forgetKeysWorker) Work(ctx context.Context, _ *river.Job[forgetKeys]) error {
	const atOnce = 500
	after := uuid.Nil
	for {
		gardens, err := repo.New(w.svc.pool).GardenDirectoryList(ctx, after, atOnce)
		if err != nil {
			return err
		}
		for _, garden := range gardens {
			err := repo.InTenant(ctx, w.svc.pool, garden, func(tx pgx.Tx) error {
				_, err := repo.New(tx).IdempotencyKeyDeleteBefore(ctx, garden, w.svc.now().Add(-keepIdempotencyKeys))
				return err
			})
			if err != nil {
				return fmt.Errorf("forget keys of garden %s: %w", garden, err)
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
	river.AddWorker(workers, &forgetKeysWorker{svc: s})
	client, err := river.NewClient(riverpgxv5.New(s.pool), &river.Config{
		Schema: repo.JobSchema, Workers: workers, Logger: log,
		Queues: map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: 2}},
		PeriodicJobs: []*river.PeriodicJob{
			river.NewPeriodicJob(river.PeriodicInterval(time.Hour), func() (river.JobArgs, *river.InsertOpts) { return forgetKeys{}, nil },
				&river.PeriodicJobOpts{RunOnStart: true}),
		},
	})
	if err != nil {
		return nil, fmt.Errorf("job queue: %w", err)
	}
	if err := client.Start(ctx); err != nil {
		return nil, fmt.Errorf("start the job queue: %w", err)
	}
	return func() error {
		const grace = 10 * time.Second
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), grace)
		defer cancel()
		return client.Stop(end)
	}, nil
}
