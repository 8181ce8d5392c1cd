-- name: LayoutRevisionInsert :one
INSERT INTO layout_revision (
    status, spec, comment, author, submitted_at, decided_at, decided_by, garden_id, layout_id, number
) VALUES (
    @status, @spec, @comment, @author, sqlc.narg('submitted_at'), sqlc.narg('decided_at'), sqlc.narg('decided_by'),
    @garden_id, @layout_id, @number
)
RETURNING *;

-- name: LayoutRevisionUpdate :one
UPDATE layout_revision SET
    status = @status, spec = @spec, comment = @comment, author = @author, submitted_at = sqlc.narg('submitted_at'),
    decided_at = sqlc.narg('decided_at'), decided_by = sqlc.narg('decided_by')
WHERE garden_id = @garden_id AND layout_id = @layout_id AND number = @number
RETURNING *;

-- name: LayoutRevisionByNumber :one
SELECT * FROM layout_revision WHERE garden_id = @garden_id AND layout_id = @layout_id AND number = @number;

-- name: LayoutRevisionListPage :many
SELECT * FROM layout_revision
WHERE garden_id = @garden_id AND layout_id = @layout_id AND number > @after_number
ORDER BY number
LIMIT @row_limit;
