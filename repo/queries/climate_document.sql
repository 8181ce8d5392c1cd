-- name: ClimateDocumentGet :one
SELECT * FROM climate_document WHERE garden_id = @garden_id AND kind = @kind;

-- ClimateDocumentPut writes a document over its revision; no row when the revision has moved on. The first one follows the
-- empty document, which has no row and revision 1.
-- name: ClimateDocumentPut :one
INSERT INTO climate_document (garden_id, kind, document, revision)
SELECT @garden_id, @kind, @document, 2
WHERE @revision::bigint = 1 OR EXISTS (SELECT FROM climate_document d WHERE d.garden_id = @garden_id AND d.kind = @kind)
ON CONFLICT (garden_id, kind) DO UPDATE SET document = excluded.document, revision = climate_document.revision + 1, updated_at = now()
WHERE climate_document.revision = @revision
RETURNING *;
