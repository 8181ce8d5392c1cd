package service

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/hook"
)

// mostWebhooks is how many a garden may have: each is sent to at every event.
const mostWebhooks = 20

// Webhooks lists the garden's webhooks in the order in which they were made. Their addresses may be secrets of the receivers,
// so only coordinators see them.
func (s *Service) Webhooks(ctx context.Context, p Principal, at Page) ([]repo.Webhook, *Cursor, error) {
	if err := p.may(Administer); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).WebhookListPage(ctx, p.Garden, after, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "webhook", func(r repo.Webhook) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// Webhook reads one webhook, with what became of its last delivery.
func (s *Service) Webhook(ctx context.Context, p Principal, id uuid.UUID) (repo.Webhook, error) {
	if err := p.may(Administer); err != nil {
		return repo.Webhook{}, err
	}
	row, err := s.read(p).WebhookByID(ctx, p.Garden, id)
	return one(row, err, "webhook")
}

// CreateWebhook records a webhook and returns what its deliveries are signed with, this once: a repeat by Idempotency-Key gets
// the record and an empty secret.
func (s *Service) CreateWebhook(ctx context.Context, p Principal, v repo.WebhookValues) (repo.Webhook, string, error) {
	if err := s.webhookAllowed(p, v); err != nil {
		return repo.Webhook{}, "", err
	}
	var secret string
	row, err := create(ctx, s, p, effect{action: "create", entity: "webhook"}, func(q *repo.Queries, id uuid.UUID) (repo.Webhook, error) {
		if _, err := q.GardenLock(ctx, p.Garden); err != nil { // two that are made at once are counted one after the other
			return repo.Webhook{}, err
		}
		n, err := q.WebhookCount(ctx, p.Garden)
		if err == nil && n >= mostWebhooks {
			err = refuse(Conflict, "The garden has %d webhooks, and more are not kept; delete one first.", n)
		}
		if err != nil {
			return repo.Webhook{}, err
		}
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		made, err := q.WebhookInsert(ctx, v)
		if err != nil {
			return made, err
		}
		secret = hook.NewSecret()
		return made, q.WebhookSecretInsert(ctx, p.Garden, id, secret)
	})
	if row.ID != v.ID {
		secret = "" // the webhook of an earlier request with this key
	}
	return row, secret, err
}

// ReplaceWebhook writes a webhook anew over its revision match. Its secret stays.
func (s *Service) ReplaceWebhook(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.WebhookValues) (repo.Webhook, error) {
	if err := s.webhookAllowed(p, v); err != nil {
		return repo.Webhook{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "webhook", id: id}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.Webhook, error) { return q.WebhookUpdate(ctx, v) }, webhookRevision(ctx, p, id))
}

// DeleteWebhook removes a webhook at its revision match, with its secret. What was not delivered is dropped.
func (s *Service) DeleteWebhook(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "webhook", id: id}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.WebhookDelete(ctx, p.Garden, id, match)
	}, webhookRevision(ctx, p, id))
}

func (s *Service) webhookAllowed(p Principal, v repo.WebhookValues) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	if fault := s.hooks.Check(v.Url); fault != "" {
		return invalid(Field{"/url", fault})
	}
	return nil
}

func webhookRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.WebhookByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}
