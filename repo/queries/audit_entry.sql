-- name: AuditEntryInsert :exec
INSERT INTO audit_entry (garden_id, id, actor, action, entity, entity_id)
VALUES (@garden_id, @id, @actor, @action, @entity, @entity_id);

-- AuditEntryListPage lists the newest first.
-- name: AuditEntryListPage :many
SELECT * FROM audit_entry
WHERE garden_id = @garden_id AND (created_at, id) < (@before_key, @before_id::uuid)
ORDER BY created_at DESC, id DESC
LIMIT @row_limit;
