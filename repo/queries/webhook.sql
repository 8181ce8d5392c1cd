-- name: WebhookInsert :one
INSERT INTO webhook (url, events, active, garden_id, id, revision) VALUES (@url, @events, @active, @garden_id, @id, @revision)
RETURNING *;

-- WebhookUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: WebhookUpdate :one
UPDATE webhook SET url = @url, events = @events, active = @active, revision = revision + 1
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- WebhookNote writes what became of a delivery.
-- name: WebhookNote :execrows
UPDATE webhook SET last_tried_at = @last_tried_at, last_outcome = @last_outcome, last_status = sqlc.narg('last_status'),
    last_trouble = sqlc.narg('last_trouble'), revision = revision + 1
WHERE garden_id = @garden_id AND id = @id;

-- name: WebhookDelete :execrows
DELETE FROM webhook WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: WebhookByID :one
SELECT * FROM webhook WHERE garden_id = @garden_id AND id = @id;

-- name: WebhookCount :one
SELECT count(*) FROM webhook WHERE garden_id = @garden_id;

-- WebhookListFor lists those that are told of an event.
-- name: WebhookListFor :many
SELECT * FROM webhook WHERE garden_id = @garden_id AND active AND @event::text = ANY (events) ORDER BY created_at, id;

-- name: WebhookListPage :many
SELECT * FROM webhook
WHERE garden_id = @garden_id AND (created_at, id) > (@after_key, @after_id::uuid)
ORDER BY created_at, id
LIMIT @row_limit;

-- name: WebhookSecretInsert :exec
INSERT INTO webhook_secret (garden_id, webhook_id, secret) VALUES (@garden_id, @webhook_id, @secret);

-- WebhookSecretGet is for signing only.
-- name: WebhookSecretGet :one
SELECT secret FROM webhook_secret WHERE garden_id = @garden_id AND webhook_id = @webhook_id;
