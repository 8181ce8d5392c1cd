-- name: DigInsert :one
INSERT INTO dig (plot_id, planting_id, day, finding, depletion_mm, note, reporter, garden_id, id, revision)
VALUES (
    @plot_id, sqlc.narg('planting_id'), @day, sqlc.narg('finding'), sqlc.narg('depletion_mm'), @note, @reporter, @garden_id, @id, @revision
)
RETURNING *;

-- name: DigDelete :execrows
DELETE FROM dig WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: DigByID :one
SELECT * FROM dig WHERE garden_id = @garden_id AND id = @id;

-- DigList is what was dug before a day, in the order in which it was entered: of two on a day the later holds.
-- name: DigList :many
SELECT * FROM dig WHERE garden_id = @garden_id AND day < @before ORDER BY day, created_at, id;
