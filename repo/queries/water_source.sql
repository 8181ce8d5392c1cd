-- name: WaterSourceInsert :one
INSERT INTO water_source (
    name, kind, service_line_id, hose_connections, hose_length_m, hose_inside_diameter_mm, static_head_m,
    changeover_min, min_run_min, flow_limit_l_per_min, daily_volume_limit_l, tank_volume_l, tank_level_m,
    tank_refill_l_per_day, tank_outlet_diameter_mm, tank_outlet_k, garden_id, id, revision
) VALUES (
    @name, @kind, sqlc.narg('service_line_id'), @hose_connections, sqlc.narg('hose_length_m'),
    sqlc.narg('hose_inside_diameter_mm'), sqlc.narg('static_head_m'), @changeover_min, @min_run_min,
    sqlc.narg('flow_limit_l_per_min'), sqlc.narg('daily_volume_limit_l'), sqlc.narg('tank_volume_l'),
    sqlc.narg('tank_level_m'), sqlc.narg('tank_refill_l_per_day'), sqlc.narg('tank_outlet_diameter_mm'),
    sqlc.narg('tank_outlet_k'), @garden_id, @id, @revision
)
RETURNING *;

-- WaterSourceUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: WaterSourceUpdate :one
UPDATE water_source SET
    name = @name, kind = @kind, service_line_id = sqlc.narg('service_line_id'),
    hose_connections = @hose_connections, hose_length_m = sqlc.narg('hose_length_m'),
    hose_inside_diameter_mm = sqlc.narg('hose_inside_diameter_mm'), static_head_m = sqlc.narg('static_head_m'),
    changeover_min = @changeover_min, min_run_min = @min_run_min,
    flow_limit_l_per_min = sqlc.narg('flow_limit_l_per_min'),
    daily_volume_limit_l = sqlc.narg('daily_volume_limit_l'), tank_volume_l = sqlc.narg('tank_volume_l'),
    tank_level_m = sqlc.narg('tank_level_m'), tank_refill_l_per_day = sqlc.narg('tank_refill_l_per_day'),
    tank_outlet_diameter_mm = sqlc.narg('tank_outlet_diameter_mm'), tank_outlet_k = sqlc.narg('tank_outlet_k'),
    revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: WaterSourceDelete :execrows
DELETE FROM water_source WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: WaterSourceByID :one
SELECT * FROM water_source WHERE garden_id = @garden_id AND id = @id;

-- name: WaterSourceListPage :many
SELECT * FROM water_source
WHERE garden_id = @garden_id AND (name, id) > (@after_key, @after_id::uuid)
ORDER BY name, id
LIMIT @row_limit;

-- name: WaterSourceList :many
SELECT * FROM water_source WHERE garden_id = @garden_id ORDER BY name, id;
