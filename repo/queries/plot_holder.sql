-- name: PlotHolderInsert :one
INSERT INTO plot_holder (
    plot_id, member_id, held_from, held_to, garden_id, id, revision
) VALUES (
    @plot_id, @member_id, @held_from, sqlc.narg('held_to'), @garden_id, @id, @revision
)
RETURNING *;

-- PlotHolderUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: PlotHolderUpdate :one
UPDATE plot_holder SET
    plot_id = @plot_id, member_id = @member_id, held_from = @held_from, held_to = sqlc.narg('held_to'),
    revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: PlotHolderDelete :execrows
DELETE FROM plot_holder WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: PlotHolderByID :one
SELECT * FROM plot_holder WHERE garden_id = @garden_id AND id = @id;

-- name: PlotHolderList :many
SELECT * FROM plot_holder WHERE garden_id = @garden_id ORDER BY plot_id, held_from, id;

-- name: PlotHolderListPage :many
SELECT * FROM plot_holder
WHERE garden_id = @garden_id AND plot_id = @plot_id AND (created_at, id) > (@after_key, @after_id::uuid)
ORDER BY created_at, id
LIMIT @row_limit;

-- PlotHolderListOnDay names who holds a plot on a day.
-- name: PlotHolderListOnDay :many
SELECT * FROM plot_holder
WHERE garden_id = @garden_id AND plot_id = @plot_id AND held_from <= @day AND (held_to IS NULL OR held_to >= @day)
ORDER BY held_from, id;

-- PlotListHeldBy names the plots that a member holds on a day.
-- name: PlotListHeldBy :many
SELECT DISTINCT plot_id FROM plot_holder
WHERE garden_id = @garden_id AND member_id = @member_id AND held_from <= @day AND (held_to IS NULL OR held_to >= @day)
ORDER BY plot_id;
