DROP TABLE water_off;
