-- name: ClosureInsert :one
INSERT INTO closure (
    water_source_id, first_day, last_day, weekdays, day_parity, exempt_methods, rule, garden_id, id, revision
) VALUES (
    sqlc.narg('water_source_id'), @first_day, @last_day, @weekdays, @day_parity, @exempt_methods, @rule,
    @garden_id, @id, @revision
)
RETURNING *;

-- ClosureUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: ClosureUpdate :one
UPDATE closure SET
    water_source_id = sqlc.narg('water_source_id'), first_day = @first_day, last_day = @last_day,
    weekdays = @weekdays, day_parity = @day_parity, exempt_methods = @exempt_methods, rule = @rule,
    revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: ClosureDelete :execrows
DELETE FROM closure WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: ClosureByID :one
SELECT * FROM closure WHERE garden_id = @garden_id AND id = @id;

-- name: ClosureListPage :many
SELECT * FROM closure
WHERE garden_id = @garden_id AND (created_at, id) > (@after_key, @after_id::uuid)
ORDER BY created_at, id
LIMIT @row_limit;

-- name: ClosureList :many
SELECT * FROM closure WHERE garden_id = @garden_id ORDER BY first_day, id;
