-- name: PlotInsert :one
INSERT INTO plot (
    label, area_m2, method, communal, water_source_id, hose_flow_l_per_min, can_volume_l, can_minutes_each,
    max_day_min, soil_texture, field_capacity, wilting_point, bed_depth_m, garden_id, id, revision
) VALUES (
    @label, @area_m2, @method, @communal, sqlc.narg('water_source_id'), sqlc.narg('hose_flow_l_per_min'),
    sqlc.narg('can_volume_l'), sqlc.narg('can_minutes_each'), sqlc.narg('max_day_min'),
    sqlc.narg('soil_texture'), sqlc.narg('field_capacity'), sqlc.narg('wilting_point'),
    sqlc.narg('bed_depth_m'), @garden_id, @id, @revision
)
RETURNING *;

-- PlotUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: PlotUpdate :one
UPDATE plot SET
    label = @label, area_m2 = @area_m2, method = @method, communal = @communal,
    water_source_id = sqlc.narg('water_source_id'), hose_flow_l_per_min = sqlc.narg('hose_flow_l_per_min'),
    can_volume_l = sqlc.narg('can_volume_l'), can_minutes_each = sqlc.narg('can_minutes_each'),
    max_day_min = sqlc.narg('max_day_min'), soil_texture = sqlc.narg('soil_texture'),
    field_capacity = sqlc.narg('field_capacity'), wilting_point = sqlc.narg('wilting_point'),
    bed_depth_m = sqlc.narg('bed_depth_m'), revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: PlotDelete :execrows
DELETE FROM plot WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: PlotByID :one
SELECT * FROM plot WHERE garden_id = @garden_id AND id = @id;

-- name: PlotListPage :many
SELECT * FROM plot
WHERE garden_id = @garden_id AND (label, id) > (@after_key, @after_id::uuid)
ORDER BY label, id
LIMIT @row_limit;

-- name: PlotList :many
SELECT * FROM plot WHERE garden_id = @garden_id ORDER BY label, id;
