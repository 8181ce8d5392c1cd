-- The role that the service connects as owns nothing and bypasses nothing. Roles belong to the cluster, not to one
-- database, so the role may be there already; it gets its password from `rillturn migrate`.
DO $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'rillturn_app') THEN
        CREATE ROLE rillturn_app LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS NOINHERIT;
    END IF;
EXCEPTION WHEN duplicate_object OR unique_violation THEN
    NULL; -- another database of the cluster made it a moment ago
END $$;
GRANT USAGE ON SCHEMA public TO rillturn_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON garden, member, token, service_line, water_source, flow_test, water_hours, closure, plot,
    plot_holder, layout, planting, weather_day, rotation, turn, turn_member, idempotency_key TO rillturn_app;
-- Revisions of a layout stay; reports, audit entries and the documents of a rotation are written once.
GRANT SELECT, INSERT, UPDATE ON layout_revision TO rillturn_app;
GRANT SELECT, INSERT ON turn_report, audit_entry, rotation_document, garden_directory TO rillturn_app;
GRANT SELECT ON operator_token TO rillturn_app;
