-- The earlier release knows no links that take reports: they become links to the schedule alone.
DO $$
DECLARE g uuid;
BEGIN
    FOR g IN SELECT garden_id FROM garden_directory LOOP
        PERFORM set_config('app.garden_id', g::text, true);
        UPDATE token SET document = 'schedule' WHERE garden_id = g AND document = 'turn_report';
    END LOOP;
    PERFORM set_config('app.garden_id', '', true);
END $$;
ALTER TABLE token DROP CONSTRAINT token_document_known;
ALTER TABLE token ADD CONSTRAINT token_document_known CHECK (document IN ('layout_sheet', 'schedule'));
