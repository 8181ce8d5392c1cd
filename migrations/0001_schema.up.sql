-- The schema of one installation. Every table of a garden leads its keys with garden_id, refers to others by composite
-- keys and is closed by row security (last part of this file); foreign-key checks ignore row security, so a plain key
-- would let one garden probe another's rows.

CREATE EXTENSION IF NOT EXISTS btree_gist;

-- Outside row security: which gardens exist. Nothing else is known here.
CREATE TABLE garden_directory (
    garden_id  uuid PRIMARY KEY,
    created_at timestamptz NOT NULL DEFAULT now()
);

-- Outside row security: tokens of the operator of the installation, who may open a garden and sees no garden's data.
CREATE TABLE operator_token (
    id            uuid PRIMARY KEY,
    label         text NOT NULL CONSTRAINT operator_token_label_length CHECK (length(label) BETWEEN 1 AND 120),
    secret_sha256 bytea NOT NULL UNIQUE CONSTRAINT operator_token_secret_length CHECK (octet_length(secret_sha256) = 32),
    created_at    timestamptz NOT NULL DEFAULT now()
);

CREATE TABLE garden (
    garden_id        uuid PRIMARY KEY REFERENCES garden_directory,
    name             text NOT NULL CONSTRAINT garden_name_length CHECK (length(name) BETWEEN 1 AND 120),
    time_zone        text NOT NULL CONSTRAINT garden_time_zone_length CHECK (length(time_zone) BETWEEN 1 AND 64),
    latitude_deg     double precision NOT NULL CONSTRAINT garden_latitude_range CHECK (latitude_deg BETWEEN -90 AND 90),
    longitude_deg    double precision NOT NULL CONSTRAINT garden_longitude_range CHECK (longitude_deg BETWEEN -180 AND 180),
    elevation_m      double precision NOT NULL CONSTRAINT garden_elevation_range CHECK (elevation_m BETWEEN -450 AND 6000),
    units            text NOT NULL CONSTRAINT garden_units_known CHECK (units IN ('metric', 'us')),
    language         text NOT NULL CONSTRAINT garden_language_known CHECK (language IN ('en')),
    water_on         date,
    water_off        date,
    fairness         text NOT NULL CONSTRAINT garden_fairness_known CHECK (fairness IN ('need', 'area', 'minutes')),
    -- share of the water hours that stays free for open taps
    free_share       double precision NOT NULL CONSTRAINT garden_free_share_range CHECK (free_share BETWEEN 0 AND 0.9),
    start_grid_min   double precision NOT NULL CONSTRAINT garden_start_grid_range CHECK (start_grid_min BETWEEN 0 AND 60),
    notice_period_h  double precision NOT NULL CONSTRAINT garden_notice_range CHECK (notice_period_h BETWEEN 0 AND 336),
    -- rises with every change of what a plan is made from
    plan_revision    bigint NOT NULL DEFAULT 1,
    -- rises with every change of what a pull of the schedule shows
    schedule_version bigint NOT NULL DEFAULT 1,
    revision         bigint NOT NULL,
    created_at       timestamptz NOT NULL DEFAULT now(),
    updated_at       timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT garden_season_order CHECK (water_on IS NULL OR water_off IS NULL OR water_on < water_off)
);

CREATE TABLE member (
    garden_id  uuid NOT NULL REFERENCES garden (garden_id),
    id         uuid NOT NULL,
    name       text NOT NULL CONSTRAINT member_name_length CHECK (length(name) BETWEEN 1 AND 120),
    role       text NOT NULL CONSTRAINT member_role_known CHECK (role IN ('coordinator', 'gardener')),
    revision   bigint NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    updated_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT member_name_unique UNIQUE (garden_id, name)
);

CREATE TABLE token (
    garden_id     uuid NOT NULL REFERENCES garden (garden_id),
    id            uuid NOT NULL,
    label         text NOT NULL CONSTRAINT token_label_length CHECK (length(label) BETWEEN 1 AND 120),
    role          text NOT NULL CONSTRAINT token_role_known CHECK (role IN ('coordinator', 'gardener', 'integration')),
    member_id     uuid,
    secret_sha256 bytea NOT NULL CONSTRAINT token_secret_length CHECK (octet_length(secret_sha256) = 32),
    expires_at    timestamptz,
    revision      bigint NOT NULL,
    created_at    timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT token_secret_unique UNIQUE (garden_id, secret_sha256),
    CONSTRAINT token_member_fkey FOREIGN KEY (garden_id, member_id) REFERENCES member (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT token_member_fits_role CHECK ((role = 'integration') = (member_id IS NULL))
);

CREATE TABLE service_line (
    garden_id            uuid NOT NULL REFERENCES garden (garden_id),
    id                   uuid NOT NULL,
    name                 text NOT NULL CONSTRAINT service_line_name_length CHECK (length(name) BETWEEN 1 AND 120),
    flow_limit_l_per_min double precision NOT NULL CONSTRAINT service_line_flow_range CHECK (flow_limit_l_per_min BETWEEN 0.1 AND 10000),
    daily_volume_limit_l double precision CONSTRAINT service_line_volume_range CHECK (daily_volume_limit_l BETWEEN 1 AND 1e7),
    revision             bigint NOT NULL,
    created_at           timestamptz NOT NULL DEFAULT now(),
    updated_at           timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT service_line_name_unique UNIQUE (garden_id, name)
);

CREATE TABLE water_source (
    garden_id               uuid NOT NULL REFERENCES garden (garden_id),
    id                      uuid NOT NULL,
    name                    text NOT NULL CONSTRAINT water_source_name_length CHECK (length(name) BETWEEN 1 AND 120),
    kind                    text NOT NULL CONSTRAINT water_source_kind_known CHECK (kind IN ('spigot', 'hydrant', 'tank')),
    service_line_id         uuid,
    hose_connections        integer NOT NULL CONSTRAINT water_source_connections_range CHECK (hose_connections BETWEEN 1 AND 16),
    -- the working hose of the source, through which flow tests after the hose were made
    hose_length_m           double precision CONSTRAINT water_source_hose_length_range CHECK (hose_length_m BETWEEN 0 AND 500),
    hose_inside_diameter_mm double precision CONSTRAINT water_source_hose_diameter_range CHECK (hose_inside_diameter_mm BETWEEN 4 AND 100),
    static_head_m           double precision CONSTRAINT water_source_static_head_range CHECK (static_head_m BETWEEN 0.05 AND 200),
    changeover_min          double precision NOT NULL CONSTRAINT water_source_changeover_range CHECK (changeover_min BETWEEN 0 AND 120),
    min_run_min             double precision NOT NULL CONSTRAINT water_source_min_run_range CHECK (min_run_min BETWEEN 0 AND 240),
    flow_limit_l_per_min    double precision CONSTRAINT water_source_flow_range CHECK (flow_limit_l_per_min BETWEEN 0.1 AND 10000),
    daily_volume_limit_l    double precision CONSTRAINT water_source_volume_range CHECK (daily_volume_limit_l BETWEEN 1 AND 1e7),
    tank_volume_l           double precision CONSTRAINT water_source_tank_volume_range CHECK (tank_volume_l BETWEEN 1 AND 1e7),
    tank_level_m            double precision CONSTRAINT water_source_tank_level_range CHECK (tank_level_m BETWEEN 0.01 AND 100),
    tank_refill_l_per_day   double precision CONSTRAINT water_source_tank_refill_range CHECK (tank_refill_l_per_day BETWEEN 0 AND 1e7),
    revision                bigint NOT NULL,
    created_at              timestamptz NOT NULL DEFAULT now(),
    updated_at              timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT water_source_name_unique UNIQUE (garden_id, name),
    CONSTRAINT water_source_service_line_fkey FOREIGN KEY (garden_id, service_line_id) REFERENCES service_line (garden_id, id),
    CONSTRAINT water_source_tank_complete CHECK ((kind = 'tank') = (tank_volume_l IS NOT NULL AND tank_level_m IS NOT NULL AND tank_refill_l_per_day IS NOT NULL)),
    CONSTRAINT water_source_hose_complete CHECK ((hose_length_m IS NULL) = (hose_inside_diameter_mm IS NULL))
);

CREATE TABLE flow_test (
    garden_id             uuid NOT NULL REFERENCES garden (garden_id),
    id                    uuid NOT NULL,
    water_source_id       uuid NOT NULL,
    tested_at             timestamptz NOT NULL,
    kind                  text NOT NULL CONSTRAINT flow_test_kind_known CHECK (kind IN ('static', 'residual', 'bucket')),
    head_m                double precision CONSTRAINT flow_test_head_range CHECK (head_m BETWEEN 0 AND 200),
    flow_l_per_min        double precision CONSTRAINT flow_test_flow_range CHECK (flow_l_per_min BETWEEN 0.01 AND 10000),
    volume_l              double precision CONSTRAINT flow_test_volume_range CHECK (volume_l BETWEEN 0.1 AND 10000),
    duration_s            double precision CONSTRAINT flow_test_duration_range CHECK (duration_s BETWEEN 0.5 AND 36000),
    after_hose            boolean NOT NULL,
    other_flow_l_per_min  double precision NOT NULL CONSTRAINT flow_test_other_flow_range CHECK (other_flow_l_per_min BETWEEN 0 AND 10000),
    note                  text NOT NULL CONSTRAINT flow_test_note_length CHECK (length(note) <= 1000),
    revision              bigint NOT NULL,
    created_at            timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT flow_test_water_source_fkey FOREIGN KEY (garden_id, water_source_id) REFERENCES water_source (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT flow_test_static_values CHECK (kind <> 'static' OR (head_m IS NOT NULL AND num_nonnulls(flow_l_per_min, volume_l, duration_s) = 0)),
    CONSTRAINT flow_test_residual_values CHECK (kind <> 'residual' OR (num_nulls(head_m, flow_l_per_min) = 0 AND num_nonnulls(volume_l, duration_s) = 0)),
    CONSTRAINT flow_test_bucket_values CHECK (kind <> 'bucket' OR (num_nulls(volume_l, duration_s) = 0 AND num_nonnulls(head_m, flow_l_per_min) = 0))
);
CREATE INDEX flow_test_by_source ON flow_test (garden_id, water_source_id, tested_at, id);

-- When a source may run: local clock times on ISO weekdays (1 = Monday) in the garden's zone.
CREATE TABLE water_hours (
    garden_id       uuid NOT NULL REFERENCES garden (garden_id),
    id              uuid NOT NULL,
    water_source_id uuid,
    weekdays        smallint[] NOT NULL CONSTRAINT water_hours_weekdays_known CHECK (cardinality(weekdays) BETWEEN 1 AND 7 AND weekdays <@ ARRAY[1, 2, 3, 4, 5, 6, 7]::smallint[]),
    start_local     text NOT NULL CONSTRAINT water_hours_start_clock CHECK (start_local ~ '^([01][0-9]|2[0-3]):[0-5][0-9]$'),
    end_local       text NOT NULL CONSTRAINT water_hours_end_clock CHECK (end_local ~ '^(([01][0-9]|2[0-3]):[0-5][0-9]|24:00)$'),
    valid_from      date,
    valid_to        date,
    note            text NOT NULL CONSTRAINT water_hours_note_length CHECK (length(note) <= 1000),
    revision        bigint NOT NULL,
    created_at      timestamptz NOT NULL DEFAULT now(),
    updated_at      timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT water_hours_water_source_fkey FOREIGN KEY (garden_id, water_source_id) REFERENCES water_source (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT water_hours_order CHECK (start_local < end_local),
    CONSTRAINT water_hours_valid_order CHECK (valid_from IS NULL OR valid_to IS NULL OR valid_from <= valid_to)
);

-- When a source may not run, and which watering methods the rule exempts.
CREATE TABLE closure (
    garden_id       uuid NOT NULL REFERENCES garden (garden_id),
    id              uuid NOT NULL,
    water_source_id uuid,
    first_day       date NOT NULL,
    last_day        date NOT NULL,
    weekdays        smallint[] NOT NULL CONSTRAINT closure_weekdays_known CHECK (cardinality(weekdays) <= 7 AND weekdays <@ ARRAY[1, 2, 3, 4, 5, 6, 7]::smallint[]),
    day_parity      text NOT NULL CONSTRAINT closure_parity_known CHECK (day_parity IN ('all', 'odd', 'even')),
    exempt_methods  text[] NOT NULL CONSTRAINT closure_methods_known CHECK (exempt_methods <@ ARRAY['layout', 'hose', 'can']),
    rule            text NOT NULL CONSTRAINT closure_rule_length CHECK (length(rule) BETWEEN 1 AND 1000),
    revision        bigint NOT NULL,
    created_at      timestamptz NOT NULL DEFAULT now(),
    updated_at      timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT closure_water_source_fkey FOREIGN KEY (garden_id, water_source_id) REFERENCES water_source (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT closure_order CHECK (first_day <= last_day)
);

CREATE TABLE plot (
    garden_id           uuid NOT NULL REFERENCES garden (garden_id),
    id                  uuid NOT NULL,
    label               text NOT NULL CONSTRAINT plot_label_length CHECK (length(label) BETWEEN 1 AND 60),
    area_m2             double precision NOT NULL CONSTRAINT plot_area_range CHECK (area_m2 BETWEEN 0.1 AND 100000),
    method              text NOT NULL CONSTRAINT plot_method_known CHECK (method IN ('layout', 'hose', 'can', 'none')),
    communal            boolean NOT NULL,
    -- where a hose or can plot takes its water
    water_source_id     uuid,
    hose_flow_l_per_min double precision CONSTRAINT plot_hose_flow_range CHECK (hose_flow_l_per_min BETWEEN 0.1 AND 1000),
    can_volume_l        double precision CONSTRAINT plot_can_volume_range CHECK (can_volume_l BETWEEN 0.5 AND 100),
    can_minutes_each    double precision CONSTRAINT plot_can_minutes_range CHECK (can_minutes_each BETWEEN 0.1 AND 60),
    max_day_min         double precision CONSTRAINT plot_max_day_range CHECK (max_day_min BETWEEN 1 AND 1440),
    soil_texture        text CONSTRAINT plot_soil_texture_known CHECK (soil_texture IN ('sand', 'loamy_sand', 'sandy_loam', 'loam', 'silt_loam', 'silt', 'clay_loam', 'silty_clay_loam', 'silty_clay', 'clay')),
    field_capacity      double precision CONSTRAINT plot_field_capacity_range CHECK (field_capacity BETWEEN 0.02 AND 0.7),
    wilting_point       double precision CONSTRAINT plot_wilting_point_range CHECK (wilting_point BETWEEN 0.01 AND 0.6),
    bed_depth_m         double precision CONSTRAINT plot_bed_depth_range CHECK (bed_depth_m BETWEEN 0.05 AND 3),
    revision            bigint NOT NULL,
    created_at          timestamptz NOT NULL DEFAULT now(),
    updated_at          timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT plot_label_unique UNIQUE (garden_id, label),
    CONSTRAINT plot_water_source_fkey FOREIGN KEY (garden_id, water_source_id) REFERENCES water_source (garden_id, id),
    CONSTRAINT plot_hose_complete CHECK (method <> 'hose' OR (water_source_id IS NOT NULL AND hose_flow_l_per_min IS NOT NULL)),
    CONSTRAINT plot_can_complete CHECK (method <> 'can' OR (water_source_id IS NOT NULL AND can_volume_l IS NOT NULL AND can_minutes_each IS NOT NULL)),
    CONSTRAINT plot_soil_order CHECK ((field_capacity IS NULL) = (wilting_point IS NULL) AND (field_capacity IS NULL OR wilting_point < field_capacity))
);

CREATE TABLE plot_holder (
    garden_id  uuid NOT NULL REFERENCES garden (garden_id),
    id         uuid NOT NULL,
    plot_id    uuid NOT NULL,
    member_id  uuid NOT NULL,
    held_from  date NOT NULL,
    held_to    date,
    revision   bigint NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    updated_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT plot_holder_plot_fkey FOREIGN KEY (garden_id, plot_id) REFERENCES plot (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT plot_holder_member_fkey FOREIGN KEY (garden_id, member_id) REFERENCES member (garden_id, id),
    CONSTRAINT plot_holder_order CHECK (held_to IS NULL OR held_from <= held_to),
    CONSTRAINT plot_holder_no_overlap EXCLUDE USING gist (garden_id WITH =, plot_id WITH =, member_id WITH =, daterange(held_from, held_to, '[]') WITH &&)
);
CREATE INDEX plot_holder_by_member ON plot_holder (garden_id, member_id);

CREATE TABLE layout (
    garden_id          uuid NOT NULL REFERENCES garden (garden_id),
    id                 uuid NOT NULL,
    plot_id            uuid NOT NULL,
    water_source_id    uuid NOT NULL,
    name               text NOT NULL CONSTRAINT layout_name_length CHECK (length(name) BETWEEN 1 AND 120),
    status             text NOT NULL CONSTRAINT layout_status_known CHECK (status IN ('draft', 'submitted', 'accepted', 'returned', 'retired')),
    -- the layout has a valve of its own, so that it can be closed before its zone's turn ends
    own_valve          boolean NOT NULL,
    -- lowest quarter / mean of a catch test, where one was made
    measured_du        double precision CONSTRAINT layout_measured_du_range CHECK (measured_du > 0 AND measured_du <= 1),
    latest_number      integer NOT NULL CONSTRAINT layout_latest_number_positive CHECK (latest_number >= 1),
    accepted_number    integer,
    revision           bigint NOT NULL,
    created_at         timestamptz NOT NULL DEFAULT now(),
    updated_at         timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT layout_name_unique UNIQUE (garden_id, plot_id, name),
    CONSTRAINT layout_plot_fkey FOREIGN KEY (garden_id, plot_id) REFERENCES plot (garden_id, id),
    CONSTRAINT layout_water_source_fkey FOREIGN KEY (garden_id, water_source_id) REFERENCES water_source (garden_id, id),
    CONSTRAINT layout_accepted_has_number CHECK (status <> 'accepted' OR accepted_number IS NOT NULL)
);

-- The layout document as its author wrote it, one row a revision. It is read and written whole and never searched by
-- its parts, so it stays a document.
CREATE TABLE layout_revision (
    garden_id    uuid NOT NULL REFERENCES garden (garden_id),
    layout_id    uuid NOT NULL,
    number       integer NOT NULL CONSTRAINT layout_revision_number_positive CHECK (number >= 1),
    status       text NOT NULL CONSTRAINT layout_revision_status_known CHECK (status IN ('draft', 'submitted', 'accepted', 'returned', 'superseded')),
    spec         jsonb NOT NULL,
    comment      text NOT NULL DEFAULT '' CONSTRAINT layout_revision_comment_length CHECK (length(comment) <= 4000),
    author       text NOT NULL,
    created_at   timestamptz NOT NULL DEFAULT now(),
    submitted_at timestamptz,
    decided_at   timestamptz,
    decided_by   text,
    PRIMARY KEY (garden_id, layout_id, number),
    CONSTRAINT layout_revision_layout_fkey FOREIGN KEY (garden_id, layout_id) REFERENCES layout (garden_id, id) ON DELETE CASCADE
);
ALTER TABLE layout ADD CONSTRAINT layout_accepted_fkey FOREIGN KEY (garden_id, id, accepted_number)
    REFERENCES layout_revision (garden_id, layout_id, number) DEFERRABLE INITIALLY DEFERRED;

-- An accepted revision never changes: the sheets that were printed from it stay true. Nor does it become a draft again,
-- which would open it for changes.
CREATE FUNCTION layout_revision_keep_accepted() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.status IN ('submitted', 'accepted', 'superseded') AND NEW.spec IS DISTINCT FROM OLD.spec
        OR OLD.status IN ('accepted', 'superseded') AND NEW.status NOT IN ('accepted', 'superseded') THEN
        RAISE EXCEPTION 'revision % of layout % is %: its document no longer changes', OLD.number, OLD.layout_id, OLD.status
            USING ERRCODE = 'check_violation', CONSTRAINT = 'layout_revision_keep_accepted';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER layout_revision_keep_accepted BEFORE UPDATE ON layout_revision
    FOR EACH ROW EXECUTE FUNCTION layout_revision_keep_accepted();

CREATE TABLE planting (
    garden_id        uuid NOT NULL REFERENCES garden (garden_id),
    id               uuid NOT NULL,
    plot_id          uuid NOT NULL,
    crop             text NOT NULL CONSTRAINT planting_crop_length CHECK (length(crop) BETWEEN 1 AND 60),
    -- the crop's constants as they were when it was planted
    crop_constants   jsonb NOT NULL,
    planted_on       date NOT NULL,
    removed_on       date,
    area_m2          double precision NOT NULL CONSTRAINT planting_area_range CHECK (area_m2 BETWEEN 0.01 AND 100000),
    wetted_fraction  double precision NOT NULL CONSTRAINT planting_wetted_range CHECK (wetted_fraction BETWEEN 0.05 AND 1),
    mulch            text NOT NULL CONSTRAINT planting_mulch_known CHECK (mulch IN ('none', 'organic', 'plastic')),
    mulch_cover      double precision NOT NULL CONSTRAINT planting_mulch_cover_range CHECK (mulch_cover BETWEEN 0 AND 1),
    plant_spacing_m  double precision CONSTRAINT planting_plant_spacing_range CHECK (plant_spacing_m BETWEEN 0.01 AND 10),
    row_spacing_m    double precision CONSTRAINT planting_row_spacing_range CHECK (row_spacing_m BETWEEN 0.01 AND 20),
    layout_id        uuid,
    note             text NOT NULL CONSTRAINT planting_note_length CHECK (length(note) <= 1000),
    revision         bigint NOT NULL,
    created_at       timestamptz NOT NULL DEFAULT now(),
    updated_at       timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT planting_plot_fkey FOREIGN KEY (garden_id, plot_id) REFERENCES plot (garden_id, id),
    CONSTRAINT planting_layout_fkey FOREIGN KEY (garden_id, layout_id) REFERENCES layout (garden_id, id),
    CONSTRAINT planting_order CHECK (removed_on IS NULL OR planted_on <= removed_on)
);
CREATE INDEX planting_by_plot ON planting (garden_id, plot_id);

-- One day of one station; a missing value is missing, not zero.
CREATE TABLE weather_day (
    garden_id           uuid NOT NULL REFERENCES garden (garden_id),
    station             text NOT NULL CONSTRAINT weather_day_station_length CHECK (length(station) BETWEEN 1 AND 60),
    day                 date NOT NULL,
    kind                text NOT NULL CONSTRAINT weather_day_kind_known CHECK (kind IN ('measured', 'forecast')),
    tmax_c              double precision CONSTRAINT weather_day_tmax_range CHECK (tmax_c BETWEEN -60 AND 60),
    tmin_c              double precision CONSTRAINT weather_day_tmin_range CHECK (tmin_c BETWEEN -60 AND 60),
    dew_point_c         double precision CONSTRAINT weather_day_dew_point_range CHECK (dew_point_c BETWEEN -60 AND 60),
    rh_max_pct          double precision CONSTRAINT weather_day_rh_max_range CHECK (rh_max_pct BETWEEN 0 AND 100),
    rh_min_pct          double precision CONSTRAINT weather_day_rh_min_range CHECK (rh_min_pct BETWEEN 0 AND 100),
    rh_mean_pct         double precision CONSTRAINT weather_day_rh_mean_range CHECK (rh_mean_pct BETWEEN 0 AND 100),
    wind_m_s            double precision CONSTRAINT weather_day_wind_range CHECK (wind_m_s BETWEEN 0 AND 60),
    wind_height_m       double precision CONSTRAINT weather_day_wind_height_range CHECK (wind_height_m BETWEEN 0.5 AND 100),
    radiation_mj_m2     double precision CONSTRAINT weather_day_radiation_range CHECK (radiation_mj_m2 BETWEEN 0 AND 45),
    sunshine_h          double precision CONSTRAINT weather_day_sunshine_range CHECK (sunshine_h BETWEEN 0 AND 24),
    rain_mm             double precision CONSTRAINT weather_day_rain_range CHECK (rain_mm BETWEEN 0 AND 1000),
    updated_at          timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, station, day, kind),
    CONSTRAINT weather_day_temperature_order CHECK (tmin_c <= tmax_c),
    CONSTRAINT weather_day_humidity_order CHECK (rh_min_pct <= rh_max_pct),
    CONSTRAINT weather_day_forecast_rain CHECK (kind = 'measured' OR rain_mm IS NULL)
);
CREATE INDEX weather_day_by_day ON weather_day (garden_id, day, station, kind);

CREATE TABLE rotation (
    garden_id      uuid NOT NULL REFERENCES garden (garden_id),
    id             uuid NOT NULL,
    status         text NOT NULL CONSTRAINT rotation_status_known CHECK (status IN ('proposed', 'published', 'superseded')),
    starts_at      timestamptz NOT NULL,
    ends_at        timestamptz NOT NULL,
    first_day      date NOT NULL,
    days           integer NOT NULL CONSTRAINT rotation_days_range CHECK (days BETWEEN 7 AND 28),
    plan_revision  bigint NOT NULL,
    engine_version text NOT NULL,
    effort         text NOT NULL CONSTRAINT rotation_effort_known CHECK (effort IN ('fast', 'full')),
    seed           bigint NOT NULL,
    input_sha256   bytea NOT NULL CONSTRAINT rotation_input_hash_length CHECK (octet_length(input_sha256) = 32),
    revision       bigint NOT NULL,
    created_at     timestamptz NOT NULL DEFAULT now(),
    published_at   timestamptz,
    superseded_at  timestamptz,
    PRIMARY KEY (garden_id, id),
    CONSTRAINT rotation_horizon_not_empty CHECK (starts_at < ends_at),
    -- at most one published rotation per garden and moment
    CONSTRAINT rotation_one_published EXCLUDE USING gist (garden_id WITH =, tstzrange(starts_at, ends_at) WITH &&)
        WHERE (status = 'published')
);
CREATE INDEX rotation_by_time ON rotation (garden_id, created_at, id);

-- The bytes that a rotation was planned from and what came out of them: large, written once, and read only by who asks
-- for them, so lists of rotations stay light.
CREATE TABLE rotation_document (
    garden_id   uuid NOT NULL REFERENCES garden (garden_id),
    rotation_id uuid NOT NULL,
    input       bytea NOT NULL,
    output      bytea NOT NULL,
    PRIMARY KEY (garden_id, rotation_id),
    CONSTRAINT rotation_document_rotation_fkey FOREIGN KEY (garden_id, rotation_id) REFERENCES rotation (garden_id, id) ON DELETE CASCADE
);

CREATE TABLE turn (
    garden_id       uuid NOT NULL REFERENCES garden (garden_id),
    id              uuid NOT NULL,
    rotation_id     uuid NOT NULL,
    water_source_id uuid NOT NULL,
    zone            text NOT NULL,
    kind            text NOT NULL CONSTRAINT turn_kind_known CHECK (kind IN ('zone', 'hose', 'can')),
    starts_at       timestamptz NOT NULL,
    ends_at         timestamptz NOT NULL,
    flow_l_per_min  double precision NOT NULL CONSTRAINT turn_flow_range CHECK (flow_l_per_min BETWEEN 0 AND 10000),
    status          text NOT NULL CONSTRAINT turn_status_known CHECK (status IN ('proposed', 'planned', 'cancelled')),
    sequence        integer NOT NULL CONSTRAINT turn_sequence_positive CHECK (sequence >= 0),
    -- who opens and closes the valve
    opener_id       uuid,
    revision        bigint NOT NULL,
    created_at      timestamptz NOT NULL DEFAULT now(),
    updated_at      timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT turn_rotation_fkey FOREIGN KEY (garden_id, rotation_id) REFERENCES rotation (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT turn_water_source_fkey FOREIGN KEY (garden_id, water_source_id) REFERENCES water_source (garden_id, id),
    CONSTRAINT turn_opener_fkey FOREIGN KEY (garden_id, opener_id) REFERENCES member (garden_id, id) ON DELETE SET NULL (opener_id),
    CONSTRAINT turn_during_not_empty CHECK (starts_at < ends_at),
    -- a source holds one published turn at a time
    CONSTRAINT turn_one_per_source EXCLUDE USING gist (garden_id WITH =, water_source_id WITH =, tstzrange(starts_at, ends_at) WITH &&)
        WHERE (status = 'planned')
);
CREATE INDEX turn_by_rotation ON turn (garden_id, rotation_id, starts_at, id);
CREATE INDEX turn_by_time ON turn (garden_id, starts_at, id);

CREATE TABLE turn_member (
    garden_id uuid NOT NULL REFERENCES garden (garden_id),
    turn_id   uuid NOT NULL,
    plot_id   uuid NOT NULL,
    layout_id uuid,
    volume_l  double precision NOT NULL CONSTRAINT turn_member_volume_range CHECK (volume_l BETWEEN 0 AND 1e7),
    closes_at timestamptz,
    CONSTRAINT turn_member_turn_fkey FOREIGN KEY (garden_id, turn_id) REFERENCES turn (garden_id, id) ON DELETE CASCADE,
    CONSTRAINT turn_member_plot_fkey FOREIGN KEY (garden_id, plot_id) REFERENCES plot (garden_id, id),
    CONSTRAINT turn_member_layout_fkey FOREIGN KEY (garden_id, layout_id) REFERENCES layout (garden_id, id),
    CONSTRAINT turn_member_once UNIQUE NULLS NOT DISTINCT (garden_id, turn_id, plot_id, layout_id)
);

CREATE TABLE turn_report (
    garden_id    uuid NOT NULL REFERENCES garden (garden_id),
    id           uuid NOT NULL,
    turn_id      uuid NOT NULL,
    outcome      text NOT NULL CONSTRAINT turn_report_outcome_known CHECK (outcome IN ('done', 'part', 'missed', 'skipped_wet', 'pressure_lost', 'overran')),
    duration_min double precision CONSTRAINT turn_report_duration_range CHECK (duration_min BETWEEN 0 AND 1440),
    note         text NOT NULL CONSTRAINT turn_report_note_length CHECK (length(note) <= 1000),
    reporter     text NOT NULL,
    created_at   timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id),
    CONSTRAINT turn_report_turn_fkey FOREIGN KEY (garden_id, turn_id) REFERENCES turn (garden_id, id),
    CONSTRAINT turn_report_duration_given CHECK (outcome NOT IN ('part', 'overran', 'pressure_lost') OR duration_min IS NOT NULL)
);
CREATE INDEX turn_report_by_turn ON turn_report (garden_id, turn_id, created_at, id);

CREATE TABLE idempotency_key (
    garden_id   uuid NOT NULL REFERENCES garden (garden_id),
    token_id    uuid NOT NULL,
    key         text NOT NULL CONSTRAINT idempotency_key_length CHECK (length(key) BETWEEN 1 AND 200),
    fingerprint bytea NOT NULL CONSTRAINT idempotency_fingerprint_length CHECK (octet_length(fingerprint) = 32),
    result      jsonb NOT NULL,
    created_at  timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, token_id, key)
);

CREATE TABLE audit_entry (
    garden_id  uuid NOT NULL REFERENCES garden (garden_id),
    id         uuid NOT NULL,
    actor      text NOT NULL,
    action     text NOT NULL,
    entity     text NOT NULL,
    entity_id  text NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (garden_id, id)
);
CREATE INDEX audit_entry_by_time ON audit_entry (garden_id, created_at, id);

-- Row security: no garden set means no rows; a used connection holds an empty string, hence nullif.
DO $$
DECLARE t text;
BEGIN
    FOREACH t IN ARRAY ARRAY['garden', 'member', 'token', 'service_line', 'water_source', 'flow_test', 'water_hours', 'closure',
        'plot', 'plot_holder', 'layout', 'layout_revision', 'planting', 'weather_day', 'rotation', 'rotation_document', 'turn', 'turn_member',
        'turn_report', 'idempotency_key', 'audit_entry'] LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
        EXECUTE format($p$CREATE POLICY %I ON %I
            USING (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)
            WITH CHECK (garden_id = nullif(current_setting('app.garden_id', true), '')::uuid)$p$, t || '_tenant', t);
    END LOOP;
END $$;
