-- name: StoredPipeInsert :one
INSERT INTO stored_pipe (
    label, owner_id, piece, plugged, condition, note, reserved_layout_id, from_layout_id, garden_id, id, revision
) VALUES (
    @label, sqlc.narg('owner_id'), @piece, @plugged, @condition, @note, sqlc.narg('reserved_layout_id'),
    sqlc.narg('from_layout_id'), @garden_id, @id, @revision
)
RETURNING *;

-- StoredPipeUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: StoredPipeUpdate :one
UPDATE stored_pipe SET
    label = @label, owner_id = sqlc.narg('owner_id'), piece = @piece, plugged = @plugged, condition = @condition, note = @note,
    reserved_layout_id = sqlc.narg('reserved_layout_id'), from_layout_id = sqlc.narg('from_layout_id'),
    revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: StoredPipeDelete :execrows
DELETE FROM stored_pipe WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: StoredPipeByID :one
SELECT * FROM stored_pipe WHERE garden_id = @garden_id AND id = @id;

-- name: StoredPipeList :many
SELECT * FROM stored_pipe WHERE garden_id = @garden_id ORDER BY label, id;

-- StoredPipeReserve sets pipes aside for a layout, by their labels.
-- name: StoredPipeReserve :execrows
UPDATE stored_pipe SET reserved_layout_id = @layout_id, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND label = ANY (@labels::text[]) AND reserved_layout_id IS DISTINCT FROM @layout_id;

-- StoredPipeRelease ends the reservations of a layout, but for the labels that are kept.
-- name: StoredPipeRelease :execrows
UPDATE stored_pipe SET reserved_layout_id = NULL, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND reserved_layout_id = @layout_id AND NOT label = ANY (@kept::text[]);

-- StoredPipeDeleteByLabel takes pipes out of the store that were built in.
-- name: StoredPipeDeleteByLabel :execrows
DELETE FROM stored_pipe WHERE garden_id = @garden_id AND label = ANY (@labels::text[]);
