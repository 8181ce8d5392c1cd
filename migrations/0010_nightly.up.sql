-- Plans that are made at night, for nobody in particular: of their proposals only the newest waits.
ALTER TABLE rotation ADD COLUMN nightly boolean NOT NULL DEFAULT false;
CREATE INDEX rotation_nightly_waiting ON rotation (garden_id) WHERE nightly AND status = 'proposed';

-- Proposals and plans that failed are told to webhooks too.
ALTER TABLE webhook DROP CONSTRAINT webhook_events_known;
ALTER TABLE webhook ADD CONSTRAINT webhook_events_known CHECK (
    cardinality(events) BETWEEN 1 AND 5
    AND events <@ ARRAY['rotation.failed', 'rotation.proposed', 'rotation.published', 'water.off', 'water.on']);
