-- A link may show the schedule and take reports of its turns; one that shows it alone stays as it was.
ALTER TABLE token DROP CONSTRAINT token_document_known;
ALTER TABLE token ADD CONSTRAINT token_document_known CHECK (document IN ('layout_sheet', 'schedule', 'turn_report'));
