-- Water that is off from a moment on: at one source, or at all sources of a service line. It lasts until it is said to be on
-- again; until then plans count on the expected end, if there is one.
CREATE TABLE water_off (
    garden_id       uuid NOT NULL REFERENCES garden (garden_id),
    id              uuid NOT NULL,
    water_source_id uuid,
    service_line_id uuid,
    off_at          timestamptz NOT NULL,
    expected_until  timestamptz,
    on_at           timestamptz,
    reason          text NOT NULL CONSTRAINT water_off_reason_length CHECK (length(reason) BETWEEN 1 AND 1000),
    revision        bigint NOT NULL,
    created_at      timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT water_off_water_source_fkey FOREIGN KEY (garden_id, water_source_id) REFERENCES water_source (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT water_off_service_line_fkey FOREIGN KEY (garden_id, service_line_id) REFERENCES service_line (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT water_off_one_place CHECK (num_nonnulls(water_source_id, service_line_id) = 1),
    CONSTRAINT water_off_expected_order CHECK (expected_until IS NULL OR off_at < expected_until),
    CONSTRAINT water_off_order CHECK (on_at IS NULL OR off_at <= on_at),
    -- what is off is not turned off again
    CONSTRAINT water_off_once EXCLUDE USING btree (garden_id WITH =, coalesce(water_source_id, service_line_id) WITH =) WHERE (on_at IS NULL)
);
CREATE INDEX water_off_by_time ON water_off (garden_id, off_at, id);
ALTER TABLE water_off ENABLE ROW LEVEL SECURITY;
ALTER TABLE water_off FORCE ROW LEVEL SECURITY;
CREATE POLICY water_off_tenant ON water_off
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE ON water_off TO rillturn_app;
