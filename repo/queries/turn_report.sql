-- name: TurnReportInsert :one
INSERT INTO turn_report (
    turn_id, outcome, duration_min, note, reporter, garden_id, id
) VALUES (
    @turn_id, @outcome, sqlc.narg('duration_min'), @note, @reporter, @garden_id, @id
)
RETURNING *;

-- name: TurnReportByID :one
SELECT * FROM turn_report WHERE garden_id = @garden_id AND id = @id;

-- name: TurnReportListPage :many
SELECT * FROM turn_report
WHERE garden_id = @garden_id AND turn_id = @turn_id AND (created_at, id) > (@after_key, @after_id::uuid)
ORDER BY created_at, id
LIMIT @row_limit;

-- TurnReportListIn lists what was reported about the turns that begin in a stretch of time, oldest report first.
-- name: TurnReportListIn :many
SELECT turn_report.* FROM turn_report
JOIN turn ON turn.garden_id = turn_report.garden_id AND turn.id = turn_report.turn_id
WHERE turn_report.garden_id = @garden_id AND turn.starts_at >= @starts_at AND turn.starts_at < @ends_at
ORDER BY turn_report.created_at, turn_report.id;
