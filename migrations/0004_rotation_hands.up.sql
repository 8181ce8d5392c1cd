-- What a coordinator decides for every plan: zones pinned, pairs kept apart, what no plan waters, who is served first. It is
-- read and written whole, so it stays a document. A garden without a row has the empty one, at revision 1.
CREATE TABLE planning_rules (
    garden_id  uuid PRIMARY KEY REFERENCES garden (garden_id),
    document   jsonb NOT NULL,
    revision   bigint NOT NULL,
    updated_at timestamptz NOT NULL DEFAULT now()
);
ALTER TABLE planning_rules ENABLE ROW LEVEL SECURITY;
ALTER TABLE planning_rules FORCE ROW LEVEL SECURITY;
CREATE POLICY planning_rules_tenant ON planning_rules
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE ON planning_rules TO rillturn_app;

-- A locked turn stays where it is, whatever is planned. A proposed turn names the published one that it goes on from.
ALTER TABLE turn ADD COLUMN locked boolean NOT NULL DEFAULT false;
ALTER TABLE turn ADD COLUMN follows uuid;
ALTER TABLE turn ADD CONSTRAINT turn_follows_fkey FOREIGN KEY (garden_id, follows) REFERENCES turn (garden_id, id) ON DELETE SET NULL (follows);
CREATE INDEX turn_by_follows ON turn (garden_id, follows) WHERE follows IS NOT NULL;

-- A rotation that takes long is planned by a job: it is planning, and ends as proposed, cancelled or failed. Its input is
-- written when it is asked for, its output when it is there.
ALTER TABLE rotation DROP CONSTRAINT rotation_status_known;
ALTER TABLE rotation ADD CONSTRAINT rotation_status_known
    CHECK (status IN ('planning', 'proposed', 'published', 'superseded', 'cancelled', 'failed'));
-- what the job is doing, the share that it makes zones for, and when it was last heard of
ALTER TABLE rotation ADD COLUMN stage text CONSTRAINT rotation_stage_known CHECK (stage IN ('need', 'zones', 'turns'));
ALTER TABLE rotation ADD COLUMN level double precision CONSTRAINT rotation_level_range CHECK (level BETWEEN 0 AND 1);
ALTER TABLE rotation ADD COLUMN progress_at timestamptz NOT NULL DEFAULT now();
ALTER TABLE rotation ADD COLUMN trouble text CONSTRAINT rotation_trouble_length CHECK (length(trouble) BETWEEN 1 AND 4000);
-- at most one plan of a garden is being made
ALTER TABLE rotation ADD CONSTRAINT rotation_one_planning EXCLUDE USING btree (garden_id WITH =) WHERE (status = 'planning');
ALTER TABLE rotation_document ALTER COLUMN output DROP NOT NULL;
GRANT UPDATE (output) ON rotation_document TO rillturn_app;
