-- name: LayoutInsert :one
INSERT INTO layout (
    plot_id, water_source_id, name, status, own_valve, measured_du, latest_number, accepted_number, garden_id,
    id, revision
) VALUES (
    @plot_id, @water_source_id, @name, @status, @own_valve, sqlc.narg('measured_du'), @latest_number,
    sqlc.narg('accepted_number'), @garden_id, @id, @revision
)
RETURNING *;

-- LayoutUpdate writes the whole record over its revision; no row when the revision has moved on.
-- name: LayoutUpdate :one
UPDATE layout SET
    plot_id = @plot_id, water_source_id = @water_source_id, name = @name, status = @status,
    own_valve = @own_valve, measured_du = sqlc.narg('measured_du'), latest_number = @latest_number,
    accepted_number = sqlc.narg('accepted_number'), revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: LayoutByID :one
SELECT * FROM layout WHERE garden_id = @garden_id AND id = @id;

-- name: LayoutList :many
SELECT * FROM layout WHERE garden_id = @garden_id ORDER BY plot_id, name, id;

-- LayoutLatest is a layout with its newest document.
-- name: LayoutLatest :one
SELECT sqlc.embed(layout), sqlc.embed(layout_revision)
FROM layout
JOIN layout_revision ON layout_revision.garden_id = layout.garden_id AND layout_revision.layout_id = layout.id
    AND layout_revision.number = layout.latest_number
WHERE layout.garden_id = @garden_id AND layout.id = @id;

-- LayoutAccepted is a layout with the document that was accepted last; no row when none was.
-- name: LayoutAccepted :one
SELECT sqlc.embed(layout), sqlc.embed(layout_revision)
FROM layout
JOIN layout_revision ON layout_revision.garden_id = layout.garden_id AND layout_revision.layout_id = layout.id
    AND layout_revision.number = layout.accepted_number
WHERE layout.garden_id = @garden_id AND layout.id = @id;

-- LayoutListAccepted is what a plan is made from: every layout in use with its accepted document.
-- name: LayoutListAccepted :many
SELECT sqlc.embed(layout), sqlc.embed(layout_revision)
FROM layout
JOIN layout_revision ON layout_revision.garden_id = layout.garden_id AND layout_revision.layout_id = layout.id
    AND layout_revision.number = layout.accepted_number
WHERE layout.garden_id = @garden_id AND layout.status <> 'retired'
ORDER BY layout.plot_id, layout.name, layout.id;
