-- name: PlanningRulesGet :one
SELECT * FROM planning_rules WHERE garden_id = @garden_id;

-- PlanningRulesPut writes the document over its revision; no row when the revision has moved on. The first one follows the
-- empty document, which has no row and revision 1.
-- name: PlanningRulesPut :one
INSERT INTO planning_rules (garden_id, document, revision)
SELECT @garden_id, @document, 2
WHERE @revision::bigint = 1 OR EXISTS (SELECT FROM planning_rules WHERE planning_rules.garden_id = @garden_id)
ON CONFLICT (garden_id) DO UPDATE SET document = excluded.document, revision = planning_rules.revision + 1, updated_at = now()
WHERE planning_rules.revision = @revision
RETURNING *;
