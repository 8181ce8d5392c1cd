-- The outlet of a tank, whose loss is a part of what the tank gives, and what taps outside the plan draw from a line.
ALTER TABLE water_source
    ADD COLUMN tank_outlet_diameter_mm double precision
        CONSTRAINT water_source_tank_outlet_range CHECK (tank_outlet_diameter_mm BETWEEN 4 AND 500),
    ADD COLUMN tank_outlet_k double precision CONSTRAINT water_source_tank_outlet_k_range CHECK (tank_outlet_k BETWEEN 0 AND 1000),
    ADD CONSTRAINT water_source_tank_outlet_fits CHECK (kind = 'tank' OR num_nonnulls(tank_outlet_diameter_mm, tank_outlet_k) = 0);
ALTER TABLE service_line
    ADD COLUMN elsewhere_l_per_min double precision
        CONSTRAINT service_line_elsewhere_range CHECK (elsewhere_l_per_min BETWEEN 0 AND 10000),
    ADD CONSTRAINT service_line_elsewhere_order CHECK (elsewhere_l_per_min < flow_limit_l_per_min);
