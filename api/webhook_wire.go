package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func webhookValues(b gen.WebhookValues) repo.WebhookValues {
	return repo.WebhookValues{
		Url:    b.Url,
		Events: views(b.Events, func(e gen.WebhookEvent) string { return string(e) }),
		Active: b.Active == nil || *b.Active,
	}
}

func webhookView(r repo.Webhook) gen.Webhook {
	return gen.Webhook{
		Id:          r.ID,
		Url:         r.Url,
		Events:      views(r.Events, func(e string) gen.WebhookEvent { return gen.WebhookEvent(e) }),
		Active:      r.Active,
		LastTriedAt: r.LastTriedAt,
		LastOutcome: (*gen.WebhookLastOutcome)(r.LastOutcome),
		LastStatus:  r.LastStatus,
		LastTrouble: r.LastTrouble,
		Revision:    r.Revision,
		CreatedAt:   r.CreatedAt,
	}
}

// webhookCreated shows a new webhook. The secret is empty when the request is a repeat: it is shown once.
func webhookCreated(r repo.Webhook, secret string) gen.WebhookCreated {
	created := gen.WebhookCreated{Webhook: webhookView(r)}
	if secret != "" {
		created.Secret = &secret
	}
	return created
}
