DROP TABLE stored_pipe;
ALTER TABLE planting DROP COLUMN outlets, DROP COLUMN from_m, DROP COLUMN to_m, DROP COLUMN both_sides;
ALTER TABLE garden DROP COLUMN workshop, DROP COLUMN workshop_revision;
