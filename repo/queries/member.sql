-- name: MemberInsert :one
INSERT INTO member (
    name, role, garden_id, id, revision
) VALUES (
    @name, @role, @garden_id, @id, @revision
)
RETURNING *;

-- MemberUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: MemberUpdate :one
UPDATE member SET
    name = @name, role = @role, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: MemberDelete :execrows
DELETE FROM member WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: MemberByID :one
SELECT * FROM member WHERE garden_id = @garden_id AND id = @id;

-- name: MemberListPage :many
SELECT * FROM member
WHERE garden_id = @garden_id AND (name, id) > (@after_key, @after_id::uuid)
ORDER BY name, id
LIMIT @row_limit;

-- name: MemberList :many
SELECT * FROM member WHERE garden_id = @garden_id ORDER BY name, id;
