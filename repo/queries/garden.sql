-- name: GardenDirectoryInsert :exec
INSERT INTO garden_directory (garden_id) VALUES (@garden_id);

-- name: GardenInsert :one
INSERT INTO garden (
    name, time_zone, latitude_deg, longitude_deg, elevation_m, units, language, water_on, water_off, fairness,
    free_share, start_grid_min, notice_period_h, coastal, humidity_class, garden_id, revision
) VALUES (
    @name, @time_zone, @latitude_deg, @longitude_deg, @elevation_m, @units, @language, sqlc.narg('water_on'),
    sqlc.narg('water_off'), @fairness, @free_share, @start_grid_min, @notice_period_h, @coastal,
    sqlc.narg('humidity_class'), @garden_id, @revision
)
RETURNING *;

-- GardenUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: GardenUpdate :one
UPDATE garden SET
    name = @name, time_zone = @time_zone, latitude_deg = @latitude_deg, longitude_deg = @longitude_deg,
    elevation_m = @elevation_m, units = @units, language = @language, water_on = sqlc.narg('water_on'),
    water_off = sqlc.narg('water_off'), fairness = @fairness, free_share = @free_share,
    start_grid_min = @start_grid_min, notice_period_h = @notice_period_h, coastal = @coastal,
    humidity_class = sqlc.narg('humidity_class'), revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND revision = @revision
RETURNING *;

-- name: GardenByID :one
SELECT * FROM garden WHERE garden_id = @garden_id;

-- GardenLock reads the garden and holds it until the transaction ends: one publishing at a time.
-- name: GardenLock :one
SELECT * FROM garden WHERE garden_id = @garden_id FOR NO KEY UPDATE;

-- SeasonUpdate writes the dates of a season; the caller holds the garden.
-- name: SeasonUpdate :one
UPDATE garden SET water_on = @water_on, water_off = @water_off, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id
RETURNING *;

-- WorkshopUpdate writes the workshop over its own revision; no row when that has moved on.
-- name: WorkshopUpdate :one
UPDATE garden SET workshop = @workshop, workshop_revision = workshop_revision + 1
WHERE garden_id = @garden_id AND workshop_revision = @revision
RETURNING *;

-- name: GardenPlanTouch :exec
UPDATE garden SET plan_revision = plan_revision + 1 WHERE garden_id = @garden_id;

-- name: GardenScheduleTouch :exec
UPDATE garden SET schedule_version = schedule_version + 1 WHERE garden_id = @garden_id;

-- GardenDirectoryList names the gardens of the installation, for work that walks them one by one.
-- name: GardenDirectoryList :many
SELECT garden_id FROM garden_directory WHERE garden_id > @after_id ORDER BY garden_id LIMIT @row_limit;
