ALTER TABLE service_line DROP COLUMN elsewhere_l_per_min;
ALTER TABLE water_source DROP COLUMN tank_outlet_diameter_mm, DROP COLUMN tank_outlet_k;
