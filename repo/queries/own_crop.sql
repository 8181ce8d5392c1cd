-- name: OwnCropInsert :one
INSERT INTO own_crop (code, constants, garden_id, id, revision) VALUES (@code, @constants, @garden_id, @id, @revision)
RETURNING *;

-- OwnCropUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: OwnCropUpdate :one
UPDATE own_crop SET code = @code, constants = @constants, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: OwnCropDelete :execrows
DELETE FROM own_crop WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: OwnCropByID :one
SELECT * FROM own_crop WHERE garden_id = @garden_id AND id = @id;

-- name: OwnCropList :many
SELECT * FROM own_crop WHERE garden_id = @garden_id ORDER BY code;

-- name: OwnCropListPage :many
SELECT * FROM own_crop WHERE garden_id = @garden_id AND code > @after_key ORDER BY code LIMIT @row_limit;
