-- What somebody saw when digging in the morning of a day: a plot, or one planting of it. It resets the ledger.
CREATE TABLE dig (
    garden_id    uuid NOT NULL REFERENCES garden (garden_id),
    id           uuid NOT NULL,
    plot_id      uuid NOT NULL,
    planting_id  uuid,
    day          date NOT NULL,
    finding      text CONSTRAINT dig_finding_known CHECK (finding IN ('wet', 'moist', 'dry')),
    depletion_mm double precision CONSTRAINT dig_depletion_range CHECK (depletion_mm BETWEEN 0 AND 2000),
    note         text NOT NULL CONSTRAINT dig_note_length CHECK (length(note) <= 1000),
    -- who dug, by name
    reporter     text NOT NULL CONSTRAINT dig_reporter_length CHECK (length(reporter) BETWEEN 1 AND 200),
    revision     bigint NOT NULL,
    created_at   timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT dig_plot_fkey FOREIGN KEY (garden_id, plot_id) REFERENCES plot (garden_id, id),
    CONSTRAINT dig_planting_fkey FOREIGN KEY (garden_id, planting_id) REFERENCES planting (garden_id, id),
    CONSTRAINT dig_something_found CHECK (num_nonnulls(finding, depletion_mm) > 0)
);
CREATE INDEX dig_by_plot ON dig (garden_id, plot_id, day);
CREATE INDEX dig_by_planting ON dig (garden_id, planting_id);
ALTER TABLE dig ENABLE ROW LEVEL SECURITY;
ALTER TABLE dig FORCE ROW LEVEL SECURITY;
CREATE POLICY dig_tenant ON dig
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT, DELETE ON dig TO rillturn_app;

-- How a planting stands, and what was known of its soil on the first day; null: not said.
ALTER TABLE planting
    ADD COLUMN establishment text CONSTRAINT planting_establishment_known CHECK (establishment IN ('sown', 'transplanted', 'established')),
    ADD COLUMN supported boolean NOT NULL DEFAULT false,
    ADD COLUMN exposure_factor double precision CONSTRAINT planting_exposure_range CHECK (exposure_factor BETWEEN 1 AND 1.3),
    ADD COLUMN dual_coefficient boolean NOT NULL DEFAULT false,
    ADD COLUMN opening text CONSTRAINT planting_opening_known CHECK (opening IN ('winter_rain', 'given')),
    ADD COLUMN opening_depletion_mm double precision CONSTRAINT planting_opening_depletion_range CHECK (opening_depletion_mm BETWEEN 0 AND 2000),
    ADD COLUMN ground_share double precision CONSTRAINT planting_ground_share_range CHECK (ground_share BETWEEN 0.01 AND 1),
    -- other crops on its bed, with their constants as they were when it was planted
    ADD COLUMN companions jsonb NOT NULL DEFAULT '[]',
    ADD CONSTRAINT planting_opening_given CHECK ((opening IS NOT DISTINCT FROM 'given') = (opening_depletion_mm IS NOT NULL));
