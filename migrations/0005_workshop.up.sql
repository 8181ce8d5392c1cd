-- What the garden's workshop works with: lengths in which pipe is sold, saw, prices. Read and written whole, like a layout,
-- under a revision of its own, since it is no input of plans.
ALTER TABLE garden
    ADD COLUMN workshop jsonb NOT NULL DEFAULT '{}',
    ADD COLUMN workshop_revision bigint NOT NULL DEFAULT 1;

-- Along which laterals of its layout a planting stands, and on which stretch of them; none means all.
ALTER TABLE planting
    ADD COLUMN outlets smallint[] NOT NULL DEFAULT '{}'
        CONSTRAINT planting_outlets_known CHECK (cardinality(outlets) <= 200 AND 0 <= ALL (outlets)),
    ADD COLUMN from_m double precision CONSTRAINT planting_from_range CHECK (from_m BETWEEN 0 AND 200),
    ADD COLUMN to_m double precision CONSTRAINT planting_to_range CHECK (to_m BETWEEN 0 AND 200),
    -- a row on either side of the pipe
    ADD COLUMN both_sides boolean NOT NULL DEFAULT false,
    ADD CONSTRAINT planting_stretch_order CHECK (from_m IS NULL OR to_m IS NULL OR from_m < to_m),
    ADD CONSTRAINT planting_outlets_of_layout CHECK (cardinality(outlets) = 0 OR layout_id IS NOT NULL);

-- A piece of pipe that is kept for the next season. Without a pattern it is plain and pieces are cut from it.
CREATE TABLE stored_pipe (
    garden_id          uuid NOT NULL REFERENCES garden (garden_id),
    id                 uuid NOT NULL,
    -- as it is written on the pipe
    label              text NOT NULL CONSTRAINT stored_pipe_label_length CHECK (length(label) BETWEEN 1 AND 200),
    -- none: the garden's
    owner_id           uuid,
    piece              jsonb NOT NULL,
    plugged            jsonb NOT NULL DEFAULT '[]',
    condition          text NOT NULL CONSTRAINT stored_pipe_condition_known CHECK (condition IN ('good', 'worn', 'unfit')),
    note               text NOT NULL CONSTRAINT stored_pipe_note_length CHECK (length(note) <= 1000),
    -- the one layout that may take it
    reserved_layout_id uuid,
    -- where it lay last
    from_layout_id     uuid,
    revision           bigint NOT NULL,
    created_at         timestamptz NOT NULL DEFAULT now(),
    updated_at         timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT stored_pipe_label_unique UNIQUE (garden_id, label),
    CONSTRAINT stored_pipe_owner_fkey FOREIGN KEY (garden_id, owner_id) REFERENCES member (garden_id, id),
    CONSTRAINT stored_pipe_reserved_layout_fkey FOREIGN KEY (garden_id, reserved_layout_id) REFERENCES layout (garden_id, id),
    CONSTRAINT stored_pipe_from_layout_fkey FOREIGN KEY (garden_id, from_layout_id) REFERENCES layout (garden_id, id)
);
CREATE INDEX stored_pipe_by_layout ON stored_pipe (garden_id, reserved_layout_id);

ALTER TABLE stored_pipe ENABLE ROW LEVEL SECURITY;
ALTER TABLE stored_pipe FORCE ROW LEVEL SECURITY;
CREATE POLICY stored_pipe_tenant ON stored_pipe
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE, DELETE ON stored_pipe TO rillturn_app;
