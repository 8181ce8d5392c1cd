-- name: RotationInsert :one
INSERT INTO rotation (
    status, starts_at, ends_at, first_day, days, plan_revision, engine_version, effort, seed, input_sha256, nightly, trouble,
    garden_id, id, revision
) VALUES (
    @status, @starts_at, @ends_at, @first_day, @days, @plan_revision, @engine_version, @effort, @seed, @input_sha256,
    @nightly, sqlc.narg('trouble'), @garden_id, @id, @revision
)
RETURNING *;

-- name: RotationDocumentInsert :exec
INSERT INTO rotation_document (garden_id, rotation_id, input, output) VALUES (@garden_id, @rotation_id, @input, @output);

-- RotationOutputPut writes what came out of planning beside its input.
-- name: RotationOutputPut :execrows
UPDATE rotation_document SET output = @output WHERE garden_id = @garden_id AND rotation_id = @rotation_id AND output IS NULL;

-- RotationPlanning is the rotation at whose plan a job works.
-- name: RotationPlanning :one
SELECT * FROM rotation WHERE garden_id = @garden_id AND status = 'planning';

-- RotationProgress notes how far a plan is; no row when it is not being made any more.
-- name: RotationProgress :execrows
UPDATE rotation SET stage = @stage::text, level = sqlc.narg('level'), progress_at = now()
WHERE garden_id = @garden_id AND id = @id AND status = 'planning';

-- RotationSettle ends the planning of a rotation; no row when it had ended.
-- name: RotationSettle :one
UPDATE rotation SET status = @status, trouble = sqlc.narg('trouble'), stage = NULL, level = NULL, revision = revision + 1
WHERE garden_id = @garden_id AND id = @id AND status = 'planning'
RETURNING *;

-- RotationWithdrawNightly takes back the proposals of earlier nights that still wait.
-- name: RotationWithdrawNightly :execrows
UPDATE rotation SET status = 'superseded', superseded_at = @moment::timestamptz, revision = revision + 1
WHERE garden_id = @garden_id AND nightly AND status = 'proposed';

-- RotationLatestNightly is what became of the last nightly plan that proposed anything or failed.
-- name: RotationLatestNightly :one
SELECT * FROM rotation WHERE garden_id = @garden_id AND nightly ORDER BY created_at DESC, id DESC LIMIT 1;

-- RotationFailStuck gives up on plans of which nothing was heard for some seconds, by the clock of the database.
-- name: RotationFailStuck :execrows
UPDATE rotation SET status = 'failed', trouble = @trouble::text, stage = NULL, level = NULL, revision = revision + 1
WHERE garden_id = @garden_id AND status = 'planning' AND progress_at < now() - make_interval(secs => @silent_s);

-- name: RotationByID :one
SELECT * FROM rotation WHERE garden_id = @garden_id AND id = @id;

-- name: RotationInput :one
SELECT input FROM rotation_document WHERE garden_id = @garden_id AND rotation_id = @rotation_id;

-- name: RotationOutput :one
SELECT output FROM rotation_document WHERE garden_id = @garden_id AND rotation_id = @rotation_id;

-- RotationListPage lists the newest first.
-- name: RotationListPage :many
SELECT * FROM rotation
WHERE garden_id = @garden_id AND (created_at, id) < (@before_key, @before_id::uuid)
ORDER BY created_at DESC, id DESC
LIMIT @row_limit;

-- RotationPublishedAt is the rotation in force at a moment.
-- name: RotationPublishedAt :one
SELECT * FROM rotation
WHERE garden_id = @garden_id AND status = 'published' AND starts_at <= @moment AND ends_at > @moment;

-- RotationPublishedNext is the rotation in force at a moment or, when there is none, the next to come.
-- name: RotationPublishedNext :one
SELECT * FROM rotation
WHERE garden_id = @garden_id AND status = 'published' AND ends_at > @moment
ORDER BY starts_at
LIMIT 1;

-- RotationListPublishedIn lists the published rotations that reach into a stretch of time.
-- name: RotationListPublishedIn :many
SELECT * FROM rotation
WHERE garden_id = @garden_id AND status = 'published' AND ends_at > @starts_at AND starts_at < @ends_at
ORDER BY starts_at;

-- RotationCut ends the published rotations that are under way at a moment, so that the next may begin there.
-- name: RotationCut :execrows
UPDATE rotation SET ends_at = @moment::timestamptz, revision = revision + 1
WHERE garden_id = @garden_id AND status = 'published' AND starts_at < @moment AND ends_at > @moment;

-- RotationSupersede takes every published rotation that begins in a stretch of time out of force.
-- name: RotationSupersede :execrows
UPDATE rotation SET status = 'superseded', superseded_at = @moment::timestamptz, revision = revision + 1
WHERE garden_id = @garden_id AND status = 'published' AND starts_at >= @starts_at AND starts_at < @ends_at;

-- RotationPublish puts a proposal into force over its revision; no row when it has moved on or is no proposal.
-- name: RotationPublish :one
UPDATE rotation SET status = 'published', published_at = @moment::timestamptz, revision = revision + 1
WHERE garden_id = @garden_id AND id = @id AND revision = @revision AND status = 'proposed'
RETURNING *;
