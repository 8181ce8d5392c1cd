package service

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/hook"
)

// The events that webhooks are told of.
const (
	rotationFailed    = "rotation.failed"
	rotationProposed  = "rotation.proposed"
	rotationPublished = "rotation.published"
	waterTurnedOff    = "water.off"
	waterTurnedOn     = "water.on"
)

// hookTries is how often a delivery is tried: by the queue's pauses, the fourth power of the try in seconds, over four hours.
const hookTries = 10

// Deliveries have a queue of their own, so that neither plans nor slow receivers hold each other up.
const (
	hookQueue   = "webhooks"
	hooksAtOnce = 4
)

// hookJob sends one event to one webhook. The event is kept as it was, so that every try has the same id.
type hookJob struct {
	Garden  uuid.UUID  `json:"garden"`
	Webhook uuid.UUID  `json:"webhook"`
	Event   hook.Event `json:"event"`
}

// Kind names the job in the queue.
func (hookJob) Kind() string { return "deliver_event" }

// InsertOpts gives the job its tries and its queue.
func (hookJob) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: hookTries, Queue: hookQueue}
}

// announce hands an event to the queue for every webhook that is told of it, in the transaction in which it happens. data is
// asked only when there is such a webhook.
func (s *Service) announce(ctx context.Context, q *repo.Queries, p Principal, event string, subject uuid.UUID, data func() (hook.Data, error)) error {
	hooks, err := q.WebhookListFor(ctx, p.Garden, event)
	if err != nil || len(hooks) == 0 {
		return err
	}
	said, err := data()
	if err != nil {
		return err
	}
	e := hook.Event{
		SpecVersion: "1.0", ID: s.newID().String(), Source: gardenPath(p.Garden), Type: event, Time: s.now().UTC(), Subject: subject.String(),
		DataContentType: "application/json", Data: said,
	}
	for _, h := range hooks {
		if err := q.JobInsert(ctx, s.jobs, hookJob{p.Garden, h.ID, e}); err != nil {
			return err
		}
	}
	return nil
}

func gardenPath(garden uuid.UUID) string { return "/v1/gardens/" + garden.String() }

// announcePublished tells of a rotation that was put into force.
func (s *Service) announcePublished(ctx context.Context, q *repo.Queries, p Principal, r repo.Rotation) error {
	return s.announce(ctx, q, p, rotationPublished, r.ID, func() (hook.Data, error) {
		turns, err := q.TurnListByRotation(ctx, p.Garden, r.ID)
		at := gardenPath(p.Garden)
		return hook.Data{
			RotationID: r.ID.String(), FirstDay: r.FirstDay.Format(time.DateOnly), Days: r.Days, Turns: new(len(turns)),
			Links: map[string]string{"rotation": at + "/rotations/" + r.ID.String(), "turns": at + "/turns", "calendar": at + "/schedule.ics"},
		}, err
	})
}

// announceProposed tells of a rotation that waits for a coordinator.
func (s *Service) announceProposed(ctx context.Context, q *repo.Queries, p Principal, r repo.Rotation) error {
	return s.announce(ctx, q, p, rotationProposed, r.ID, func() (hook.Data, error) {
		return hook.Data{
			RotationID: r.ID.String(), FirstDay: r.FirstDay.Format(time.DateOnly), Days: r.Days,
			Links: map[string]string{"rotation": gardenPath(p.Garden) + "/rotations/" + r.ID.String()},
		}, nil
	})
}

// announceFailed tells of a rotation that could not be planned.
func (s *Service) announceFailed(ctx context.Context, q *repo.Queries, p Principal, r repo.Rotation) error {
	return s.announce(ctx, q, p, rotationFailed, r.ID, func() (hook.Data, error) {
		return hook.Data{
			RotationID: r.ID.String(), FirstDay: r.FirstDay.Format(time.DateOnly), Days: r.Days, Reason: *r.Trouble,
			Links: map[string]string{"rotation": gardenPath(p.Garden) + "/rotations/" + r.ID.String()},
		}, nil
	})
}

// announceWater tells of water that is off, or on again; d has what that meant for turns.
func (s *Service) announceWater(ctx context.Context, q *repo.Queries, p Principal, event string, w repo.WaterOff, d hook.Data) error {
	place := w.WaterSourceID
	if place == nil {
		place = w.ServiceLineID
	}
	return s.announce(ctx, q, p, event, *place, func() (hook.Data, error) {
		d.Reason = w.Reason
		at := gardenPath(p.Garden)
		d.Links = map[string]string{"water_offs": at + "/water-offs", "turns": at + "/turns", "calendar": at + "/schedule.ics"}
		if w.WaterSourceID != nil {
			d.WaterSourceID = place.String()
		} else {
			d.ServiceLineID = place.String()
		}
		return d, nil
	})
}

type hookWorker struct {
	river.WorkerDefaults[hookJob]
	svc *Service
}

// Work sends the event once. What is not taken is tried again by the queue; after the last try the webhook shows it as failed.
func (w *hookWorker) Work(ctx context.Context, job *river.Job[hookJob]) error {
	err := w.svc.deliver(ctx, job.Args, job.Attempt >= job.MaxAttempts)
	if errors.Is(err, context.Canceled) {
		return river.JobSnooze(time.Second) // the server stops, which uses up no try
	}
	return err
}

// deliver sends an event to a webhook and notes what became of it. A webhook that is gone or rests gets nothing.
func (s *Service) deliver(ctx context.Context, j hookJob, last bool) error {
	q := repo.New(repo.Read(s.pool, j.Garden))
	to, err := q.WebhookByID(ctx, j.Garden, j.Webhook)
	if errors.Is(err, repo.ErrNotFound) || err == nil && !to.Active {
		return nil
	}
	if err != nil {
		return err
	}
	secret, err := q.WebhookSecretGet(ctx, j.Garden, j.Webhook)
	if err != nil {
		return err
	}
	at := s.now()
	status, err := s.hooks.Send(ctx, to.Url, secret, j.Event, at)
	var trouble *hook.Trouble
	if err != nil && !errors.As(err, &trouble) {
		return err
	}
	return errors.Join(err, s.noteDelivery(ctx, j, at, status, trouble, last))
}

func (s *Service) noteDelivery(ctx context.Context, j hookJob, at time.Time, status int, trouble *hook.Trouble, last bool) error {
	v := repo.WebhookNoteValues{LastTriedAt: &at, LastOutcome: new("delivered"), GardenID: j.Garden, ID: j.Webhook}
	if trouble != nil {
		v.LastOutcome, v.LastTrouble = new("retrying"), &trouble.Sentence
		if last {
			v.LastOutcome = new("failed")
		}
	}
	if status != 0 {
		v.LastStatus = new(int32(status))
	}
	return repo.InTenant(ctx, s.pool, j.Garden, func(tx pgx.Tx) error {
		_, err := repo.New(tx).WebhookNote(ctx, v) // no row: it was deleted meanwhile
		return err
	})
}
