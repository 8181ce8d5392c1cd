-- name: WaterHoursInsert :one
INSERT INTO water_hours (
    water_source_id, weekdays, start_local, end_local, valid_from, valid_to, note, garden_id, id, revision
) VALUES (
    sqlc.narg('water_source_id'), @weekdays, @start_local, @end_local, sqlc.narg('valid_from'),
    sqlc.narg('valid_to'), @note, @garden_id, @id, @revision
)
RETURNING *;

-- WaterHoursUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: WaterHoursUpdate :one
UPDATE water_hours SET
    water_source_id = sqlc.narg('water_source_id'), weekdays = @weekdays, start_local = @start_local,
    end_local = @end_local, valid_from = sqlc.narg('valid_from'), valid_to = sqlc.narg('valid_to'),
    note = @note, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: WaterHoursDelete :execrows
DELETE FROM water_hours WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: WaterHoursByID :one
SELECT * FROM water_hours WHERE garden_id = @garden_id AND id = @id;

-- name: WaterHoursListPage :many
SELECT * FROM water_hours
WHERE garden_id = @garden_id AND (created_at, id) > (@after_key, @after_id::uuid)
ORDER BY created_at, id
LIMIT @row_limit;

-- name: WaterHoursList :many
SELECT * FROM water_hours WHERE garden_id = @garden_id ORDER BY start_local, id;
