-- What a garden knows of its climate, for days and values that nobody measured. Null: not said.
ALTER TABLE garden
    ADD COLUMN coastal boolean NOT NULL DEFAULT false,
    ADD COLUMN humidity_class text CONSTRAINT garden_humidity_known CHECK (humidity_class IN ('arid', 'semi_arid', 'sub_humid', 'humid', 'very_humid'));

-- Its twelve mean months, and its weather stations in the order in which they are believed. Each document is read and
-- written whole, under a revision of its own; without a row it is empty.
CREATE TABLE climate_document (
    garden_id  uuid NOT NULL REFERENCES garden (garden_id),
    kind       text NOT NULL CONSTRAINT climate_document_kind_known CHECK (kind IN ('normals', 'stations')),
    document   jsonb NOT NULL,
    revision   bigint NOT NULL,
    updated_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, kind)
);
ALTER TABLE climate_document ENABLE ROW LEVEL SECURITY;
ALTER TABLE climate_document FORCE ROW LEVEL SECURITY;
CREATE POLICY climate_document_tenant ON climate_document
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE ON climate_document TO rillturn_app;

-- A crop of the garden's own, or its own values for a published one. Plantings keep a copy of what it was when they were planted.
CREATE TABLE own_crop (
    garden_id  uuid NOT NULL REFERENCES garden (garden_id),
    id         uuid NOT NULL,
    code       text NOT NULL CONSTRAINT own_crop_code_length CHECK (length(code) BETWEEN 1 AND 60),
    constants  jsonb NOT NULL,
    revision   bigint NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    updated_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT own_crop_code_unique UNIQUE (garden_id, code)
);
ALTER TABLE own_crop ENABLE ROW LEVEL SECURITY;
ALTER TABLE own_crop FORCE ROW LEVEL SECURITY;
CREATE POLICY own_crop_tenant ON own_crop
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE, DELETE ON own_crop TO rillturn_app;

-- The other ways in which stations tell humidity, and evapotranspiration that they worked out themselves.
ALTER TABLE weather_day
    ADD COLUMN vapor_pressure_kpa double precision CONSTRAINT weather_day_vapor_pressure_range CHECK (vapor_pressure_kpa BETWEEN 0 AND 20),
    ADD COLUMN dry_bulb_c double precision CONSTRAINT weather_day_dry_bulb_range CHECK (dry_bulb_c BETWEEN -60 AND 60),
    ADD COLUMN wet_bulb_c double precision CONSTRAINT weather_day_wet_bulb_range CHECK (wet_bulb_c BETWEEN -60 AND 60),
    ADD COLUMN psychrometer text CONSTRAINT weather_day_psychrometer_known CHECK (psychrometer IN ('ventilated', 'naturally_ventilated', 'indoor')),
    ADD COLUMN et0_mm double precision CONSTRAINT weather_day_et0_range CHECK (et0_mm BETWEEN 0 AND 30),
    ADD CONSTRAINT weather_day_bulbs_complete CHECK ((dry_bulb_c IS NULL) = (wet_bulb_c IS NULL)),
    ADD CONSTRAINT weather_day_bulbs_order CHECK (wet_bulb_c <= dry_bulb_c);

-- The rain of a day that somebody read from a gauge on a plot. Of two for a plot and day the later holds.
CREATE TABLE rain_reading (
    garden_id  uuid NOT NULL REFERENCES garden (garden_id),
    id         uuid NOT NULL,
    plot_id    uuid NOT NULL,
    day        date NOT NULL,
    rain_mm    double precision NOT NULL CONSTRAINT rain_reading_rain_range CHECK (rain_mm BETWEEN 0 AND 1000),
    note       text NOT NULL CONSTRAINT rain_reading_note_length CHECK (length(note) <= 1000),
    -- who read it, by name
    reporter   text NOT NULL CONSTRAINT rain_reading_reporter_length CHECK (length(reporter) BETWEEN 1 AND 200),
    revision   bigint NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT rain_reading_plot_fkey FOREIGN KEY (garden_id, plot_id) REFERENCES plot (garden_id, id)
);
CREATE INDEX rain_reading_by_plot ON rain_reading (garden_id, plot_id, day);
ALTER TABLE rain_reading ENABLE ROW LEVEL SECURITY;
ALTER TABLE rain_reading FORCE ROW LEVEL SECURITY;
CREATE POLICY rain_reading_tenant ON rain_reading
    USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
    WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid);
GRANT SELECT, INSERT, DELETE ON rain_reading TO rillturn_app;
