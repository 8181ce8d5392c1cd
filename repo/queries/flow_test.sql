-- name: FlowTestInsert :one
INSERT INTO flow_test (
    water_source_id, tested_at, kind, head_m, flow_l_per_min, volume_l, duration_s, after_hose, other_flow_l_per_min,
    note, garden_id, id, revision
) VALUES (
    @water_source_id, @tested_at, @kind, sqlc.narg('head_m'), sqlc.narg('flow_l_per_min'), sqlc.narg('volume_l'),
    sqlc.narg('duration_s'), @after_hose, @other_flow_l_per_min, @note, @garden_id, @id, @revision
)
RETURNING *;

-- name: FlowTestDelete :execrows
DELETE FROM flow_test WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: FlowTestByID :one
SELECT * FROM flow_test WHERE garden_id = @garden_id AND id = @id;

-- name: FlowTestListPage :many
SELECT * FROM flow_test
WHERE garden_id = @garden_id AND water_source_id = @water_source_id AND (created_at, id) > (@after_key, @after_id::uuid)
ORDER BY created_at, id
LIMIT @row_limit;

-- name: FlowTestListBySource :many
SELECT * FROM flow_test WHERE garden_id = @garden_id AND water_source_id = @water_source_id ORDER BY tested_at, id;

-- name: FlowTestList :many
SELECT * FROM flow_test WHERE garden_id = @garden_id ORDER BY water_source_id, tested_at, id;
