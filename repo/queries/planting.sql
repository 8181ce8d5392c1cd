-- name: PlantingInsert :one
INSERT INTO planting (
    plot_id, crop, crop_constants, planted_on, removed_on, area_m2, wetted_fraction, mulch, mulch_cover,
    plant_spacing_m, row_spacing_m, layout_id, outlets, from_m, to_m, both_sides, note, establishment, supported,
    exposure_factor, dual_coefficient, opening, opening_depletion_mm, ground_share, companions, garden_id, id, revision
) VALUES (
    @plot_id, @crop, @crop_constants, @planted_on, sqlc.narg('removed_on'), @area_m2, @wetted_fraction, @mulch,
    @mulch_cover, sqlc.narg('plant_spacing_m'), sqlc.narg('row_spacing_m'), sqlc.narg('layout_id'),
    coalesce(@outlets::smallint[], '{}'), sqlc.narg('from_m'), sqlc.narg('to_m'), @both_sides, @note,
    sqlc.narg('establishment'), @supported, sqlc.narg('exposure_factor'), @dual_coefficient, sqlc.narg('opening'),
    sqlc.narg('opening_depletion_mm'), sqlc.narg('ground_share'), coalesce(@companions::jsonb, '[]'), @garden_id, @id, @revision
)
RETURNING *;

-- PlantingUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: PlantingUpdate :one
UPDATE planting SET
    plot_id = @plot_id, crop = @crop, crop_constants = @crop_constants, planted_on = @planted_on,
    removed_on = sqlc.narg('removed_on'), area_m2 = @area_m2, wetted_fraction = @wetted_fraction,
    mulch = @mulch, mulch_cover = @mulch_cover, plant_spacing_m = sqlc.narg('plant_spacing_m'),
    row_spacing_m = sqlc.narg('row_spacing_m'), layout_id = sqlc.narg('layout_id'),
    outlets = coalesce(@outlets::smallint[], '{}'), from_m = sqlc.narg('from_m'), to_m = sqlc.narg('to_m'), both_sides = @both_sides,
    note = @note, establishment = sqlc.narg('establishment'), supported = @supported,
    exposure_factor = sqlc.narg('exposure_factor'), dual_coefficient = @dual_coefficient, opening = sqlc.narg('opening'),
    opening_depletion_mm = sqlc.narg('opening_depletion_mm'), ground_share = sqlc.narg('ground_share'),
    companions = coalesce(@companions::jsonb, '[]'),
    revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: PlantingDelete :execrows
DELETE FROM planting WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: PlantingByID :one
SELECT * FROM planting WHERE garden_id = @garden_id AND id = @id;

-- name: PlantingList :many
SELECT * FROM planting WHERE garden_id = @garden_id ORDER BY plot_id, planted_on, id;
