-- A link is a token that opens one document and nothing else: what a square code on paper leads to.
ALTER TABLE token ADD COLUMN document text CONSTRAINT token_document_known CHECK (document IN ('layout_sheet', 'schedule'));
ALTER TABLE token ADD COLUMN layout_id uuid;
ALTER TABLE token DROP CONSTRAINT token_role_known;
ALTER TABLE token ADD CONSTRAINT token_role_known CHECK (role IN ('coordinator', 'gardener', 'integration', 'link'));
ALTER TABLE token DROP CONSTRAINT token_member_fits_role;
ALTER TABLE token ADD CONSTRAINT token_member_fits_role CHECK ((role IN ('integration', 'link')) = (member_id IS NULL));
ALTER TABLE token ADD CONSTRAINT token_document_fits_role CHECK ((role = 'link') = (document IS NOT NULL));
ALTER TABLE token ADD CONSTRAINT token_layout_fits_document CHECK ((document IS NOT DISTINCT FROM 'layout_sheet') = (layout_id IS NOT NULL));
ALTER TABLE token ADD CONSTRAINT token_layout_fkey FOREIGN KEY (garden_id, layout_id) REFERENCES layout (garden_id, id) ON DELETE CASCADE;
