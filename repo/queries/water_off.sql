-- name: WaterOffInsert :one
INSERT INTO water_off (water_source_id, service_line_id, off_at, expected_until, reason, garden_id, id, revision)
VALUES (sqlc.narg('water_source_id'), sqlc.narg('service_line_id'), @off_at, sqlc.narg('expected_until'), @reason, @garden_id, @id, @revision)
RETURNING *;

-- WaterOffEnd says that the water of a source or line is on again; no row when it was not off.
-- name: WaterOffEnd :one
UPDATE water_off SET on_at = greatest(off_at, @moment::timestamptz), revision = revision + 1
WHERE garden_id = @garden_id AND coalesce(water_source_id, service_line_id) = @place::uuid AND on_at IS NULL
RETURNING *;

-- WaterOffListSince lists what is off, or was off after a moment.
-- name: WaterOffListSince :many
SELECT * FROM water_off WHERE garden_id = @garden_id AND (on_at IS NULL OR on_at > @moment::timestamptz) ORDER BY off_at, id;

-- WaterOffListPage lists the newest first.
-- name: WaterOffListPage :many
SELECT * FROM water_off
WHERE garden_id = @garden_id AND (off_at, id) < (@before_key, @before_id::uuid)
ORDER BY off_at DESC, id DESC
LIMIT @row_limit;
