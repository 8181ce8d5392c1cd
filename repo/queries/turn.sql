-- name: TurnByID :one
SELECT * FROM turn WHERE garden_id = @garden_id AND id = @id;

-- name: TurnListByRotation :many
SELECT * FROM turn WHERE garden_id = @garden_id AND rotation_id = @rotation_id ORDER BY starts_at, id;

-- TurnListPlannedIn lists the published turns that reach into a stretch of time, whichever rotation they belong to.
-- name: TurnListPlannedIn :many
SELECT * FROM turn
WHERE garden_id = @garden_id AND status = 'planned' AND ends_at > @starts_at AND starts_at < @ends_at
ORDER BY starts_at, id;

-- TurnCancelFrom releases the published turns of a rotation that begin at a moment or later.
-- name: TurnCancelFrom :execrows
UPDATE turn SET status = 'cancelled', sequence = sequence + 1, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND rotation_id = @rotation_id AND status = 'planned' AND starts_at >= @moment;

-- TurnCancelOff cancels the published turns of some sources that begin while the water is off.
-- name: TurnCancelOff :execrows
UPDATE turn t SET status = 'cancelled', water_off_id = w.id, sequence = t.sequence + 1, revision = t.revision + 1, updated_at = now()
FROM water_off w
WHERE w.garden_id = @garden_id AND w.id = @water_off_id AND t.garden_id = w.garden_id AND t.status = 'planned'
    AND t.water_source_id = ANY (@sources::uuid[]) AND t.starts_at >= w.off_at AND t.starts_at < coalesce(w.expected_until, 'infinity');

-- TurnRestore plans the turns again that were cancelled since the water was off at some sources: those that begin at a moment or
-- later, of a rotation that still holds, whose source has water and no other turn by then.
-- name: TurnRestore :execrows
UPDATE turn t SET status = 'planned', sequence = t.sequence + 1, revision = t.revision + 1, updated_at = now()
FROM rotation r, water_source s
WHERE t.garden_id = @garden_id AND t.status = 'cancelled' AND t.water_off_id IS NOT NULL
    AND t.water_source_id = ANY (@sources::uuid[]) AND t.starts_at >= @moment
    AND r.garden_id = t.garden_id AND r.id = t.rotation_id AND r.status = 'published' AND t.starts_at < r.ends_at
    AND s.garden_id = t.garden_id AND s.id = t.water_source_id
    AND NOT EXISTS (
        SELECT FROM turn o WHERE o.garden_id = t.garden_id AND o.water_source_id = t.water_source_id AND o.status = 'planned'
            AND o.starts_at < t.ends_at AND o.ends_at > t.starts_at)
    AND NOT EXISTS (
        SELECT FROM water_off w WHERE w.garden_id = t.garden_id AND w.on_at IS NULL
            AND (w.water_source_id = s.id OR w.service_line_id = s.service_line_id)
            AND (w.expected_until IS NULL OR w.expected_until > t.starts_at));

-- TurnMemberCut takes from the members of the turns that run at some sources what they would have got after a moment.
-- name: TurnMemberCut :execrows
UPDATE turn_member m SET
    volume_l = m.volume_l * extract(epoch FROM least(coalesce(m.closes_at, t.ends_at), @moment::timestamptz) - t.starts_at)
        / extract(epoch FROM coalesce(m.closes_at, t.ends_at) - t.starts_at),
    closes_at = CASE WHEN m.closes_at < @moment::timestamptz THEN m.closes_at END
FROM turn t
WHERE t.garden_id = @garden_id AND m.garden_id = t.garden_id AND m.turn_id = t.id AND t.status = 'planned'
    AND t.water_source_id = ANY (@sources::uuid[]) AND t.starts_at < @moment::timestamptz AND t.ends_at > @moment;

-- TurnCut ends the turns that run at some sources.
-- name: TurnCut :execrows
UPDATE turn SET ends_at = @moment::timestamptz, sequence = sequence + 1, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND status = 'planned' AND water_source_id = ANY (@sources::uuid[])
    AND starts_at < @moment AND ends_at > @moment;

-- TurnPublish makes the proposed turns of a rotation binding.
-- name: TurnPublish :execrows
UPDATE turn SET status = 'planned', revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND rotation_id = @rotation_id AND status = 'proposed';

-- TurnSetLocked pins a published turn to its time, or lets it go.
-- name: TurnSetLocked :one
UPDATE turn SET locked = @locked, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision AND status = 'planned'
RETURNING *;

-- TurnSetOpener says who opens and closes the valve.
-- name: TurnSetOpener :one
UPDATE turn SET opener_id = sqlc.narg('opener_id'), sequence = sequence + 1, revision = revision + 1, updated_at = now()
WHERE garden_id = @garden_id AND id = @id AND revision = @revision
RETURNING *;

-- name: TurnMemberListByTurns :many
SELECT * FROM turn_member
WHERE garden_id = @garden_id AND turn_id = ANY (@turn_ids::uuid[])
ORDER BY turn_id, plot_id, layout_id NULLS FIRST;

-- name: TurnMemberListByRotation :many
SELECT turn_member.* FROM turn_member
JOIN turn ON turn.garden_id = turn_member.garden_id AND turn.id = turn_member.turn_id
WHERE turn_member.garden_id = @garden_id AND turn.rotation_id = @rotation_id
ORDER BY turn.starts_at, turn.id, turn_member.plot_id, turn_member.layout_id NULLS FIRST;

-- name: TurnMemberDeleteByTurns :execrows
DELETE FROM turn_member WHERE garden_id = @garden_id AND turn_id = ANY (@turn_ids::uuid[]);

-- TurnDelete removes turns that were only proposed.
-- name: TurnDelete :execrows
DELETE FROM turn WHERE garden_id = @garden_id AND id = ANY (@turn_ids::uuid[]) AND status = 'proposed';
