-- name: TokenInsert :one
INSERT INTO token (
    label, role, member_id, document, layout_id, secret_sha256, expires_at, garden_id, id, revision
) VALUES (
    @label, @role, sqlc.narg('member_id'), sqlc.narg('document'), sqlc.narg('layout_id'), @secret_sha256, sqlc.narg('expires_at'), @garden_id, @id,
    @revision
)
RETURNING *;

-- name: TokenDelete :execrows
DELETE FROM token WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: TokenByID :one
SELECT * FROM token WHERE garden_id = @garden_id AND id = @id;

-- TokenBySecret finds who asks, and in the same round trip the version that a pull is compared with. It is part of every
-- request, so it reads only what that takes.
-- name: TokenBySecret :one
SELECT token.id, token.role, token.member_id, token.document, token.layout_id, token.label, token.expires_at,
    coalesce((SELECT member.name FROM member WHERE member.garden_id = token.garden_id AND member.id = token.member_id), '')::text AS member_name,
    (SELECT garden.schedule_version FROM garden WHERE garden.garden_id = token.garden_id)::bigint AS schedule_version
FROM token
WHERE token.garden_id = @garden_id AND token.secret_sha256 = @secret_sha256;

-- name: TokenListPage :many
SELECT * FROM token
WHERE garden_id = @garden_id AND (created_at, id) > (@after_key, @after_id::uuid)
ORDER BY created_at, id
LIMIT @row_limit;

-- OperatorTokenInsert is for the owner of the database: the application role may only read these.
-- name: OperatorTokenInsert :one
INSERT INTO operator_token (id, label, secret_sha256) VALUES (@id, @label, @secret_sha256) RETURNING *;

-- name: OperatorTokenBySecret :one
SELECT * FROM operator_token WHERE secret_sha256 = @secret_sha256;
