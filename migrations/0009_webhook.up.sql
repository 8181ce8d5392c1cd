-- Addresses that are told when something happens to the turns of a garden, with what became of the last delivery.
CREATE TABLE webhook (
    garden_id     uuid NOT NULL REFERENCES garden (garden_id),
    id            uuid NOT NULL,
    url           text NOT NULL CONSTRAINT webhook_url_length CHECK (length(url) BETWEEN 8 AND 2000),
    events        text[] NOT NULL CONSTRAINT webhook_events_known CHECK (
        cardinality(events) BETWEEN 1 AND 3 AND events <@ ARRAY['rotation.published', 'water.off', 'water.on']),
    active        boolean NOT NULL,
    last_tried_at timestamptz,
    last_outcome  text CONSTRAINT webhook_last_outcome_known CHECK (last_outcome IN ('delivered', 'retrying', 'failed')),
    last_status   integer,
    last_trouble  text,
    revision      bigint NOT NULL,
    created_at    timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id)
);
CREATE INDEX webhook_by_time ON webhook (garden_id, created_at, id);
ALTER TABLE webhook ENABLE ROW LEVEL SECURITY;
ALTER TABLE webhook FORCE ROW LEVEL SECURITY;
CREATE POLICY webhook_tenant ON webhook
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE, DELETE ON webhook TO rillturn_app;

-- What deliveries are signed with. The server has to read it, so it can't be a hash like the secrets of tokens; it lies in a
-- table of its own, so that no record of a webhook, and nothing that is made from one, can hold it. Rows go with their webhook.
CREATE TABLE webhook_secret (
    garden_id  uuid NOT NULL,
    webhook_id uuid NOT NULL,
    secret     text NOT NULL,
    PRIMARY KEY (garden_id, webhook_id),
    CONSTRAINT webhook_secret_webhook_fkey FOREIGN KEY (garden_id, webhook_id) REFERENCES webhook (garden_id, id) ON DELETE CASCADE
);
ALTER TABLE webhook_secret ENABLE ROW LEVEL SECURITY;
ALTER TABLE webhook_secret FORCE ROW LEVEL SECURITY;
CREATE POLICY webhook_secret_tenant ON webhook_secret
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT ON webhook_secret TO rillturn_app;
