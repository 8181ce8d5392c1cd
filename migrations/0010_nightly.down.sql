-- Webhooks that asked for the events of the later release only keep the event that they can still get.
DO $$
DECLARE g uuid;
BEGIN
    FOR g IN SELECT garden_id FROM garden_directory LOOP
        PERFORM set_config('app.garden_id', g::text, true);
        UPDATE webhook SET events = coalesce(nullif(array_remove(array_remove(events, 'rotation.failed'), 'rotation.proposed'), '{}'), '{rotation.published}')
        WHERE garden_id = g;
    END LOOP;
    PERFORM set_config('app.garden_id', '', true);
END $$;
ALTER TABLE webhook DROP CONSTRAINT webhook_events_known;
ALTER TABLE webhook ADD CONSTRAINT webhook_events_known CHECK (
    cardinality(events) BETWEEN 1 AND 3 AND events <@ ARRAY['rotation.published', 'water.off', 'water.on']);
ALTER TABLE rotation DROP COLUMN nightly;
