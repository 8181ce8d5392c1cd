ALTER TABLE turn DROP COLUMN water_off_id;
