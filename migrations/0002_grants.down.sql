REVOKE ALL ON ALL TABLES IN SCHEMA public FROM rillturn_app;
REVOKE ALL ON SCHEMA public FROM rillturn_app;
