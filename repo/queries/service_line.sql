-- name: ServiceLineInsert :one
INSERT INTO service_line (
    name, flow_limit_l_per_min, daily_volume_limit_l, elsewhere_l_per_min, garden_id, id, revision
) VALUES (
    @name, @flow_limit_l_per_min, sqlc.narg('daily_volume_limit_l'), sqlc.narg('elsewhere_l_per_min'), @garden_id, @id, @revision
)
RETURNING *;

-- ServiceLineUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: ServiceLineUpdate :one
UPDATE service_line SET
    name = @name, flow_limit_l_per_min = @flow_limit_l_per_min,
    daily_volume_limit_l = sqlc.narg('daily_volume_limit_l'), elsewhere_l_per_min = sqlc.narg('elsewhere_l_per_min'),
    revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: ServiceLineDelete :execrows
DELETE FROM service_line WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: ServiceLineByID :one
SELECT * FROM service_line WHERE garden_id = @garden_id AND id = @id;

-- name: ServiceLineListPage :many
SELECT * FROM service_line
WHERE garden_id = @garden_id AND (name, id) > (@after_key, @after_id::uuid)
ORDER BY name, id
LIMIT @row_limit;

-- name: ServiceLineList :many
SELECT * FROM service_line WHERE garden_id = @garden_id ORDER BY name, id;
