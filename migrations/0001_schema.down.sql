DROP TABLE audit_entry, idempotency_key, turn_report, turn_member, turn, rotation_document, rotation, weather_day, planting CASCADE;
DROP TABLE layout_revision, layout CASCADE;
DROP FUNCTION layout_revision_keep_accepted;
DROP TABLE plot_holder, plot, closure, water_hours, flow_test, water_source, service_line, token, member, garden, operator_token,
    garden_directory CASCADE;
DROP EXTENSION btree_gist;
