-- name: IdempotencyKeyInsert :exec
INSERT INTO idempotency_key (garden_id, token_id, key, fingerprint, result)
VALUES (@garden_id, @token_id, @key, @fingerprint, @result);

-- name: IdempotencyKeyByKey :one
SELECT * FROM idempotency_key WHERE garden_id = @garden_id AND token_id = @token_id AND key = @key;

-- name: IdempotencyKeyDeleteBefore :execrows
DELETE FROM idempotency_key WHERE garden_id = @garden_id AND created_at < @moment;
