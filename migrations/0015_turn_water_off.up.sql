-- The turns that a water off cancels are told from those that a plan drops: they come back when the water is on again.
ALTER TABLE turn ADD COLUMN water_off_id uuid;
ALTER TABLE turn ADD CONSTRAINT turn_water_off_fkey FOREIGN KEY (garden_id, water_off_id) REFERENCES water_off (garden_id, id) ON DELETE SET NULL (water_off_id);
CREATE INDEX turn_by_water_off ON turn (garden_id, water_off_id) WHERE water_off_id IS NOT NULL;
