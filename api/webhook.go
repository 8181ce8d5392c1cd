package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// WebhookList lists webhooks.
func (a *API) WebhookList(ctx context.Context, r gen.WebhookListRequestObject) (gen.WebhookListResponseObject, error) {
	page, err := pageOf("webhooks", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Webhooks(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.WebhookList200JSONResponse{Items: views(rows, webhookView), NextCursor: nextCursor("webhooks", next)}, nil
}

// WebhookCreate records a webhook.
func (a *API) WebhookCreate(ctx context.Context, r gen.WebhookCreateRequestObject) (gen.WebhookCreateResponseObject, error) {
	row, secret, err := a.svc.CreateWebhook(ctx, principal(ctx), webhookValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.WebhookCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "webhooks", row.ID)}
	return gen.WebhookCreate201JSONResponse{Body: webhookCreated(row, secret), Headers: headers}, nil
}

// WebhookGet reads a webhook.
func (a *API) WebhookGet(ctx context.Context, r gen.WebhookGetRequestObject) (gen.WebhookGetResponseObject, error) {
	row, err := a.svc.Webhook(ctx, principal(ctx), r.Webhook)
	if err != nil {
		return nil, err
	}
	headers := gen.WebhookGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.WebhookGet200JSONResponse{Body: webhookView(row), Headers: headers}, nil
}

// WebhookReplace replaces a webhook.
func (a *API) WebhookReplace(ctx context.Context, r gen.WebhookReplaceRequestObject) (gen.WebhookReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceWebhook(ctx, principal(ctx), r.Webhook, match, webhookValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.WebhookReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.WebhookReplace200JSONResponse{Body: webhookView(row), Headers: headers}, nil
}

// WebhookDelete deletes a webhook.
func (a *API) WebhookDelete(ctx context.Context, r gen.WebhookDeleteRequestObject) (gen.WebhookDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteWebhook(ctx, principal(ctx), r.Webhook, match); err != nil {
		return nil, err
	}
	return gen.WebhookDelete204Response{}, nil
}
